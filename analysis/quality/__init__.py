"""How good a log is, part by part, and what it is good for."""

__all__ = [
    "clipping",
    "coverage",
    "fitness",
    "implausible",
    "power_check",
    "quality",
    "sign_check",
    "spikes",
    "stuck",
    "zero_check",
]
