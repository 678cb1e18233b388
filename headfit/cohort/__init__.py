"""A whole study: many people found, solved, put in tables, told in figures and words."""
