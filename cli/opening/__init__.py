"""Logs and site files opened as the command line asks."""

__all__ = ["films", "first_sight", "prepared_log", "sign_seen", "times_written"]
