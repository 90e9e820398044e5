"""Work on a second processor."""

__all__ = ["two_threads", "worker_process"]
