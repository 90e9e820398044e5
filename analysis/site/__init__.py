"""What a site file may say: its tables, units, and the published tables of motors and copper. Reads no file."""

__all__ = ["conductor_tables", "motor_tables", "site", "strict_table", "tables", "unit_tables", "units", "water"]
