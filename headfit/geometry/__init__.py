"""Triangle meshes, plane sections, nearest points and rigid motion; no EEG word in here."""
