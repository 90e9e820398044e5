"""Results as lines of text."""

__all__ = [
    "answer",
    "charge",
    "columns",
    "compare",
    "convert",
    "cycles",
    "films",
    "forecast",
    "look",
    "plate",
    "report",
    "site",
    "what_if",
]
