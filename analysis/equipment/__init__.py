"""What the things on the site can do: inverter, conductor and fuse, array, tank and pump."""

__all__ = [
    "bank_voltage",
    "cable_choice",
    "conductor",
    "demand",
    "hydraulics",
    "inverter_check",
    "inverter_losses",
    "judged",
    "motor_start",
    "plate_power",
    "protection",
    "short_circuit",
    "solar",
    "water",
]
