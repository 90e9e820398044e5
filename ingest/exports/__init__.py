"""Files that others made, to a log."""

__all__ = ["adapter", "beginning", "convert", "display_line", "intake", "keep_profile", "log_again"]
