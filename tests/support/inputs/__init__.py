"""Files as people write them: cases, records and curves, sound and damaged."""
