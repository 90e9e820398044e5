"""Still drawings, for paper and for a page without a script."""

__all__ = ["axis", "bank", "bars", "close_up", "run_strip", "runs", "svg", "thinning", "trends", "whole_log"]
