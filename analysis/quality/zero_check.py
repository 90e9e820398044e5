"""What a meter shows while nothing flows: its offset, from a stretch that somebody says was a rest."""

from __future__ import annotations

from math import inf, sqrt
from typing import Final

import numpy as np

from ..not_known import Refusal
from ..readings.chunk import Chunk
from ..stats.bounded import BlockMeans, Histogram
from ..sureness.meter_figures import ZeroCheck
from ..wording import figure

#: With fewer readings nothing is known of their scatter: common practice, no source.
LEAST_READINGS: Final = 5
#: A stretch is no rest where its level moves by more than so many times the noise from reading to reading, and by more
#: than so many of the meter's smallest steps: common practice, no source.
NOISE_TIMES, GRAIN_TIMES = 6.0, 1.5
#: A meter shows at least so many steps up to the highest reading; a change larger than that is no smallest step.
_LEAST_COUNTS: Final = 200.0
#: The median of sizes of normally distributed differences is this share of their standard deviation. [1]
_MEDIAN_OF_SIZES: Final = 0.6745


def smallest_step(change: float, highest: float) -> float:
    """Return a meter's smallest step from the smallest change seen in a log and its highest reading, in its unit."""
    return min(change, highest / _LEAST_COUNTS)


class ZeroFold:
    """Take the mean current over a named stretch, its ends included, as a fold.

    Block means and a histogram are all it carries. The meter's smallest step is `resolution_A`, else the smallest
    change anywhere in the log.

    Notes
    -----
    The uncertainty of the mean comes from means of blocks, since neighbouring readings hang together. Where the
    readings do not move at all, or less than the meter's smallest step q, q / sqrt(12) takes part (GUM F.2.2.1), since
    nothing averages it out then; the degrees of freedom follow Welch and Satterthwaite (GUM G.4).
    """

    def __init__(self, from_us: int, to_us: int, *, resolution_A: float | None = None) -> None:
        self._from_us, self._to_us = from_us, to_us
        self._stated_A = resolution_A
        self._means = BlockMeans()
        self._changes = Histogram()
        self._last: float | None = None
        self._last_inside: float | None = None
        self._grain_A, self._most_A = np.inf, 0.0

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        x = chunk.quantities["current_A"]
        known = ~np.isnan(x)
        x, time_us = x[known], chunk.time_us[known]
        if not len(x):
            return
        size = np.abs(np.diff(x, prepend=x[0] if self._last is None else self._last))
        self._grain_A = min(self._grain_A, float(size[size > 0].min(initial=np.inf)))
        self._most_A = max(self._most_A, float(np.abs(x).max()))
        self._last = float(x[-1])
        inside = x[(time_us >= self._from_us) & (time_us <= self._to_us)]
        if len(inside):
            before = [] if self._last_inside is None else [self._last_inside]
            self._changes.add(np.abs(np.diff(np.concatenate([before, inside]))))
            self._means.add(inside)
            self._last_inside = float(inside[-1])

    def result(self) -> ZeroCheck:
        """Return the offset; Refusal if the stretch holds too few readings, or its level moves as no rest's does."""
        if self._means.count < LEAST_READINGS:
            raise Refusal(
                f"the stretch named for the zero check holds {self._means.count} readings of the current, and needs "
                f"at least {LEAST_READINGS}: name a longer one"
            )
        # A difference of two readings scatters by the root of two more than one; medians of sizes heed no wild ones.
        noise_A = (self._changes.quantile(0.5) or 0.0) / _MEDIAN_OF_SIZES / sqrt(2)
        self._check_level(noise_A)
        u_A, dof = self._means.uncertainty()
        # Noise beyond the last digit averages the rounding out; without it every reading is rounded alike.
        digit_A = 0.0 if noise_A > self._digit_A() else self._digit_A() / sqrt(12)
        both_A = sqrt(u_A**2 + digit_A**2)
        return ZeroCheck(
            self._from_us,
            self._to_us,
            self._means.count,
            self._means.mean,
            both_A,
            inf if u_A == 0 else dof * (both_A / u_A) ** 4,
        )

    def _digit_A(self) -> float:
        """Return the meter's smallest step. [A]"""
        if self._stated_A is not None:
            return self._stated_A
        return smallest_step(float(self._grain_A), self._most_A)

    def _check_level(self, noise_A: float) -> None:
        blocks = self._means.blocks()
        # Noise is small in means of blocks, so what these range over is a level that moves.
        moved_A = float(np.ptp(blocks))
        if moved_A > max(NOISE_TIMES * noise_A, GRAIN_TIMES * self._digit_A()):
            low, high = figure(blocks.min(), "A"), figure(blocks.max(), "A")
            raise Refusal(
                f"the stretch named for the zero check is no rest: the current goes from {low} to "
                f"{high} within it; name one in which nothing is switched"
            )


def without_offset(chunk: Chunk, offset_A: float) -> Chunk:
    """Return readings without what the meter shows while nothing flows, and without what it made of it in the power."""
    q = dict(chunk.quantities)
    q["current_A"] = q["current_A"] - offset_A
    if "power_W" in q and "voltage_V" in q:
        # A meter works its watts out from the same amps.
        q["power_W"] = q["power_W"] - offset_A * np.nan_to_num(q["voltage_V"])
    return Chunk(chunk.time_us, q)
