"""Reading delimited text: bytes, dialect, header words, numbers and where the time stands."""

__all__ = ["choice", "decode", "dialect", "header", "layout", "plan", "rows", "time_columns"]
