"""A case: everything stated about one head, and everything computed for it."""
