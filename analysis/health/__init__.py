"""Whether load, pump and tank are healthy: limits, findings and trends of one load."""

__all__ = ["bursts", "draw", "finding", "hardly_seen", "health", "limits", "runs", "tank", "trends"]
