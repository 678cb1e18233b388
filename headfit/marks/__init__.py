"""What a person digitised, read with doubt."""
