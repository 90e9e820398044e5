"""Numbers only: distributions of errors, 95 % intervals, ranks, slopes, edges, means of blocks, a few plain numbers."""

__all__ = ["bounded", "few", "interval95", "lower_edge", "ranks"]
