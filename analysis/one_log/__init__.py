"""Everything from one log in one pass."""
