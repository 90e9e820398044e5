"""Live sources, and the loop that reads them."""
