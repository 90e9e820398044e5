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
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray
from .pieces import Piece, gaps_before
from .sizes import HALF, size_of

#: Values in a window, and by how many the next scale is coarser; the coarsest window is a piece of readings. [1]
WINDOW, COARSER, SCALES = 16, 4, 5
#: A draw fluctuates from this share of it on, as a standard deviation: twice the usual 1 % of reading that a meter may
#: be off; common practice, no source. [1]
FLUCTUATES: Final = .01
#: The kurtosis of a sine is 1.5, of what is even 1.8, of noise 3, of two levels 1 and more; a third of a sine lies in
#: the middle half of its range, of two levels nothing (all by arithmetic); bounds for windows of 16: by trial.
KURTOSIS, MIDDLE = (1.2, 1.75), (0.18, 0.5)
#: Of what scatters at random at least this share lies in the middle half of the range, of two levels nothing: by trial.
NOT_TWO_LEVELS: Final = 0.1
#: What pulses falls to nought at most, so that it scatters by no more than this share, the root of a half. [1]
MOST_SHARE: Final = 0.72
#: In the trough of a pulse, where little is read, a part of it may scatter by more than the mean, but by no more than this.
MOST_SCATTER: Final = 0.8
#: What scatters without being spread as a sine is: at least by this share, and from reading to reading by so much of its
#: variance, as what is random does; switched loads stay longer. By trial. [1]
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
LEAST_WINDOWS, LEAST_SHARE, LEAST_SHARE_FAST = 8, 0.3, 0.45
#: Of slow waves this share must go up, and this share down: loads fade one way. [1]
LEAST_EACH_WAY: Final = 0.25
#: A draw is large from this share of nearly the largest on, in powers of two: a quarter to an eighth. [1]
_BELOW_MOST: Final = 2
#: An array is at work where what comes back is so many powers of two below it or larger; under clouds a draw seems to go
#: up and down slowly, too. [1]
_RETURNS: Final = 4
#: Readings beyond the size that this share of them reaches may be false ones. [1]
_FALSE_SHARE: Final = 0.001


class _Row(NamedTuple):
    """What is counted of windows, by the size of their mean; each shape (2048,)."""

    windows: FloatArray  # all but those in which a load is switched
    full: FloatArray  # windows in which a whole wave, or many, is seen
    full_squares: FloatArray
    scattered: FloatArray  # windows that scatter from reading to reading, but not as a wave does
    scatter_logs: FloatArray  # logarithms of their standard deviations as shares: a few with a step in them count little
    lean: FloatArray  # by how much the means of both lie above the middle of their range
    noise_logs: FloatArray  # and of the same in the signal's unit
    up: FloatArray  # windows in which a part of a slow wave is seen, by its direction
    down: FloatArray
    slow_squares: FloatArray


@dataclass(frozen=True)
class Ripple:
    """A fluctuation in proportion to the draw.

    Parameters
    ----------
    amplitude : float
        Of the wave, as a share of the draw. [1]
    share : float
        What it may make of the amount drawn, as a standard uncertainty. [1]
    slow : bool
        Whether it beats so slowly that it does not average out.
    """

    amplitude: float
    share: float
    slow: bool


class RipplePart:
    """Look for it; sums are all that it carries, besides one piece.

    Parameters
    ----------
    signal : str
        The quantity that is looked at.
    gap_limit_s : float or None
        A longer spacing is a gap. [s]
    """

    def __init__(self, signal: str, gap_limit_s: float | None) -> None:
        self._signal, self._gap_limit_s = signal, gap_limit_s
        self._sums = np.zeros((SCALES, len(_Row._fields), HALF))
        self._sizes = np.zeros(2 * HALF)

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = piece.having(self._signal)
        new = piece.new()
        x = new.quantities[self._signal]
        self._sizes += np.bincount(size_of(x), minlength=2 * HALF)
        jump = np.abs(np.diff(x, prepend=x[:1]))
        jump[gaps_before(new.time_us, self._gap_limit_s)] = np.inf
        for scale in range(SCALES):
            if len(x) < WINDOW:
                return
            self._sums[scale] += _counted(*_windows(x, jump), fast=scale == 0)
            whole = len(x) - len(x) % COARSER
            x, jump = x[:whole].reshape(-1, COARSER).mean(axis=1), jump[:whole].reshape(-1, COARSER).max(axis=1)

    def result(self) -> Ripple | None:
        """Return what is seen so far; None where the draw does not fluctuate so."""
        seen = np.cumsum(self._sizes[:HALF][::-1])[::-1]
        most = int(np.flatnonzero(seen > _FALSE_SHARE * seen[0])[-1]) if seen[0] else 0
        rows = [_Row(*scale[:, max(most - _BELOW_MOST, 1) :].sum(axis=1)) for scale in self._sums]
        readings = float(rows[0].windows) * WINDOW
        fast = rows[0].full + rows[0].scattered
        scatters = _enough(fast, rows[0].windows, fast=True)
        full = [k for k, row in enumerate(rows) if k and _enough(row.full, row.windows)]
        if full or (scatters and rows[0].full >= EVEN_PHASES * fast):
            return _of_full(rows, full or [0], readings)
        if scatters and _grows(rows[0], _Row(*self._sums[0, :, : most - _BELOW_MOST].sum(axis=1))):
            return _of_scatter(rows[0])
        back = self._sizes[HALF + most - _RETURNS :].sum() > _FALSE_SHARE * self._sizes.sum()
        slow = [k for k, row in enumerate(rows) if _is_slow(row)]
        if back or not slow:
            return None
        row = rows[slow[-1]]
        rms = sqrt(row.slow_squares / (row.up + row.down))
        return Ripple(sqrt(2) * rms, 2 * rms, slow=True)


def _of_full(rows: list[_Row], full: list[int], readings: float) -> Ripple:
    """Return the wave of which the windows show the whole: it averages out from window to window.

    But for what leans to one side: phases that vary, yet not evenly.
    """
    rms = max(sqrt(rows[k].full_squares / rows[k].full) for k in full)
    lean = max(LEANS * abs(rows[k].lean) / (rows[k].full + rows[k].scattered) for k in full)
    window = WINDOW * COARSER ** full[-1]
    return Ripple(sqrt(2) * rms, min(rms, hypot(rms * sqrt(window / COARSER / readings), lean)), slow=False)


def _grows(high: _Row, low: _Row) -> bool:
    """Tell whether a large draw scatters, and a small one, or rest, does not: noise of a meter is the same in both."""
    if low.windows < LEAST_WINDOWS:
        return False
    quiet = low.scattered < LEAST_SHARE * low.windows
    return bool(quiet or low.noise_logs / low.scattered < log(QUIET) + high.noise_logs / max(high.scattered, 1))


def _of_scatter(row: _Row) -> Ripple | None:
    """Return the wave of which readings that scatter, but not as a wave does, see a part; None of what is none."""
    rms = exp(row.scatter_logs / max(row.scattered, 1))
    return Ripple(sqrt(2) * rms, UNSEEN / sqrt(3) * rms, slow=True) if rms < MOST_SCATTER else None


def _enough(count: float | FloatArray, windows: float | FloatArray, *, fast: bool = False) -> bool:
    return bool(count >= LEAST_WINDOWS and count >= (LEAST_SHARE_FAST if fast else LEAST_SHARE) * windows)


def _is_slow(row: _Row) -> bool:
    both = row.up + row.down
    return _enough(both, row.windows) and min(row.up, row.down) >= LEAST_EACH_WAY * both


def _windows(x: FloatArray, jump: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the windows of a signal in which it is drawn, and the largest jump up to each reading of it; shapes (m, 16), (m,)."""
    whole = len(x) - len(x) % WINDOW
    rows, jumps = (y[:whole].reshape(-1, WINDOW) for y in (x, jump))
    there = rows.mean(axis=1) > 0
    return rows[there], jumps[there].max(axis=1)


def _counted(rows: FloatArray, jumps: FloatArray, *, fast: bool) -> FloatArray:
    """Return the counts of windows, as `_Row` names them, by the size of their means; shape (6, 2048).

    In a wave that is seen at a coarser scale the readings themselves do not jump, as loads do that come and go; only
    among readings, which may be one a wave, they do (`fast`).
    """
    means = rows.mean(axis=1)
    off = rows - means[:, None]
    squares = off * off
    share2 = squares.mean(axis=1) / means**2
    moves = (share2 > FLUCTUATES**2) & (share2 < MOST_SHARE**2)
    smooth = jumps <= SMOOTH * np.ptp(rows, axis=1)
    kurtosis, middle = _spread(rows, squares)
    full = moves & (smooth | fast) & _between(kurtosis, KURTOSIS) & _between(middle, MIDDLE)
    slow = moves & smooth & ~full
    rises = rows[:, WINDOW // 2 :].sum(axis=1) > rows[:, : WINDOW // 2].sum(axis=1)
    there = ((share2 <= FLUCTUATES**2) | smooth | fast) & (jumps < np.inf)
    lean = 1 - (rows.max(axis=1) + rows.min(axis=1)) / 2 / means
    random = np.square(np.diff(rows, axis=1)).mean(axis=1) / np.maximum(2 * squares.mean(axis=1), 1e-300)
    scattered = fast & ~full & (share2 > SCATTERS**2) & _between(random, AT_RANDOM) & (middle >= NOT_TWO_LEVELS)
    logs = np.log(np.where(scattered, share2, 1.0)) / 2
    weights = (
        *(there, full, full * share2, scattered, scattered * logs),
        *((full | scattered) * lean, scattered * (logs + np.log(means))),
        *(slow & rises, slow & ~rises, slow * share2),
    )
    return np.array([np.bincount(size_of(means), weight * there, HALF) for weight in weights])


def _spread(rows: FloatArray, squares: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the kurtosis of each window, and the share of it that lies in the middle half of its range. [1]"""
    with np.errstate(invalid="ignore"):  # what does not move at all has none
        kurtosis = (squares * squares).mean(axis=1) / squares.mean(axis=1) ** 2
    low, high = rows.min(axis=1), rows.max(axis=1)
    off_middle = np.abs(rows - ((low + high) / 2)[:, None])
    return kurtosis, (off_middle < ((high - low) / 4)[:, None]).mean(axis=1)


def _between(x: FloatArray, bounds: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((x > bounds[0]) & (x < bounds[1]))
