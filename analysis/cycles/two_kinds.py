"""Two loads of like draw, told apart by their runs: where the draw begins and ends, how it falls, start and length.

A pump on a pressure switch begins each run at the pressure of cut-in and ends it at that of cut-out, so its draw begins
and ends alike however long the run is; a heater's or an appliance's stays. What splits runs into two kinds must show in
those draws by a clear gap, in lengths or starts as well, and by turns: one load that ages, or is used in another way
from some day on, stays one.

The third question, asked of the runs of the load that was chosen (`choose_load`) once their figures are known
(`run_figures`): are they all its own? What draws like it cannot be told from it by steps, so only runs can answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..readings.chunk import BoolArray, FloatArray
from ..signal_levels.levels import EDGE_S, LEVEL_READINGS
from .choose_load import LoadSteps
from .cycle import RunKind, TwoKinds
from .on_off_path import TOLERANCE, Heights
from .run_figures import SeenRun, is_apart

#: Fewer runs, or fewer of a kind, tell nothing. [1], [1], [1]
LEAST_RUNS, LEAST_OF_KIND, LEAST_SHARE = 16, 3, 0.02
#: So few of a kind are told by their range. [1]
FEW: Final = 8
#: A run must be so many times as long as its first seconds, and its last, whose medians its draws are. [1]
LONG_ENOUGH: Final = 1.4
#: These are no more than so many seconds: the base wanders meanwhile. [s]
LONGEST_EDGE_S: Final = 30.0
#: Draws of two kinds differ by this share at least, and by so many times their own spreads: common practice, no source;
#: two halves of one bell differ by 1.4 of theirs, of an even spread by 2.8.
LEAST_APART, TIMES_SPREAD = 0.02, 3.0
#: A spread is never taken for smaller: the noise of a good meter, and of any one this share of the smallest change that
#: stands out (some six times the noise, or some steps of a coarse meter). [1]
LEAST_SPREAD, OF_LEAST = 0.001, 1 / 8
#: Two kinds differ in length too: a run of the one is the longer with this chance; or in what share shows a start.
LONGER, STARTS_APART = 0.85, 0.5
#: Or their draws at the start are so many times as far apart as they must be: lengths are mixed where both ran at once.
BY_FAR: Final = 1.5
#: A start shows where its top is so many times the settled draw.
SHOWS_START: Final = 1.2
#: Once two kinds are known, a step may differ by so much at least from what is expected of one. [1]
LEAST_TOLERANCE: Final = 0.03
#: And a run so many times longer or shorter at most than those that are known. [1]
LENGTHS: Final = 1.5
#: They come by turns at least this share of what chance would make them.
BY_TURNS: Final = 0.3
#: A motor's draw falls by so much under a rising pressure, or so large a share of its starts shows; that of other loads
#: stays to within so much, and hardly one shows a start. [1]
FALLS, MOTOR_STARTS, STAYS, NO_STARTS = 0.015, 0.1, 0.01, 0.05
#: So many runs of each kind there must be where nothing tells a motor's.
LEAST_UNTOLD: Final = 8


@dataclass(frozen=True)
class _Looks:
    """How runs look: draw as they begin and end [log of the signal's unit], length [s], and whether a start shows.

    ``unsure`` is the least spread that their draws can have, by the smallest change that stands out of the noise. [1]
    """

    begin: FloatArray
    end: FloatArray
    run_s: FloatArray
    starts: BoolArray
    unsure: float

    @property
    def falls(self) -> FloatArray:
        """The share by which the draw falls. [1]."""
        return self.begin - self.end


def tell_apart(runs: Sequence[SeenRun]) -> tuple[list[SeenRun], TwoKinds | None]:
    """Return the runs of the load, and what kinds there are if there are two.

    Where it cannot be told which kind is the load's, all runs are returned.
    """
    looks = _looks(runs)
    known = np.isfinite(looks.begin) & np.isfinite(looks.end)
    if known.sum() < LEAST_RUNS:
        return list(runs), None
    seen = _Looks(looks.begin[known], looks.end[known], looks.run_s[known], looks.starts[known], looks.unsure)
    upper = _split(seen)
    if upper is None:
        return list(runs), None
    own = _own(seen, upper)
    kinds = _kind(seen, ~upper), _kind(seen, upper)
    if own is None:
        return list(runs), TwoKinds(kinds, None)
    is_own = _upper_too(looks, known, upper) == bool(own)
    return [run for run, its in zip(runs, is_own.tolist(), strict=True) if its], TwoKinds(kinds, own)


def of_kind(two: TwoKinds, changes: FloatArray, heights: Heights) -> LoadSteps:
    """Return the load that is one of two kinds, with its runs during which the other ran as well.

    `changes` and `heights` as of `choose_load.loads_of`. [unit of the kinds' draw]
    """
    assert two.own is not None
    up, down = _ends(two.kinds[two.own])
    others = _ends(two.kinds[1 - two.own])
    # Its steps are held more strictly to its own, so that most of the other's are none of its.
    apart = max(abs(math.log(up / others[0])), abs(math.log(down / others[1])))
    return LoadSteps(up, down, min(TOLERANCE, max(apart / 2, LEAST_TOLERANCE))).again(changes, heights)


def with_overlapped(own: Sequence[SeenRun], again: Sequence[SeenRun], two: TwoKinds) -> list[SeenRun]:
    """Return a load's runs with those of `of_kind` that begin as its own do, are as long, and none of its own."""
    assert two.own is not None
    starts = [math.log(_ends(kind)[0]) for kind in (two.kinds[two.own], two.kinds[1 - two.own])]
    lengths = [run.length_s for run in own if run.stop is not None]
    taken = list(own)
    for run in again:
        begin, _ = _begin_and_end(run)
        fits = math.isfinite(begin) and abs(math.log(begin) - starts[0]) < abs(math.log(begin) - starts[1]) / 2
        as_long = min(lengths) / LENGTHS < run.length_s < max(lengths) * LENGTHS
        taken += [run] if fits and as_long and is_apart(run, own) else []
    return sorted(taken, key=lambda run: run.start_us)


def _ends(kind: RunKind) -> tuple[float, float]:
    """Return what a kind draws as it begins and as it ends. [unit of its draw]."""
    fall = math.sqrt(1 - kind.falls)
    return kind.draw / fall, kind.draw * fall


def _looks(runs: Sequence[SeenRun]) -> _Looks:
    ends = [_begin_and_end(run) for run in runs]
    begin, end = (np.log(np.array([pair[k] for pair in ends])) for k in (0, 1))
    lengths = np.array([run.length_s if run.stop is not None else math.nan for run in runs])
    draws = [run.settled(run.levels.signal) for run in runs]
    starts = np.array([_top(run) > SHOWS_START * draw for run, draw in zip(runs, draws, strict=True)], dtype=bool)
    # By which share of a run's draw two runs differ at least before it stands out. Where something came on meanwhile
    # that gives as much as the run draws, nothing of it is left to see.
    least = [run.levels.least[run.start] for run in runs]
    coarse = [OF_LEAST * x / draw if draw else math.inf for x, draw in zip(least, draws, strict=True)]
    return _Looks(begin, end, lengths, starts, max(float(np.median(coarse)), LEAST_SPREAD) if runs else LEAST_SPREAD)


def _top(run: SeenRun) -> float:
    """Return how far the highest reading of a start is above what it stands on. [unit of the signal]"""
    return run.levels.peak[run.levels.signal][run.start] - run.before(run.levels.signal)


def _begin_and_end(run: SeenRun) -> tuple[float, float]:
    """Return the draw at a run's very start and stop, in watts where there are any; NaN where it cannot be told."""
    unknown = math.nan, math.nan
    if run.stop is None or run.shared:
        return unknown
    levels = run.levels
    name = "power_W" if "power_W" in run.levels.names else run.levels.signal
    begin = levels.first[name][run.start] - run.before(name) - run.coincidence.at_start.get(name, 0.0)
    end = levels.last[name][run.last] - levels.first[name][run.stop] + run.coincidence.at_stop.get(name, 0.0)
    edge_s = max(EDGE_S, LEVEL_READINGS * levels.spacing_s[run.start])
    if run.length_s < LONG_ENOUGH * edge_s or edge_s > LONGEST_EDGE_S:
        return unknown
    # What is known are medians of its first and last seconds; the line through both is drawn on to the ends.
    beyond = (begin - end) * edge_s / 2 / (run.length_s - edge_s)
    begin, end = begin + beyond, end - beyond
    return (begin, end) if begin > 0 and end > 0 else unknown


def _split(seen: _Looks) -> BoolArray | None:
    """Return which runs are of the one kind and which of the other; None where there is but one."""
    # By the draw at the start first: the base has not moved yet, and a pressure switch cuts in where it did before.
    for draws in (seen.begin, seen.falls, seen.end):
        upper = _by_gap(draws, seen.unsure)
        if upper is not None and _differ(seen, upper) and _by_turns(upper) and not _by_use(seen, upper):
            return upper
    return None


def _by_gap(x: FloatArray, unsure: float) -> BoolArray | None:
    """Return which values lie above the gap that best parts them in two; None where no gap is wide enough. [log]."""
    order = np.sort(x)
    # Gaps that could be wide enough, with enough of a kind on either side; all others need not be tried.
    gaps = np.flatnonzero(np.diff(order) > LEAST_APART / 4) + 1
    least = max(LEAST_OF_KIND, round(LEAST_SHARE * len(x)))
    gaps = gaps[(gaps >= least) & (gaps <= len(x) - least)]
    apart = [(_apart(order[:at], order[at:], unsure), at) for at in gaps.tolist()]
    best, at = max(apart, default=(0.0, 0))
    return x >= order[at] if best > 1 else None


def _apart(lower: FloatArray, upper: FloatArray, unsure: float) -> float:
    """Return how far two groups, in order, are apart, over what they must be; nought if not of like draw. [1]."""
    distance = float(np.median(upper) - np.median(lower))
    needed = max(LEAST_APART, TIMES_SPREAD * (_spread(lower, unsure) + _spread(upper, unsure)))
    return 0.0 if distance > TOLERANCE else distance / needed


def _spread(x: FloatArray, unsure: float) -> float:
    """Return a robust standard deviation; of a few values half their range but for one, since medians are chance."""
    inner = len(x) - (len(x) > LEAST_OF_KIND + 1)
    half = float(np.min(x[inner - 1 :] - x[: len(x) - inner + 1])) / 2 if len(x) <= FEW else 0.0
    # 1.4826 times the median distance is the standard deviation of a bell.
    return max(1.4826 * float(np.median(np.abs(x - np.median(x)))), half, unsure)


def _differ(seen: _Looks, upper: BoolArray) -> bool:
    """Tell whether the kinds differ in more than their draw: a load draws more while another works the inverter."""
    # The chance that a run of the one is longer than one of the other, ties by half: no shape of lengths is supposed.
    a, b = np.sort(seen.run_s[upper]), seen.run_s[~upper]
    longer = sum(float(np.mean(np.searchsorted(a, b, side))) for side in ("left", "right")) / 2 / len(a)
    starts = float(abs(seen.starts[upper].mean() - seen.starts[~upper].mean()))
    by_far = _apart(np.sort(seen.begin[~upper]), np.sort(seen.begin[upper]), seen.unsure) >= BY_FAR
    in_length = max(longer, 1 - longer) >= LONGER
    # Where neither or both look like a motor's, many must differ in length and by far in draw, and all must stay level:
    # two that start or fall alike are one, as a compressor's runs differ after a thaw.
    if _own(seen, upper) is None:
        many = min(upper.sum(), (~upper).sum()) >= LEAST_UNTOLD
        return bool(many and in_length and by_far and _stays(seen, upper) and _stays(seen, ~upper))
    return in_length or by_far or starts >= STARTS_APART


def _by_turns(upper: BoolArray) -> bool:
    """Tell whether the kinds come by turns; one load that has changed gives one after the other."""
    # By chance a share 2 p (1 - p) of all runs would follow one of the other kind.
    share = float(upper.mean())
    return float(np.mean(upper[1:] != upper[:-1])) >= BY_TURNS * 2 * share * (1 - share)


def _by_use(seen: _Looks, upper: BoolArray) -> bool:
    """Tell whether the use of one load makes the difference: all begin alike, and longer runs fall less or end lower.

    So does a pump that waters for hours at one pressure, and is then switched off by hand.
    """
    a, b = seen.begin[upper], seen.begin[~upper]
    begins_alike = abs(float(np.median(a) - np.median(b))) < LEAST_APART / 2
    falls_more = np.median(seen.falls[upper]) > np.median(seen.falls[~upper])
    longer = np.median(seen.run_s[upper]) > np.median(seen.run_s[~upper])
    return bool(begins_alike and falls_more != longer)


def _own(seen: _Looks, upper: BoolArray) -> int | None:
    """Return which kind is a motor's, and the other's draw stays and shows no start: 0 or 1; None where none is so."""
    falls = [float(np.median(seen.falls[kind])) for kind in (~upper, upper)]
    starts = [float(seen.starts[kind].mean()) for kind in (~upper, upper)]
    is_motors = [starts[k] >= MOTOR_STARTS or falls[k] >= FALLS for k in (0, 1)]
    stays = [_stays(seen, kind) for kind in (~upper, upper)]
    return next((k for k in (0, 1) if is_motors[k] and stays[1 - k]), None)


def _stays(seen: _Looks, which: BoolArray) -> bool:
    """Tell whether the draw of these runs stays and their starts do not show, as a heater's."""
    return bool(seen.starts[which].mean() <= NO_STARTS and abs(np.median(seen.falls[which])) <= STAYS)


def _kind(seen: _Looks, which: BoolArray) -> RunKind:
    draw = math.exp(float(np.median((seen.begin[which] + seen.end[which]) / 2)))
    fall = 1 - math.exp(-float(np.median(seen.falls[which])))
    return RunKind(int(which.sum()), float(np.median(seen.run_s[which])), draw, fall)


def _upper_too(looks: _Looks, known: BoolArray, upper: BoolArray) -> BoolArray:
    """Return which of all runs are of the upper kind; those of which the draw is not known go by their length."""
    long_s, short_s = (np.log(np.median(looks.run_s[known][kind])) for kind in (upper, ~upper))
    length = np.log(np.maximum(np.nan_to_num(looks.run_s, nan=np.inf), 1e-9))
    which: BoolArray = np.abs(length - long_s) < np.abs(length - short_s)
    which[known] = upper
    return which
