"""Still drawings, for paper and for a page without a script."""

__all__ = ["axis", "bank", "bars", "both_sizes", "close_up", "run_strip", "svg", "thinning", "trends", "whole_log"]
