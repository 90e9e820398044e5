"""Ah and Wh: the integral over time, gaps, the meter's own counter, and the evidence for how sure they are."""

__all__ = [
    "amounts",
    "between_notes",
    "charge",
    "completed",
    "display_delay",
    "error_facts",
    "every_second",
    "grouped_sums",
    "hidden_crossings",
    "instants",
    "meter_counter",
    "noted",
]
