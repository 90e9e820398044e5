"""From steps to the runs of one load: which load, its starts and stops, and what each run was like."""

__all__ = ["choose_load", "cycle", "cycles", "failed_starts", "in_step", "never_back", "noted_runs", "taken_by_load"]
