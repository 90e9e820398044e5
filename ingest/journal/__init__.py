"""The live journal, from which nothing is lost, and how it becomes a log."""

__all__ = ["compaction", "journal", "lines", "opening"]
