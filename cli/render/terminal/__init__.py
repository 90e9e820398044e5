"""Results as lines of text."""

__all__ = ["charge", "columns", "compare", "convert", "forecast", "lines", "look"]
