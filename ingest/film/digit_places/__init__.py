"""Where in a picture the digits of a display stand: its box straightened, and the digits found in it."""

__all__ = ["beside", "geometry", "search", "straighten"]
