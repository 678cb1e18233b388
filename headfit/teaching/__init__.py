"""Lessons: what a class is shown step by step, computed on any head."""
