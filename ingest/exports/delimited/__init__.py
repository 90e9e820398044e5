"""Reading delimited text: dialect, header words, what each column is and where the time stands, rows."""

__all__ = ["choice", "dialect", "header", "layout", "plan", "rows", "stated", "time_columns"]
