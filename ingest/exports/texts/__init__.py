"""Bytes of an export to whole lines, whatever they are packed, encoded or wrapped in."""

__all__ = ["binary", "block_rows", "decode", "shape"]
