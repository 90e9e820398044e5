"""Cells to numbers: how a column writes them, and what each cell says."""

__all__ = ["closing_row", "number_forms", "numbers"]
