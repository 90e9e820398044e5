"""Logs and site files opened as the command line asks."""
