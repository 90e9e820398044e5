"""Cells to numbers: how a column writes them, and what each cell says."""

__all__ = ["around", "closing_row", "number_forms", "numbers"]
