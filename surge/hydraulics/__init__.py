"""hydraulics."""
