"""Exports of made-up loggers, each with its truth, to hold what is read against."""
