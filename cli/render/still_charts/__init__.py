"""Drawings of charts, for paper and screen."""

__all__ = ["axis", "bank", "bars", "close_up", "run_strip", "runs", "svg", "trends", "whole_log"]
