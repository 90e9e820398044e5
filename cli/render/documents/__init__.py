"""Results as JSON and CSV: the keys scripts rely on."""

__all__ = ["captions", "charge_and_runs", "convert", "csv_tables", "look", "parts", "report", "site"]
