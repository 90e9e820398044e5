"""Several logs of one site or a fleet: compared, day by day, before and after; the whole report."""

__all__ = [
    "before_after",
    "compare",
    "compare_rates",
    "compared",
    "day_figures",
    "day_pieces",
    "day_trends",
    "fleet",
    "newest_state",
    "over_logs",
    "pooled",
    "report",
    "start_calendar",
]
