"""How sure: a meter's figures, and the 95 % intervals of amounts and of runs."""

__all__ = ["amount_intervals", "cycle_intervals", "meter_figures", "signal_errors", "too_brief"]
