"""What a site file says, and what in it does not go together."""

__all__ = ["contradictions", "description", "unjudged"]
