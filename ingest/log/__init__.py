"""The log in Parquet: its readings, its metadata, their order in time, and which spacings are gaps."""

__all__ = ["arrow", "gap_limit", "log", "meta", "opened_file", "restarts", "stored", "timeline"]
