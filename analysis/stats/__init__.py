"""Numbers only: distributions of errors, 95 % intervals, ranks, slopes, edges, means of blocks."""

__all__ = ["bounded", "interval95", "lower_edge", "ranks"]
