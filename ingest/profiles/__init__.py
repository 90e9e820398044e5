"""Source profiles: TOML that says how a source's fields become quantities."""

__all__ = ["columns", "kept", "modbus_part", "model", "serial_part"]
