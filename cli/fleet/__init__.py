"""Many logs at once: found, read by workers here or on a cluster, kept as they are finished."""

__all__ = ["cluster", "one_log", "page", "pool", "run", "words"]
