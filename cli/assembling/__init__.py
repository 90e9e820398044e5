"""The report of one log or several put together."""
