"""Charts that can be moved, zoomed and read."""

__all__ = ["bank", "chart", "close_up", "runs", "whole_log"]
