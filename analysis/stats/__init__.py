"""Numbers only: distributions of errors, 95 % intervals, ranks, slopes, means of blocks."""

__all__ = ["bounded", "interval95", "ranks"]
