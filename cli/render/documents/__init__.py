"""Results as JSON and CSV: the keys scripts rely on."""

__all__ = ["charge", "compare", "convert", "csv_tables", "cycles", "forecast", "look", "parts", "report", "site"]
