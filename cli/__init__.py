"""The command line: it knows ingest and analysis, and decides nothing itself."""

__all__ = ["door", "exit"]
