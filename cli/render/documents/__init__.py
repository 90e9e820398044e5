"""Results as JSON and CSV: the keys scripts rely on."""

__all__ = ["convert", "csv_tables", "look", "one_log", "parts", "report", "site"]
