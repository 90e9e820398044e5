"""A capture from its plan to its summary, and its screen."""
