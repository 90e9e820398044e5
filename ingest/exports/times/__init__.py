"""Time stamps: what they look like, style by style, and how they become instants."""

__all__ = ["forms", "half_days", "instants", "marked_halves", "parts", "second_clock", "stamps"]
