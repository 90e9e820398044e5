"""Results as lines of text."""

__all__ = [
    "answer",
    "charge",
    "columns",
    "compare",
    "convert",
    "cycles",
    "forecast",
    "look",
    "plate",
    "report",
    "site",
    "what_if",
]
