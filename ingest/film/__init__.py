"""Films and pictures of a display, read to readings."""

__all__ = ["display", "film_export", "frames", "library", "overlay"]
