"""Everything from one log in one pass."""

__all__ = [
    "bank_report",
    "energy_flow",
    "from_array",
    "inverter_report",
    "log_analysis",
    "log_report",
    "running_now",
    "site_folds",
    "site_report",
    "starts_together",
    "watched_load",
    "water_report",
]
