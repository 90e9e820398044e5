"""Drawings of charts, for paper and screen."""

__all__ = [
    "all_starts",
    "axis",
    "bank",
    "bars",
    "clock_rows",
    "close_up",
    "energy_flow",
    "lines",
    "run_rows",
    "run_strip",
    "runs",
    "svg",
    "thinning",
    "trends",
    "whole_log",
]
