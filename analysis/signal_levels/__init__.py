"""Where a signal is level and where it steps: plateaus, levels, rises."""

__all__ = [
    "base_path",
    "cloud_steps",
    "inner_levels",
    "level_record",
    "levels",
    "plateau",
    "rises",
    "running_sums",
    "start_length",
    "step_threshold",
    "steps",
    "still_sky",
]
