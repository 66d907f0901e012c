"""plots."""
