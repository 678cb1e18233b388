"""From digitised marks to deviations."""
