"""Paper, nameplate, measured: the three sums of a load, and the reasons between them."""

__all__ = ["decomposition", "estimate", "lesson", "lesson_step", "measured_chain", "plate_check", "reasons"]
