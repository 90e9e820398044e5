"""Readings as arrays: chunks and folds, what a reading stands for, exact integrals; no pump, no bank."""

__all__ = [
    "blocks",
    "chunk",
    "energy_signals",
    "envelope",
    "first_look",
    "integral",
    "log_facts",
    "measured_span",
    "windows",
]
