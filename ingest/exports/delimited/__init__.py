"""Reading delimited text: bytes, dialect, header words, numbers and time stamps."""

__all__ = ["decode", "header", "instants", "layout", "numbers", "plan", "rows", "stamps"]
