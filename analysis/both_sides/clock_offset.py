"""How far the clocks of two logs are apart, from the steps that both of them saw.

A load behind an inverter steps in the log behind the inverter and, a little larger, in the log at the bank. The offset
at which most of these steps fall together is sought over all pairs of like steps; a straight line through the pairs
gives offset and drift. The logs themselves are never changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.readings.chunk import MICROSECONDS, FloatArray

from .log_steps import LogStep

#: A step at the bank over the same step behind the inverter: at least nearly 1, and 2 where the inverter loses half.
LIKE_STEPS: Final = (0.9, 2.2)
#: How far apart two clocks may run, and how far they usually do (one standard deviation): quartz keeps to some tens of
#: ppm, from memory. [ppm]
MOST_DRIFT_PPM, USUAL_DRIFT_PPM = 300.0, 100.0
#: So many steps must fall together: the starts and stops of two runs.
LEAST_MATCHED: Final = 4
#: Of the steps behind the inverter that the log at the bank could have seen, this share must be there.
LEAST_SHARE: Final = 0.6
#: Another offset at which this share of the steps falls together as well leaves the question open.
AMBIGUOUS: Final = 0.7
#: The first search is over this many of the largest steps behind the inverter, and looks at this many offsets closer.
MOST_STEPS, MOST_CANDIDATES = 200, 6


@dataclass(frozen=True)
class ClockOffset:
    """What to add to the times of the log behind the inverter to get those of the log at the bank.

    Parameters
    ----------
    offset_s, u95_s : float
        Offset at `at_us`, and half of its 95 % interval. [s]
    drift_ppm, u95_ppm : float
        How it changes: microseconds in a second, and half of the 95 % interval. [ppm]
    at_us : float
        The middle of the matched steps, by the clock of the log behind the inverter. [us]
    steps_matched, steps_missed : int
        How many steps fell together, and how many the log at the bank should have shown and did not.
    pairs : tuple of (int, int)
        Indices of the steps that fell together: at the bank, behind the inverter.
    """

    offset_s: float
    u95_s: float
    drift_ppm: float
    u95_ppm: float
    at_us: float
    steps_matched: int
    steps_missed: int
    pairs: tuple[tuple[int, int], ...] = ()

    def at_bank_us(self, time_us: float) -> float:
        """Return an instant of the log behind the inverter by the clock of the log at the bank. [us]."""
        return time_us + self.offset_s * MICROSECONDS + self.drift_ppm * 1e-6 * (time_us - self.at_us)

    def u95_at_s(self, time_us: float) -> float:
        """Return half of the offset's 95 % interval at an instant of the log behind the inverter. [s]."""
        away_s = (time_us - self.at_us) / MICROSECONDS
        return float(np.hypot(self.u95_s, self.u95_ppm * 1e-6 * away_s))

    @property
    def sentence(self) -> str:
        """The result in plain words."""
        return (
            f"The clock of the log behind the inverter is {abs(self.offset_s):.2f} s ± {self.u95_s:.2f} s "
            f"{'behind' if self.offset_s > 0 else 'ahead of'} that at the bank, found from {self.steps_matched} steps "
            f"that both show; the offset grows by {self.drift_ppm:.0f} ± {self.u95_ppm:.0f} µs in a second. This is "
            "used for the comparison only; the logs stay as they are."
        )


def clock_offset(
    at_bank: Sequence[LogStep], behind: Sequence[LogStep], *, bank_spans_us: Sequence[tuple[int, int]]
) -> ClockOffset:
    """Find the offset and the drift between the clocks of two logs.

    Parameters
    ----------
    at_bank, behind : sequence of LogStep
        The steps of the log at the bank and of the one behind the inverter, in order of time.
    bank_spans_us : sequence of (int, int)
        The stretches that the log at the bank measured, by its clock. [us]

    Returns
    -------
    ClockOffset
        With its 95 % interval: each step lies somewhere between two readings in either log, and what the steps scatter
        beyond that counts too.

    Raises
    ------
    Refusal
        If too few steps fall together, as many do at another offset, or they do not fix the offset to one sampling
        interval over the time that both logs share.
    """
    search = _Search(at_bank, behind, bank_spans_us)
    found = sorted(search.candidates(), key=lambda match: (-len(match.pairs), match.missed))
    if not found or len(found[0].pairs) < LEAST_MATCHED:
        raise Refusal(
            f"the two logs have too few steps in common to set their clocks beside each other ("
            f"{len(found[0].pairs) if found else 0} fall together, {LEAST_MATCHED} are needed): let both run while the "
            "load starts and stops a few times"
        )
    best = found[0]
    if len(best.pairs) < LEAST_SHARE * (len(best.pairs) + best.missed):
        raise Refusal(
            f"only {len(best.pairs)} of {len(best.pairs) + best.missed} steps behind the inverter are seen at the bank "
            "at the best offset of the clocks: these may not be logs of the same time, or of the same inverter"
        )
    others = [match for match in found[1:] if search.is_other(match, best)]
    rival = max(others, key=lambda match: match.score, default=None)
    if rival is not None and rival.score > AMBIGUOUS * best.score:
        raise Refusal(
            f"the steps repeat so evenly that the clocks fit as well {abs(rival.offset_s - best.offset_s):.0f} s "
            "further: which steps are the same cannot be told; switch the load on and off at uneven times"
        )
    return search.fitted(best)


@dataclass(frozen=True)
class _Match:
    """Steps that fall together at an offset and drift: pairs of indices, and how many should have but did not."""

    offset_s: float
    drift: float
    pairs: tuple[tuple[int, int], ...]
    missed: int

    @property
    def score(self) -> float:
        return len(self.pairs) - self.missed / 2


class _Search:
    """The steps of both logs as arrays, times in seconds from the middle of those behind the inverter."""

    def __init__(
        self, at_bank: Sequence[LogStep], behind: Sequence[LogStep], spans_us: Sequence[tuple[int, int]]
    ) -> None:
        self._origin_us = (behind[0].at_us + behind[-1].at_us) / 2 if behind else 0.0
        self._bank_s, self._bank_W, self._bank_spacing_s = self._arrays(at_bank)
        self._time_s, self._size_W, self._spacing_s = self._arrays(behind)
        self._spans_s = [
            ((a - self._origin_us) / MICROSECONDS, (b - self._origin_us) / MICROSECONDS) for a, b in spans_us
        ]

    def _arrays(self, steps: Sequence[LogStep]) -> tuple[FloatArray, FloatArray, FloatArray]:
        rows = [((s.at_us - self._origin_us) / MICROSECONDS, s.size_W, s.spacing_s) for s in steps]
        time_s, size_W, spacing_s = np.array(rows, dtype=np.float64).reshape(-1, 3).T
        return time_s, size_W, spacing_s

    @property
    def _within_s(self) -> float:
        """How far two steps that are the same may lie apart: one spacing of either log."""
        return float(np.median(self._spacing_s) + np.median(self._bank_spacing_s))

    def candidates(self) -> list[_Match]:
        """Return the matches at the offsets at which most like steps fall together."""
        if not len(self._time_s) or not len(self._bank_s):
            return []
        largest = np.sort(np.argsort(-np.abs(self._size_W))[:MOST_STEPS])
        behind, bank = self._like(largest)
        apart_s, width_s = self._bank_s[bank] - self._time_s[behind], self._within_s
        width_s += 2 * MOST_DRIFT_PPM * 1e-6 * float(np.ptp(self._time_s)) / 2
        order = np.argsort(apart_s)
        behind, bank, apart_s = behind[order], bank[order], apart_s[order]
        found = []
        for _ in range(MOST_CANDIDATES):
            if not len(apart_s):
                break
            counts = np.searchsorted(apart_s, apart_s + width_s, side="right") - np.arange(len(apart_s))
            first = int(np.argmax(counts))
            inside = slice(first, first + int(counts[first]))
            match = self._closer(behind[inside], apart_s[inside])
            found.append(match)
            gone = np.abs(apart_s - match.offset_s - match.drift * self._time_s[behind]) <= self._within_s
            behind, apart_s = behind[~gone], apart_s[~gone]
        return found

    def _like(self, some: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return all pairs of steps, one of `some` behind the inverter and one at the bank, that are of like size."""
        low, high = LIKE_STEPS
        with np.errstate(divide="ignore"):
            ratio = self._bank_W[None, :] / self._size_W[some, None]
        behind, bank = np.nonzero((ratio >= low) & (ratio <= high))
        return some[behind], bank

    def _closer(self, behind: NDArray[np.intp], apart_s: FloatArray) -> _Match:
        """Return the match at the drift for which most of some pairs fall together."""
        width_s, half_s = self._within_s, float(np.abs(self._time_s).max())
        count = int(np.ceil(MOST_DRIFT_PPM * 1e-6 * half_s / (width_s / 4)))
        drifts = np.linspace(-1, 1, 2 * count + 1) * MOST_DRIFT_PPM * 1e-6
        best, offset_s, drift = 0, float(np.median(apart_s)), 0.0
        for each in drifts[np.argsort(np.abs(drifts), kind="stable")]:
            left_s = np.sort(apart_s - each * self._time_s[behind])
            counts = np.searchsorted(left_s, left_s + width_s, side="right") - np.arange(len(left_s))
            first = int(np.argmax(counts))
            if counts[first] > best:
                best = int(counts[first])
                offset_s, drift = float(left_s[first : first + best].mean()), float(each)
        match = self._matched(offset_s, drift)
        return self._matched(*self._line(match)[:2]) if len(match.pairs) > 1 else match

    def _matched(self, offset_s: float, drift: float) -> _Match:
        """Pair each step behind the inverter with the nearest like one at the bank, each at most once."""
        expected_s = self._time_s * (1 + drift) + offset_s
        pairs: dict[int, tuple[float, int]] = {}
        low, high = LIKE_STEPS
        for k, at_s in enumerate(expected_s.tolist()):
            a, b = np.searchsorted(self._bank_s, [at_s - self._within_s, at_s + self._within_s])
            for j in range(int(a), int(b)):
                away_s = abs(float(self._bank_s[j]) - at_s)
                like = low <= float(self._bank_W[j] / self._size_W[k]) <= high
                if like and away_s < pairs.get(j, (np.inf, 0))[0]:
                    pairs[j] = (away_s, k)
        nearest: dict[int, tuple[float, int]] = {}
        for j, (away_s, k) in pairs.items():
            if away_s < nearest.get(k, (np.inf, 0))[0]:
                nearest[k] = (away_s, j)
        seen = sum(any(a <= at_s <= b for a, b in self._spans_s) for at_s in expected_s.tolist())
        matched = tuple(sorted((j, k) for k, (_, j) in nearest.items()))
        return _Match(offset_s, drift, matched, max(0, seen - len(matched)))

    def is_other(self, match: _Match, best: _Match) -> bool:
        """Tell whether a match is at another offset, not the same one found again."""
        return abs(match.offset_s - best.offset_s) > 2 * self._within_s

    def _line(self, match: _Match) -> tuple[float, float, FloatArray]:
        """Return offset and drift of the line through the pairs, and their covariance.

        Weighted least squares; the usual drift of clocks is one more, weak, observation, so that a few steps close to
        each other do not give a wild drift.
        """
        bank, behind = np.array(match.pairs).T
        time_s, apart_s = self._time_s[behind], self._bank_s[bank] - self._time_s[behind]
        u_s = np.hypot(self._spacing_s[behind], self._bank_spacing_s[bank]) / np.sqrt(12)
        design = np.column_stack([np.ones(len(time_s)), time_s])
        weighted, right = design / u_s[:, None], apart_s / u_s
        normal = weighted.T @ weighted + np.diag([0.0, (USUAL_DRIFT_PPM * 1e-6) ** -2])
        covariance = np.linalg.inv(normal)
        offset_s, drift = covariance @ (weighted.T @ right)
        left = right - weighted @ np.array([offset_s, drift])
        scatter = max(1.0, float(left @ left) / max(len(left) - 2, 1))
        return float(offset_s), float(drift), np.asarray(covariance * scatter)

    def fitted(self, match: _Match) -> ClockOffset:
        """Return the result of a match; Refusal where it does not fix the offset to one sampling interval."""
        offset_s, drift, covariance = self._line(match)
        behind = np.array(match.pairs)[:, 1]
        middle_s = float(-covariance[0, 1] / covariance[1, 1])  # where offset and drift do not depend on each other
        at_middle = covariance[0, 0] + 2 * middle_s * covariance[0, 1] + middle_s**2 * covariance[1, 1]
        factor = float(stats.t.ppf(0.975, len(behind) - 2))
        found = ClockOffset(
            offset_s=offset_s + drift * middle_s,
            u95_s=factor * float(np.sqrt(at_middle)),
            drift_ppm=drift * 1e6,
            u95_ppm=factor * float(np.sqrt(covariance[1, 1])) * 1e6,
            at_us=self._origin_us + middle_s * MICROSECONDS,
            steps_matched=len(match.pairs),
            steps_missed=match.missed,
            pairs=match.pairs,
        )
        ends_us = [self._origin_us + float(self._time_s[k]) * MICROSECONDS for k in (behind.min(), behind.max())]
        worst_s, interval_s = max(found.u95_at_s(us) for us in ends_us), self._within_s / 2
        if worst_s > max(float(np.median(self._spacing_s)), float(np.median(self._bank_spacing_s))):
            raise Refusal(
                f"the steps that both logs show fix their clocks only to ± {worst_s:.2g} s, which is more than one "
                f"sampling interval (about {interval_s:.2g} s): more starts and stops in both logs, or faster "
                "readings, would fix them"
            )
        return found
