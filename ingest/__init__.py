"""Ingest: everything that touches files, ports and clocks; it knows no analysis."""

__all__ = ["durations", "errors", "events", "hushed", "quantities", "zone"]
