"""Where a signal is level and where it steps: plateaus, levels, rises."""
