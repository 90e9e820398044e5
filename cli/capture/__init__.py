"""A capture from its plan to its summary, and its screen."""

__all__ = ["beside", "display_typed", "live_meter", "plan", "run", "running", "screen", "show", "state_file"]
