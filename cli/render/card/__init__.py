"""A still to show to others: one picture with the verdict, the answer and the runs."""

__all__ = ["card"]
