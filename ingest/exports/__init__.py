"""Files that others made, to a log."""
