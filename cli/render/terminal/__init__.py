"""Results as lines of text."""
