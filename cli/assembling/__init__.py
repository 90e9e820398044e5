"""The report of one log or several put together."""

__all__ = ["report"]
