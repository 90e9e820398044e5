"""Modbus and SunSpec devices, over TCP and serial lines."""

__all__ = ["find", "likely", "probe", "shown_value", "watch"]
