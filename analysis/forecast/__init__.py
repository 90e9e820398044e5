"""What a load will take, by its plate or by a log, and whether bank and inverter hold."""

__all__ = [
    "bank_check",
    "bank_use",
    "forecast",
    "load_from_log",
    "measured_load",
    "stretches",
    "taken",
    "unseen_starts",
]
