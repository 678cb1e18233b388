"""Marks held against the sites of a head."""
