"""Everything from one log in one pass."""

__all__ = [
    "bank_report",
    "inverter_report",
    "log_analysis",
    "log_report",
    "site_folds",
    "site_report",
    "watched_load",
    "water_report",
]
