"""Paper, nameplate, measured: the three sums of a load, and the reasons between them."""

__all__ = ["decomposition", "estimate", "lesson", "measured_chain", "plate_check", "reasons"]
