"""The report of one log or several put together."""

__all__ = ["film_captions", "report", "to_show"]
