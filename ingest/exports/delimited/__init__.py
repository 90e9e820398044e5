"""Reading delimited text: bytes, dialect, header words, numbers and where the time stands."""

__all__ = ["decode", "header", "layout", "numbers", "plan", "rows", "time_columns"]
