"""Charts that can be moved, zoomed and read."""
