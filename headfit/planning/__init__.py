"""Derivations, places that must stay free, lessons."""
