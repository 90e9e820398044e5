"""Whether load, pump and tank are healthy: limits, findings and trends of one load."""

__all__ = ["draw", "finding", "health", "limits", "runs", "trends"]
