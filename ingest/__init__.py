"""Ingest: everything that touches files, ports and clocks; it knows no analysis."""
