"""What the page's script needs to move a drawing and to say what is under a finger."""

__all__ = ["bank", "runs", "whole_log"]
