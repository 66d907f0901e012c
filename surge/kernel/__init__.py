"""kernel."""
