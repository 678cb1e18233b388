"""The local server and its built page."""
