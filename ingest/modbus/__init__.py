"""Modbus and SunSpec devices, over TCP and serial lines."""

__all__ = ["connection", "find", "likely", "plausible", "probe", "shown_value", "sunspec", "watch"]
