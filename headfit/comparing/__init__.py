"""Marks compared with the sites of a head: alignment, deviations, names that look mixed up."""
