"""Landmarks, heads, arcs and sites."""
