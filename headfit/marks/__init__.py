"""Digitised marks: read, checked and corrected, every finding kept as a remark."""
