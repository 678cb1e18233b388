"""One file format a module."""
