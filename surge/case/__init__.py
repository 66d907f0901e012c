"""case."""
