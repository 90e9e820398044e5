"""Modbus and SunSpec devices, over TCP and serial lines."""

__all__ = ["probe"]
