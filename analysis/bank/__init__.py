"""What the bank can do: its limits, sag and resistance, state of charge, and the word on the whole system."""

__all__ = [
    "bank",
    "charger_time",
    "draw",
    "limits",
    "peukert",
    "resistance",
    "rested_state",
    "sag",
    "seen_starts",
    "state_of_charge",
    "system_word",
    "wear",
]
