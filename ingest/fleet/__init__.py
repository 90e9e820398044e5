"""Many logs: where they are, which are finished, and the table of their summaries."""

__all__ = ["find_logs", "finished_rows", "remote", "summary_table"]
