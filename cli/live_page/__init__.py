"""The page beside the pump: a server of its own that shows browsers how a capture stands, and lets them do nothing."""

__all__ = ["asking", "server"]
