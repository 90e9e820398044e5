"""Many logs: where they are, which are finished, and the table of their summaries."""
