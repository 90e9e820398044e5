"""How far the clocks of two logs are apart, from the steps that both of them saw.

A load behind an inverter steps in the log behind the inverter and, a little larger, in the log at the bank. The offset
at which most of these steps fall together is sought over all pairs of like steps; a straight line through the pairs
gives offset and drift. The logs themselves are never changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from ..not_known import Refusal
from ..readings.chunk import MICROSECONDS, FloatArray
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


class StepPair(NamedTuple):
    """A step that both logs saw: its index among those at the bank, and among those behind the inverter."""

    at_bank: int
    behind: int


@dataclass(frozen=True)
class ClockOffset:
    """What to add to the times of the log behind the inverter to get those of the log at the bank.

    The offset is that at ``at_us``, the middle of the matched steps by the clock of the log behind the inverter; it
    drifts by so many microseconds in a second; ``u95_s`` and ``u95_ppm`` are half of the 95 % intervals. As many steps
    fell together, and as many the log at the bank should have shown and did not.
    """

    offset_s: float
    u95_s: float
    drift_ppm: float
    u95_ppm: float
    at_us: float
    steps_matched: int
    steps_missed: int
    pairs: tuple[StepPair, ...] = ()

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
    """Find the offset and the drift between the clocks of two logs, from their steps in order of time.

    `bank_spans_us` are the stretches that the log at the bank measured, by its clock. The 95 % interval holds that each
    step lies somewhere between two readings in either log, and what the steps scatter beyond that.

    Raises
    ------
    Refusal
        If too few steps fall together, as many do at another offset, or they do not fix the offset to one sampling
        interval over the time that both logs share.
    """
    search = _Search(at_bank, behind, bank_spans_us)
    matches = sorted(search.candidates(), key=lambda match: (-len(match.pairs), match.missed))
    # Three ways to be wrong, each told by what would help: too little in common, not the same load, and evenly repeated
    # steps that fit at several offsets.
    if not matches or len(matches[0].pairs) < LEAST_MATCHED:
        raise Refusal(
            f"the two logs have too few steps in common to set their clocks beside each other ("
            f"{len(matches[0].pairs) if matches else 0} fall together, {LEAST_MATCHED} are needed): let both run while "
            "the load starts and stops a few times"
        )
    best = matches[0]
    if len(best.pairs) < LEAST_SHARE * (len(best.pairs) + best.missed):
        raise Refusal(
            f"only {len(best.pairs)} of {len(best.pairs) + best.missed} steps behind the inverter are seen at the bank "
            "at the best offset of the clocks: these may not be logs of the same time, or of the same inverter"
        )
    others = [match for match in matches[1:] if search.is_other(match, best)]
    rival = max(others, key=lambda match: match.score, default=None)
    if rival is not None and rival.score > AMBIGUOUS * best.score:
        raise Refusal(
            f"the steps repeat so evenly that the clocks fit as well {abs(rival.offset_s - best.offset_s):.0f} s "
            "further: which steps are the same cannot be told; switch the load on and off at uneven times"
        )
    return search.fitted(best)


@dataclass(frozen=True)
class _Match:
    """Steps that fall together at an offset and drift [1], and how many should have but did not."""

    offset_s: float
    drift: float
    pairs: tuple[StepPair, ...]
    missed: int

    @property
    def score(self) -> float:
        # Half, since a step that is missed may be hidden at the bank by another load's at the same moment.
        return len(self.pairs) - self.missed / 2


class _LineThrough(NamedTuple):
    """A straight line through the pairs: offset in the middle of the steps, drift [1], and their covariance."""

    offset_s: float
    drift: float
    covariance: FloatArray


class _Steps(NamedTuple):
    """The steps of one log as arrays, times from the middle of those behind the inverter."""

    time_s: FloatArray
    size_W: FloatArray
    spacing_s: FloatArray

    @classmethod
    def of(cls, steps: Sequence[LogStep], origin_us: float) -> _Steps:
        rows = [((s.at_us - origin_us) / MICROSECONDS, s.size_W, s.spacing_s) for s in steps]
        return cls(*np.array(rows, dtype=np.float64).reshape(-1, 3).T)


class _Nearest(NamedTuple):
    """The nearest step of the other log so far: how far away, and its index."""

    away_s: float = np.inf
    step: int = 0


class _Search:
    """Looks for the offset and drift at which most like steps fall together."""

    def __init__(
        self, at_bank: Sequence[LogStep], behind: Sequence[LogStep], spans_us: Sequence[tuple[int, int]]
    ) -> None:
        self._origin_us = (behind[0].at_us + behind[-1].at_us) / 2 if behind else 0.0
        self._bank, self._behind = (_Steps.of(steps, self._origin_us) for steps in (at_bank, behind))
        self._spans_s = [
            ((a - self._origin_us) / MICROSECONDS, (b - self._origin_us) / MICROSECONDS) for a, b in spans_us
        ]

    @property
    def _within_s(self) -> float:
        """How far two steps that are the same may lie apart: one spacing of either log."""
        return float(np.median(self._behind.spacing_s) + np.median(self._bank.spacing_s))

    def candidates(self) -> list[_Match]:
        """Return the matches at the offsets at which most like steps fall together."""
        if not len(self._behind.time_s) or not len(self._bank.time_s):
            return []
        # All pairs of like steps vote for the offset at which they would be the same. The largest steps alone, since
        # pairs grow with the square and small steps are like many.
        largest = np.sort(np.argsort(-np.abs(self._behind.size_W))[:MOST_STEPS])
        behind, bank = self._like(largest)
        apart_s, width_s = self._bank.time_s[bank] - self._behind.time_s[behind], self._within_s
        # Votes for one offset are spread by what drifting clocks make of it between the log's ends.
        width_s += 2 * MOST_DRIFT_PPM * 1e-6 * float(np.ptp(self._behind.time_s)) / 2
        order = np.argsort(apart_s)
        behind, bank, apart_s = behind[order], bank[order], apart_s[order]
        matches = []
        for _ in range(MOST_CANDIDATES):
            if not len(apart_s):
                break
            votes = _densest(apart_s, width_s)
            match = self._closer(behind[votes], apart_s[votes])
            matches.append(match)
            # Without the votes that this match explains, the next is another offset and not the same one again.
            gone = np.abs(apart_s - match.offset_s - match.drift * self._behind.time_s[behind]) <= self._within_s
            behind, apart_s = behind[~gone], apart_s[~gone]
        return matches

    def _like(self, some: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return all pairs of steps, one of `some` behind the inverter and one at the bank, that are of like size."""
        low, high = LIKE_STEPS
        with np.errstate(divide="ignore"):
            ratio = self._bank.size_W[None, :] / self._behind.size_W[some, None]
        behind, bank = np.nonzero((ratio >= low) & (ratio <= high))
        return some[behind], bank

    def _closer(self, behind: NDArray[np.intp], apart_s: FloatArray) -> _Match:
        """Return the match at the drift for which most of some pairs fall together."""
        width_s, half_s = self._within_s, float(np.abs(self._behind.time_s).max())
        # Drifts so close that from one to the next the outermost steps move by a quarter of what is allowed; small ones
        # first, so that of equally good ones the likeliest stands.
        count = int(np.ceil(MOST_DRIFT_PPM * 1e-6 * half_s / (width_s / 4)))
        drifts = np.linspace(-1, 1, 2 * count + 1) * MOST_DRIFT_PPM * 1e-6
        most, offset_s, drift = 0, float(np.median(apart_s)), 0.0
        for each in drifts[np.argsort(np.abs(drifts), kind="stable")]:
            left_s = np.sort(apart_s - each * self._behind.time_s[behind])
            votes = _densest(left_s, width_s)
            if votes.stop - votes.start > most:
                most, offset_s, drift = votes.stop - votes.start, float(left_s[votes].mean()), float(each)
        match = self._matched(offset_s, drift)
        # Once more from the line through the pairs: the offset of the votes is known to the width alone.
        if len(match.pairs) > 1:
            line = self._line(match)
            match = self._matched(line.offset_s, line.drift)
        return match

    def _matched(self, offset_s: float, drift: float) -> _Match:
        """Pair each step behind the inverter with the nearest like one at the bank, each at most once."""
        expected_s = self._behind.time_s * (1 + drift) + offset_s
        low, high = LIKE_STEPS
        # By the bank's steps first, each with the nearest behind the inverter; of those that chose the same one, the
        # nearest stays: a step within the width of two is one of them and not both.
        at_bank: dict[int, _Nearest] = {}
        for k, at_s in enumerate(expected_s.tolist()):
            a, b = np.searchsorted(self._bank.time_s, [at_s - self._within_s, at_s + self._within_s])
            for j in range(int(a), int(b)):
                away_s = abs(float(self._bank.time_s[j]) - at_s)
                like = low <= float(self._bank.size_W[j] / self._behind.size_W[k]) <= high
                if like and away_s < at_bank.get(j, _Nearest()).away_s:
                    at_bank[j] = _Nearest(away_s, k)
        behind: dict[int, _Nearest] = {}
        for j, nearest in at_bank.items():
            if nearest.away_s < behind.get(nearest.step, _Nearest()).away_s:
                behind[nearest.step] = _Nearest(nearest.away_s, j)
        pairs = tuple(sorted(StepPair(nearest.step, k) for k, nearest in behind.items()))
        # Only where the log at the bank measured could it have seen a step.
        due = sum(any(a <= at_s <= b for a, b in self._spans_s) for at_s in expected_s.tolist())
        return _Match(offset_s, drift, pairs, max(0, due - len(pairs)))

    def is_other(self, match: _Match, best: _Match) -> bool:
        """Tell whether a match is at another offset, not the same one found again."""
        return abs(match.offset_s - best.offset_s) > 2 * self._within_s

    def _line(self, match: _Match) -> _LineThrough:
        """Return the line through the pairs by weighted least squares."""
        bank, behind = np.array(match.pairs).T
        time_s, apart_s = self._behind.time_s[behind], self._bank.time_s[bank] - self._behind.time_s[behind]
        # In either log a step lies anywhere between two readings: spacing over sqrt(12).
        u_s = np.hypot(self._behind.spacing_s[behind], self._bank.spacing_s[bank]) / np.sqrt(12)
        design = np.column_stack([np.ones(len(time_s)), time_s])
        weighted, right = design / u_s[:, None], apart_s / u_s
        # The usual drift of clocks is one more, weak, observation, so that a few steps close to each other do not give
        # a wild one.
        normal = weighted.T @ weighted + np.diag([0.0, (USUAL_DRIFT_PPM * 1e-6) ** -2])
        covariance = np.linalg.inv(normal)
        offset_s, drift = covariance @ (weighted.T @ right)
        left = right - weighted @ np.array([offset_s, drift])
        # What scatters more than spacings explain widens the interval; what scatters less by chance does not narrow it.
        scatter = max(1.0, float(left @ left) / max(len(left) - 2, 1))
        return _LineThrough(float(offset_s), float(drift), np.asarray(covariance * scatter))

    def fitted(self, match: _Match) -> ClockOffset:
        """Return the result of a match; Refusal where it does not fix the offset to one sampling interval."""
        offset_s, drift, covariance = self._line(match)
        # Told at the instant at which offset and drift do not depend on each other, the two intervals say it all.
        middle_s = float(-covariance[0, 1] / covariance[1, 1])
        at_middle = covariance[0, 0] + 2 * middle_s * covariance[0, 1] + middle_s**2 * covariance[1, 1]
        factor = float(stats.t.ppf(0.975, len(match.pairs) - 2))
        clocks = ClockOffset(
            offset_s=offset_s + drift * middle_s,
            u95_s=factor * float(np.sqrt(at_middle)),
            drift_ppm=drift * 1e6,
            u95_ppm=factor * float(np.sqrt(covariance[1, 1])) * 1e6,
            at_us=self._origin_us + middle_s * MICROSECONDS,
            steps_matched=len(match.pairs),
            steps_missed=match.missed,
            pairs=match.pairs,
        )
        # The offset is known worst at the ends of what was matched; runs are compared up to these.
        first, last = (self._behind.time_s[pick(pair.behind for pair in match.pairs)] for pick in (min, max))
        ends_us = [self._origin_us + float(at_s) * MICROSECONDS for at_s in (first, last)]
        worst_s, interval_s = max(clocks.u95_at_s(us) for us in ends_us), self._within_s / 2
        if worst_s > max(float(np.median(self._behind.spacing_s)), float(np.median(self._bank.spacing_s))):
            raise Refusal(
                f"the steps that both logs show fix their clocks only to ± {worst_s:.2g} s, which is more than one "
                f"sampling interval (about {interval_s:.2g} s): more starts and stops in both logs, or faster "
                "readings, would fix them"
            )
        return clocks


def _densest(sorted_s: FloatArray, width_s: float) -> slice:
    """Return which of some numbers in order are the most that lie within a width."""
    counts = np.searchsorted(sorted_s, sorted_s + width_s, side="right") - np.arange(len(sorted_s))
    first = int(np.argmax(counts))
    return slice(first, first + int(counts[first]))
