"""Ah and Wh: the integral over time, gaps, the meter's own counter, and the evidence for how sure they are."""
