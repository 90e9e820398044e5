"""Two logs on either side of one inverter: their clocks, their steps, what the inverter loses."""

__all__ = ["log_steps", "paired_logs", "stretch_means"]
