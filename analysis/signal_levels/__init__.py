"""Where a signal is level and where it steps: plateaus, levels, rises."""

__all__ = ["level_record", "levels", "plateau", "rises", "step_threshold", "steps"]
