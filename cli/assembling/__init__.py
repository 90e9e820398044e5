"""The report of one log or several put together."""

__all__ = ["change_forms", "charge_asked", "film_captions", "forecast_asked", "report", "to_show", "two_logs"]
