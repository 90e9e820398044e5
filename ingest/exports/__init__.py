"""Files that others made, to a log."""

__all__ = [
    "adapter",
    "beginning",
    "choices",
    "convert",
    "display_line",
    "intake",
    "keep_profile",
    "log_again",
    "preview",
]
