"""A capture from its plan to its summary, and its screen."""

__all__ = ["beside", "live_meter", "plan", "run", "screen", "show"]
