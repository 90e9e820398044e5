"""Logs and site files opened as the command line asks."""

__all__ = ["open_logs", "prepared_log", "seen_starts", "times_written"]
