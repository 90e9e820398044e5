"""Whether instants were read in step with something that is faster than they are: an inverter's ripple.

What an inverter of one phase draws pulses with twice the frequency of its output (100 or 120 Hz). Readings at instants
see the pulse wherever they happen to fall on it. Where that moves from reading to reading, a steady draw scatters as a
sine does, in proportion to itself; where it hardly moves, the draw seems to go slowly up and down; where it does not
move at all nothing shows. So the fluctuation of windows of the log is looked at, at several scales: of readings, and of
means of 4, 16, 64 ... of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, hypot, log, sqrt
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray
from ..readings.windows import WINDOW, Waiting, Windows, in_groups, sums_of_products
from .grouped_sums import size_of

#: By how many the next scale is coarser, and their number; the coarsest window is a piece of readings. [1]
COARSER, SCALES = 4, 5
#: A draw fluctuates from this share of it on, as a standard deviation: of single readings twice the usual 1 % of
#: reading that a meter may be off, of means as much as that; common practice, no source. [1]
FLUCTUATES, MEANS_FLUCTUATE = 0.02, 0.01
#: The kurtosis of a sine is 1.5, of what is even 1.8, of noise 3, of two levels 1 and more; a third of a sine lies in
#: the middle half of its range, of two levels nothing (all by arithmetic); bounds for windows of 16: by trial.
KURTOSIS, MIDDLE = (1.2, 1.75), (0.18, 0.5)
#: Of what scatters at random at least this share lies in the middle half of the range, of two levels nothing: by trial.
NOT_TWO_LEVELS: Final = 0.1
#: What pulses falls to nought at most, so that it scatters by no more than the root of a half of itself, and a little
#: for the chance of what is seen; a single window by more. [1]
MOST_SHARE, MOST_OF_ONE = 0.74, 1.0
#: In the trough of a pulse, where little is read, a part of it scatters by more: at most by this share, by trial. [1]
MOST_SCATTER: Final = 0.8
#: What scatters without being spread as a sine is: at least by this share, and from reading to reading by so much of
#: its variance, as what is random does; switched loads stay longer. By trial. [1]
SCATTERS: Final = 0.03
AT_RANDOM: Final = (0.7, 1.4)
#: Beside a wave of which the readings only see a part, the mean may be off by so many times their scatter: near its
#: crest, with instants that vary by a tenth of a wave (by arithmetic: 0.82 / 0.2, and a fifth for what is not seen).
UNSEEN: Final = 5.0
#: A small draw is quiet where it scatters by less than this share of what a large one does: common practice, no source.
QUIET: Final = 0.45
#: Where the phases vary, but not evenly, the mean is off by so many times what it leans to one side of the range: by
#: trial. [1]
LEANS: Final = 1.5
#: Within a slow wave no value differs from the one before by more than this share of a window's range. [1]
SMOOTH: Final = 0.3
#: Of windows that scatter this share must be spread as a sine is, or its phases are not even: by trial.
EVEN_PHASES: Final = 0.45
#: So many windows, and this share of those with a large draw, must agree: common practice, no source.
LEAST_WINDOWS, LEAST_SHARE, LEAST_SHARE_FAST, LEAST_SHARE_SLOW = 6, 0.3, 0.45, 0.2
#: What a wave of which windows see a part may make of an amount: so many times what they scatter by. By trial. [1]
PARTLY_SEEN: Final = 4.0
#: Of slow waves this share must go up, and this share down, and by no more than so many times as much one way as the
#: other: loads fade one way. By trial. [1]
LEAST_EACH_WAY, ALIKE = 0.2, 3.0
#: A draw is large from this share of nearly the largest on, in powers of two: a quarter to an eighth. [1]
_BELOW_MOST: Final = 2
#: An array is at work where what comes back is so many powers of two below it or larger; under clouds a draw seems to
#: go up and down slowly, too. [1]
_RETURNS: Final = 4
#: Powers of two that are told apart, from 2^-32 of the unit on: what is beyond is taken for the outermost. [1]
_SIZES, _LEAST = 64, 1023 - 32
#: So many windows are looked at together: quicker, as measured. [1]
_MANY: Final = 4096
#: Readings beyond the size that this share of them reaches may be false ones. [1]
_FALSE_SHARE: Final = 0.001


class _WindowCounts(NamedTuple):
    """What is counted of windows, over some sizes of their mean."""

    windows: float  # all but those in which a load is switched
    full: float  # windows in which a whole wave, or many, is seen
    full_squares: float
    scattered: float  # windows that scatter from reading to reading, but not as a wave does
    scatter_logs: float  # logarithms of their standard deviations as shares: a few with a step in them count little
    lean: float  # by how much the means of both lie above the middle of their range
    noise_logs: float  # and of the same in the signal's unit
    up: float  # windows in which a part of a slow wave is seen, by its direction
    down: float
    up_squares: float
    down_squares: float


@dataclass(frozen=True)
class Ripple:
    """A fluctuation in proportion to the draw.

    ``amplitude`` is that of the wave, ``share`` what it may make of the amount drawn, as a standard uncertainty; both
    as shares of the draw. It is ``slow`` where it beats so slowly, or its phases vary so little, that it does not
    average out, and ``scatters`` where it shows from reading to reading.
    """

    amplitude: float
    share: float
    slow: bool
    scatters: bool


class RippleSums:
    """Look for it in blocks of readings; it carries sums, and windows of each scale that wait for others."""

    def __init__(self) -> None:
        # Each scale looks at means of four of the one before: a wave too slow for its windows fits into later ones.
        self._scales = [_Scale(fast=not k) for k in range(SCALES)]

    def add(self, windows: Windows) -> None:
        """Take the next windows in, whole blocks of them."""
        for scale in self._scales:
            coarser = scale.add(windows)
            if coarser is None:
                return
            windows = coarser

    def end(self) -> Ripple | None:
        """Return what was seen, after which no more is taken in; None where the draw does not fluctuate so."""
        windows: Windows | None = None
        for scale in self._scales:
            windows = scale.end(windows)
        sums = [scale.counts for scale in self._scales]
        # How many windows are as large or larger, by size; the largest that is no false reading tells what a large draw
        # is.
        seen = np.cumsum(sums[0][0, ::-1])[::-1]
        most = int(np.flatnonzero(seen > _FALSE_SHARE * seen[0])[-1]) if seen[0] else 0
        # With an array at work slow waves may be clouds; fast ones are not.
        returned = self._scales[0].returned
        back = returned[max(most - _RETURNS, 0) :].sum() > _FALSE_SHARE * (seen[0] + returned.sum())
        rows = [_row(scale[:, max(most - _BELOW_MOST, 1) :]) for scale in sums]
        low = _row(sums[0][:, : most - _BELOW_MOST])
        return _scattering(rows, low) or (None if back else _beating(rows))


class _Scale:
    """Counts windows of one scale, as `_WindowCounts` names them, by the size of their means; shape (11, 64).

    ``returned`` counts those whose mean is below nought.
    """

    def __init__(self, *, fast: bool) -> None:
        self.counts = np.zeros((len(_WindowCounts._fields), _SIZES))
        self.returned = np.zeros(_SIZES)
        self._fast = fast
        self._waiting, self._moving = Waiting(_MANY), Waiting(_MANY)

    def add(self, windows: Windows) -> Windows | None:
        """Take the next windows in; return the next scale's, where so many waited that they were looked at."""
        together = self._waiting.add(windows.values, windows.jumps)
        if together is None:
            return None
        # What did not have to wait has its sums already.
        return self._look(windows if together[0] is windows.values else Windows(*together))

    def end(self, windows: Windows | None) -> Windows | None:
        """Take the last windows in, if any, with all that waits; return the next scale's."""
        together = None if windows is None else self._waiting.add(windows.values, windows.jumps)
        together = together or self._waiting.rest()
        coarser = None if together is None else self._look(Windows(*together))
        if moving := self._moving.rest():
            self.counts += _moving(*moving, fast=self._fast)
        return coarser

    def _look(self, windows: Windows) -> Windows | None:
        """Count windows, and return the next scale's; None where they fill none."""
        means, jumps = windows.sums / WINDOW, windows.largest_jump
        seen = (means > 0) & (jumps < np.inf)
        # Most windows are still, and need no more than this: a mean square beyond the square of the mean is a variance.
        moves = windows.squares / WINDOW > (1 + (FLUCTUATES if self._fast else MEANS_FLUCTUATE) ** 2) * means**2
        self.counts[0] += _counted(means[seen & ~moves])
        self.returned += _counted(-means[means < 0])
        at = np.flatnonzero(seen & moves)
        values = windows.values.take(at, axis=1)
        # In a wave seen at a coarser scale the readings themselves do not jump, as loads do that come and go; only
        # among readings, which may be one a wave, they do.
        if not self._fast:
            smooth = jumps[at] <= SMOOTH * np.ptp(values, axis=0)
            at, values = at[smooth], values[:, smooth]
        if moving := self._moving.add(values, means[at], jumps[at]):
            self.counts += _moving(*moving, fast=self._fast)
        if len(windows) < COARSER:
            return None
        whole = len(windows) - len(windows) % COARSER
        # Of a coarser window nobody asks for more than the largest of all its jumps.
        largest = in_groups(windows.largest_jump[:whole], COARSER, np.maximum)
        return Windows(_coarser(windows.values), largest[None])


def _scattering(rows: list[_WindowCounts], low: _WindowCounts) -> Ripple | None:
    """Return the wave that shows from reading to reading; `low` is of windows of small draws, single readings."""
    # From reading to reading: nearly all windows must agree, since switched loads make some look alike. Where phases
    # are even the whole wave is seen and averages out; else a part is, and only its growth with the draw tells it from
    # noise.
    fast = rows[0].full + rows[0].scattered
    if not _enough(fast, rows[0].windows, fast=True):
        return None
    if rows[0].full >= EVEN_PHASES * fast and _pulses(rows[0]):
        return _of_full(rows, [0], scatters=True)
    return _of_scatter(rows[0]) if _grows(rows[0], low) else None


def _beating(rows: list[_WindowCounts]) -> Ripple | None:
    """Return the wave that goes by slowly: the whole of it in a window, or so slowly that a part is seen."""
    full = [k for k, row in enumerate(rows) if k and _enough(row.full, row.windows) and _pulses(row)]
    if full:
        return _of_full(rows, full, scatters=False)
    slow = [row for row in rows if _is_slow(row)]
    if not slow:
        return None
    rms = sqrt((slow[-1].up_squares + slow[-1].down_squares) / (slow[-1].up + slow[-1].down))
    return Ripple(sqrt(2) * rms, PARTLY_SEEN * rms, slow=True, scatters=False)


def _row(sums: FloatArray) -> _WindowCounts:
    """Return the counts of windows over all sizes that are there; shape (11, m)."""
    return _WindowCounts(*sums.sum(axis=1).tolist())


def _of_full(rows: list[_WindowCounts], full: list[int], *, scatters: bool) -> Ripple:
    """Return the wave of which the windows show the whole: it averages out from window to window, but for a lean."""
    # Waves of the coarsest scale that shows are seen as a whole once in so many readings: over all windows their mean
    # is off by the rms over the root of their number, joined with the lean; never by more than a single wave.
    rms = max(sqrt(rows[k].full_squares / rows[k].full) for k in full)
    lean = max(LEANS * abs(rows[k].lean) / (rows[k].full + rows[k].scattered) for k in full)
    window = WINDOW * COARSER ** full[-1]
    share = min(rms, hypot(rms * sqrt(window / COARSER / (rows[0].windows * WINDOW)), lean))
    return Ripple(sqrt(2) * rms, share, slow=False, scatters=scatters)


def _pulses(row: _WindowCounts) -> bool:
    """Tell whether the windows scatter by no more than what pulses down to nought."""
    return row.full_squares < MOST_SHARE**2 * row.full


def _grows(high: _WindowCounts, low: _WindowCounts) -> bool:
    """Tell whether a large draw scatters, and a small one, or rest, does not: noise of a meter is the same in both."""
    if low.windows < LEAST_WINDOWS:
        return False
    quiet = low.scattered < LEAST_SHARE * low.windows
    return quiet or low.noise_logs / low.scattered < log(QUIET) + high.noise_logs / max(high.scattered, 1)


def _of_scatter(row: _WindowCounts) -> Ripple | None:
    """Return the wave of which readings that scatter, but not as a wave does, see a part; None of what is none."""
    rms = exp(row.scatter_logs / max(row.scattered, 1))
    return Ripple(sqrt(2) * rms, UNSEEN / sqrt(3) * rms, slow=True, scatters=True) if rms < MOST_SCATTER else None


def _enough(count: float, windows: float, *, fast: bool = False) -> bool:
    return count >= LEAST_WINDOWS and count >= (LEAST_SHARE_FAST if fast else LEAST_SHARE) * windows


def _is_slow(row: _WindowCounts) -> bool:
    """Tell whether a draw goes up and down alike: a load that starts softly and then fades does not."""
    both = row.up + row.down
    if both < max(LEAST_WINDOWS, LEAST_SHARE_SLOW * row.windows) or min(row.up, row.down) < LEAST_EACH_WAY * both:
        return False
    up2, down2 = row.up_squares / row.up, row.down_squares / row.down
    return min(up2, down2) * ALIKE**2 > max(up2, down2)


def _coarser(windows: FloatArray) -> FloatArray:
    """Return the means of every four readings of windows, in windows again; shape (16, m) to (16, m / 4)."""
    fours = np.add.reduce(windows.reshape(COARSER, -1, windows.shape[1]), axis=1)
    fours /= COARSER
    whole = fours[:, : fours.shape[1] - fours.shape[1] % COARSER]
    # Four windows that follow each other are one.
    return np.asarray(whole.reshape(COARSER, -1, COARSER).transpose(2, 0, 1).reshape(WINDOW, -1))


def _counted(means: FloatArray) -> FloatArray:
    """Return how many there are of each size; shape (64,)."""
    return np.bincount(_size(means), minlength=_SIZES).astype(np.float64)


def _moving(windows: FloatArray, means: FloatArray, jumps: FloatArray, *, fast: bool) -> FloatArray:
    """Return the counts of windows that fluctuate, shape (16, m), with their largest jumps; smooth ones or `fast`."""
    # A window is whole waves where it is spread as a sine is: by its kurtosis and by how much lies in the middle half
    # of its range. One that is not may be a part of a slow wave (it runs smoothly, up or down) or scatter at random.
    squares = windows - means
    squares *= squares
    variance = squares.mean(axis=0)
    share2 = variance / means**2
    low, high = windows.min(axis=0), windows.max(axis=0)
    smooth = jumps <= SMOOTH * (high - low)
    kurtosis = sums_of_products(squares, squares) / WINDOW / variance**2
    off = np.subtract(windows, (low + high) / 2, out=squares)
    inside = np.abs(off, out=off) < (high - low) / 4
    # Sixteen at most fit into a byte, and bytes are added many at a time.
    middle = np.add.reduce(inside.view(np.uint8), axis=0, dtype=np.uint8) / WINDOW
    pulses = share2 < MOST_OF_ONE**2
    full = pulses & _between(kurtosis, KURTOSIS) & _between(middle, MIDDLE)
    slow = pulses & smooth & ~full
    rises = windows[WINDOW // 2 :].sum(axis=0) > windows[: WINDOW // 2].sum(axis=0)
    # Over twice the variance, the mean square of the changes is 1 for what is random from reading to reading (von
    # Neumann's ratio halved), and far less for what stays.
    change = windows[1:] - windows[:-1]
    random = sums_of_products(change, change) / (WINDOW - 1) / (2 * variance)
    scattered = fast & ~full & (share2 > SCATTERS**2) & _between(random, AT_RANDOM) & (middle >= NOT_TWO_LEVELS)
    logs = np.log(share2) / 2
    weights = (
        *(np.ones_like(means), full, full * share2, scattered, scattered * logs),
        *((full | scattered) * (1 - (low + high) / 2 / means), scattered * (logs + np.log(means))),
        *(slow & rises, slow & ~rises, (slow & rises) * share2, (slow & ~rises) * share2),
    )
    return _by_size(means, *weights)


def _by_size(x: FloatArray, *weights: NDArray[Any]) -> FloatArray:
    """Return each weight's sums by the power of two of what is not negative; shape (weights, 64)."""
    each = _size(x) + _SIZES * np.arange(len(weights))[:, None]
    sums = np.bincount(each.ravel(), np.concatenate(weights), each.shape[0] * _SIZES)
    return sums.reshape(-1, _SIZES).astype(np.float64)


def _size(x: FloatArray) -> NDArray[np.int64]:
    return np.clip(size_of(x) - _LEAST, 0, _SIZES - 1)


def _between(x: FloatArray, bounds: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((x > bounds[0]) & (x < bounds[1]))
