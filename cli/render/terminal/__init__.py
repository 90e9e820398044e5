"""Results as lines of text."""

__all__ = ["charge", "compare", "forecast", "lines", "look"]
