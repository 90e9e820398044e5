"""Work on a second processor."""
