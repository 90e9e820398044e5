"""Logs and site files opened as the command line asks."""

__all__ = ["prepared_log", "times_written"]
