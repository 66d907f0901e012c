"""transient."""
