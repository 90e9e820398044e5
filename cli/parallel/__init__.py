"""Work on a second processor."""

__all__ = ["processes", "two_threads", "worker_process"]
