"""Landmarks, heads, the arcs between landmarks, and the sites on the arcs."""
