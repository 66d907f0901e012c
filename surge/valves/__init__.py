"""valves."""
