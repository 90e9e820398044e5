"""Whether load, pump and tank are healthy: limits, findings and trends of one load."""

__all__ = ["bursts", "draw", "finding", "health", "limits", "runs", "trends"]
