"""What to mark and where: derivations, places that must stay free, the order of marking."""
