"""What a site file may say: its tables and units; tables of batteries, motors and copper. Reads no file."""

__all__ = [
    "battery_kinds",
    "conductor_tables",
    "motor_kinds",
    "motor_tables",
    "site",
    "strict_table",
    "tables",
    "unit_tables",
    "units",
    "water",
]
