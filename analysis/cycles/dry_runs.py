"""Runs of a pump that draws less from its start on: one without water, which starts as ever and settles lower.

The last question, asked of the steps that the load (`choose_load`) has left over: which of them are its own with less
draw? Here is weighed as well what `never_back` has found to be on to the log's end, and where within one of its runs
the load's own draw fell.

Such runs look like another load's. They are the pump's if they stand where its own would: none of its own begins while
they go on, though some would have; they start as it does; and there are hardly any like them at other times, none while
it is on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray
from ..signal_levels.level_record import LevelList
from .choose_load import ALIKE, LoadSteps, without
from .cycle import PerhapsDry
from .cycle_figures import SURGE_SPACING_S
from .never_back import DRY, Held, held_up
from .on_off_path import Heights, RunLevels
from .run_figures import SeenRun

#: A dry pump's steps scatter by less than this share. [1]
DRY_TOLERANCE: Final = 0.15
#: Most of its runs settle within this share of their middle. [1], [1]
SETTLES_ALIKE: Final = 0.15
MOST: Final = 0.8
#: A run fell if it goes on for so long at least: light falls and comes back within minutes; one without an end, if it
#: goes on for so many times the longest as well. [1], [s]
TIMES_LONGEST: Final = 3.0
LONG_S: Final = 900.0
#: And if it never rises again by this share of the fall. [1]
RISES: Final = 0.8
#: Where more of a load's runs fall, that is how it runs: a compressor. [1]
MOST_FALL: Final = 0.5
#: So many draws at most are looked at.
MOST_DRAWS: Final = 8
#: With fewer runs of its own a load has shown neither how often it starts nor how.
LEAST_OWN: Final = 4
#: Evidence is in natural logarithms of how much likelier it is with a dry pump than with another load; so much is
#: asked for, since dry pumps are rare. Starts missed tell no more than so much. [1]
ENOUGH: Final = 5.0
#: From here on it may be a dry pump's, and nobody can say that there was none. [1]
PERHAPS: Final = 0.5
MOST_MISSED: Final = 8.0
#: A start shows by a top so much above what follows, over the load's draw; another load's does that often. [1], [1]
SHOWS: Final = 0.1
SHOWS_BY_CHANCE: Final = 0.05
#: Starts tell no more than so much: those of any motor show. [1]
MOST_BY_STARTS: Final = 4.0
#: A pump without water does not cut out: if its runs take so many times the load's, it would have run between them too.
#: [1]
LONG_RUNS: Final = 3.0
#: A motor without water comes up to speed sooner: its starts show less often, by this share of how often the load's do.
#: [1]
SHOWS_DRY: Final = 0.7
#: Another load has runs as long, to within so many times, before and after a row: of the row's no more than this share.
#: [1], [1]
LIKE_LENGTH: Final = 3.0
MOST_OTHERS: Final = 0.2
#: Runs in a row tell so much each, up to so many; a draw that fell to as much within the run before them, so much. [1]
IN_A_ROW: Final = 1.5
MOST_IN_A_ROW: Final = 3
#: More starts than so many, with shorter pauses than this as a rule, are a drum's or a hob's: whoever tries a pump
#: waits or gives up, and what protects it waits for minutes: common practice, no source. [1], [s]
MOST_TRIES: Final = 6
PAUSE_S: Final = 120.0
#: Three and more that all go on for long, none like them at other times, tell so much more. [1]
LONG_IN_A_ROW: Final = 1.5
FELL_BEFORE: Final = 4.0
#: Few loads of that size stay on unbroken to the log's end: each hour tells so much, up to so many hours. [1], [h]
BY_HOUR: Final = 1.0
MOST_HOURS: Final = 3.0
#: A start that the load seems to have had meanwhile tells so much against it. [1]
AGAIN: Final = 2.0
#: A top is like the load's own between these shares of theirs, if the readings show them; else it is no higher: the
#: same motor stands still before both. [1]
LIKE_TOP: Final = (0.6, 1.5)


@dataclass(frozen=True)
class _Own:
    """What a load's own runs have shown: when they are, and how they begin.

    ``spans_us`` are those at its full draw, ``log_s`` is the log's length. ``tops`` are how far its starts rise above
    what follows, over each one's step; ``usual`` is that step. [unit]
    """

    load: LoadSteps
    spans_us: list[tuple[float, float]]
    log_s: float
    tops: FloatArray
    usual: float

    @property
    def usual_s(self) -> float:
        """How long its runs usually are. [s]."""
        return float(np.median([b - a for a, b in self.spans_us])) / MICROSECONDS

    @property
    def shows(self) -> float:
        """The share of its starts that show, never quite none nor all. [1]."""
        return float(np.clip(np.mean(self.tops > SHOWS), SHOWS_BY_CHANCE, 0.9))


def held_run(load: LoadSteps, levels: LevelList) -> tuple[Held | None, PerhapsDry | None]:
    """Return the run in which a load is on to the log's end with less draw, if enough speaks for it; or what may be."""
    if len(load.runs) < LEAST_OWN or (held := held_up(levels, load.runs)) is None:
        return None, None
    # Starts that were due and did not come speak for it, as does that nothing else of that size stays on for hours; and
    # either its own draw was seen to fall, or it has begun as the load does.
    hours = held.lasted_s / SECONDS_PER_HOUR
    evidence = min(held.due, MOST_MISSED) - AGAIN * held.again + BY_HOUR * min(hours, MOST_HOURS)
    evidence += FELL_BEFORE if held.run.fall is not None else _of_start(held.run, _own(load, levels), levels)
    doubt = PerhapsDry(1, held.share, held.lasted_s) if evidence >= PERHAPS else None
    return (held, None) if evidence >= ENOUGH else (None, doubt)


def dry_runs(
    load: LoadSteps, levels: LevelList, changes: FloatArray, heights: Heights
) -> tuple[list[RunLevels], PerhapsDry | None]:
    """Return the runs in which a load draws less from its start on, in order; if there are none, what may be such.

    `changes` and `heights` as of `choose_load.loads_of`.
    """
    if len(load.runs) < LEAST_OWN:
        return [], None
    left = without(changes, load)
    draws = list(_draws(left, load.up))
    if not draws:
        return [], None
    own = _own(load, levels)
    best, perhaps = _Weighed(0.0, []), None
    # A pump without water has one draw, whatever it is: the one for which most speaks.
    for draw in draws:
        as_dry = LoadSteps(draw, draw * load.down / load.up, DRY_TOLERANCE).again(left, heights)
        weighed = _weighed(own, as_dry, levels)
        best = weighed if weighed.evidence > best.evidence else best
        perhaps = perhaps or weighed.doubt
    return best.runs, None if best.runs else perhaps


def _own(load: LoadSteps, levels: LevelList) -> _Own:
    log_s = (levels.last_us[-1] - levels.first_us[0]) / MICROSECONDS
    steps = levels.changes(levels.signal)[[run.start for run in load.runs]]
    tops = np.array([_top(run, levels) for run in load.runs]) / steps
    # Some that draw less may be among its own runs already; where an array gives, it may have given part of any.
    full = (steps > DRY[1] * np.median(steps)) | levels.gives
    spans_us = [_span_us(run, levels) for run, is_full in zip(load.runs, full, strict=True) if is_full]
    return _Own(load, spans_us, log_s, tops, float(np.median(steps)))


def _draws(left: FloatArray, draw: float) -> Iterator[float]:
    """Yield the usual sizes of steps up that a dry pump's could be, the most frequent first. [unit]."""
    up = np.sort(left[(left >= DRY[0] * draw) & (left <= DRY[1] * draw)])
    alike = np.searchsorted(up, up * (1 + ALIKE), side="right") - np.searchsorted(up, up * (1 - ALIKE))
    taken = list[float]()
    for k in np.argsort(-alike, kind="stable").tolist():
        if len(taken) < MOST_DRAWS and all(abs(math.log(up[k] / other)) > ALIKE for other in taken):
            taken.append(float(up[k]))
            yield float(np.median(up[np.abs(up / up[k] - 1) <= ALIKE]))


def _span_us(run: RunLevels, levels: LevelList) -> tuple[float, float]:
    """Return when a run began and ended, or was last seen. [us]."""
    if run.stop is not None:
        return levels.start_us[run.start], levels.start_us[run.stop]
    return levels.start_us[run.start], levels.last_us[levels.next_gap(run.start + 1) - 1]


def _top(run: RunLevels, levels: LevelList) -> float:
    """Return how far a start rose above what it settled to. [unit of the signal]."""
    return levels.peak[levels.signal][run.start] - levels.usual[levels.signal][run.start]


class _Weighed(NamedTuple):
    """How much speaks for runs being a load's own [1], those for which enough does, and those in doubt."""

    evidence: float
    runs: list[RunLevels]
    doubt: PerhapsDry | None = None


def _weighed(own: _Own, dry: LoadSteps, levels: LevelList) -> _Weighed:
    """Return which runs of a drier draw are a load's own."""
    # What is on while the load is on is another load; of the rest, what comes between two of its runs is judged as one.
    on_us = [_span_us(run, levels) for run in own.load.runs]
    beside = {run for run in dry.runs if _meets(_span_us(run, levels), on_us)}
    alone = [run for run in dry.runs if run not in beside]
    taken, total, doubt = list[RunLevels](), 0.0, None
    for row in _rows(alone, own, levels):
        # Another load has runs like these at any time, with the load and without; and what pulses is no pump.
        others = _like(row, [run for run in dry.runs if run not in row and run not in taken], levels)
        is_other = others > MOST_OTHERS * len(row) or _like(row, beside, levels) > 0 or _is_pulsed(row, levels)
        evidence = 0.0 if is_other else _of_row(row, own, dry, levels)
        if evidence >= ENOUGH:
            taken, total = [*taken, *row], total + evidence
        elif evidence >= PERHAPS and doubt is None:
            doubt = PerhapsDry(len(row), dry.up / own.load.up, _lasted_s(row, levels))
    return _Weighed(total, taken, doubt)


def _is_pulsed(row: Sequence[RunLevels], levels: LevelList) -> bool:
    """Tell whether so many runs follow one another so soon that something other than a person switches them."""
    spans_us = [_span_us(run, levels) for run in row]
    pauses_us = [later[0] - earlier[1] for earlier, later in pairwise(spans_us)]
    return len(row) > MOST_TRIES and float(np.median(pauses_us)) < PAUSE_S * MICROSECONDS


def _like(row: Sequence[RunLevels], others: Iterable[RunLevels], levels: LevelList) -> int:
    """Return how many of other runs are as long as those of a row, roughly."""
    usual_s = float(np.median([_lasted_s([run], levels) for run in row]))
    lengths_s = [_lasted_s([run], levels) for run in others]
    return sum(usual_s / LIKE_LENGTH <= length_s <= usual_s * LIKE_LENGTH for length_s in lengths_s)


def _lasted_s(runs: Sequence[RunLevels], levels: LevelList) -> float:
    return sum(b - a for a, b in (_span_us(run, levels) for run in runs)) / MICROSECONDS


def _meets(span_us: tuple[float, float], spans_us: Sequence[tuple[float, float]]) -> bool:
    return any(a < span_us[1] and b > span_us[0] for a, b in spans_us)


def _rows(runs: Sequence[RunLevels], own: _Own, levels: LevelList) -> list[list[RunLevels]]:
    """Return runs in rows, the longest first: between two of a row the load has none of its own."""
    starts_us = np.array([a for a, _ in own.spans_us])
    rows = groupby(runs, key=lambda run: int(np.searchsorted(starts_us, levels.start_us[run.start])))
    return sorted((list(row) for _, row in rows), key=len, reverse=True)


def _of_row(row: Sequence[RunLevels], own: _Own, dry: LoadSteps, levels: LevelList) -> float:
    """Return how much speaks for a row of runs being a load's own. [1]."""
    lengths_s = [_lasted_s([run], levels) for run in row]
    is_long = float(np.median(lengths_s)) >= LONG_RUNS * own.usual_s
    # Starts of the load's own that were due meanwhile and did not come; runs far longer than its own are a pump that
    # does not cut out, and it would have run between them as well.
    row_s = (_span_us(row[-1], levels)[1] - _span_us(row[0], levels)[0]) / MICROSECONDS if is_long else sum(lengths_s)
    evidence = min(len(own.spans_us) * row_s / max(own.log_s - row_s, 1.0), MOST_MISSED)
    evidence += LONG_IN_A_ROW if is_long and len(row) >= MOST_IN_A_ROW else 0.0
    # Clouds come in a row as well.
    in_a_row = IN_A_ROW / 2 if levels.gives else IN_A_ROW
    evidence += in_a_row * min(len(row) - 1, MOST_IN_A_ROW)
    evidence += min(sum(_of_start(run, own, levels) for run in row), MOST_BY_STARTS)
    before = [run for run in own.load.runs if run.start < row[0].start]
    fell = before[-1].fall if before else None
    if fell is not None and abs((own.load.up + levels.change(fell, levels.signal)) / dry.up - 1) <= DRY_TOLERANCE:
        evidence += FELL_BEFORE
    return evidence


def _of_start(run: RunLevels, own: _Own, levels: LevelList) -> float:
    """Return how much a start speaks for being the load's: it shows, or does not, as often and as high as its own."""
    top = _top(run, levels) / own.usual
    # Each is the logarithm of how much likelier the start is with the load than with any other.
    if _top(run, levels) <= SHOWS * levels.change(run.start, levels.signal):
        return math.log((1 - SHOWS_DRY * own.shows) / (1 - SHOWS_BY_CHANCE))
    # Readings too far apart to show the load's starts tell nothing by one that shows.
    if own.shows <= SHOWS_BY_CHANCE:
        return 0.0
    low, high = np.quantile(own.tops[own.tops > SHOWS], [0.05, 1.0])
    is_resolved = 0 < levels.spacing_s[run.start] <= SURGE_SPACING_S
    like = (LIKE_TOP[0] * low if is_resolved else 0.0) <= top <= LIKE_TOP[1] * high
    return math.log(own.shows / SHOWS_BY_CHANCE) if like else -math.log(own.shows / SHOWS_BY_CHANCE)


def with_late_fall(run: RunLevels, runs: Sequence[RunLevels], levels: LevelList) -> RunLevels:
    """Return the run that still goes on at the log's end with the step at which its own draw fell, if it did."""
    if run.stop is not None or run.fall is not None:
        return run
    whole = [_span_us(other, levels) for other in runs if other.stop is not None]
    if len(whole) < LEAST_OWN:
        return run
    signal, until_us = levels.signal, _span_us(run, levels)[1]
    long_us = max(TIMES_LONGEST * max(b - a for a, b in whole), LONG_S * MICROSECONDS)
    own = levels.change(run.start, signal)
    steps = {
        k: levels.change(k, signal) / own for k in range(run.start + 1, len(levels)) if levels.start_us[k] < until_us
    }
    # For far longer than any run that ended, at a dry pump's draw and without rising again: a load that was on before
    # and has gone off meanwhile would be a coincidence.
    for k, step in steps.items():
        rises = max((x for j, x in steps.items() if j > k), default=0.0)
        is_long = until_us - levels.start_us[k] > long_us
        if DRY[0] <= 1 + step <= DRY[1] and is_long and rises < RISES * -step:
            return run._replace(fall=k)
    return run


def fell(run: SeenRun, bounds: RunLevels) -> bool:
    """Tell whether a run's own draw fell within it to a dry pump's."""
    levels = run.levels
    if bounds.fall is None or bounds.fall in run.others:
        return False
    since_s = (run.stop_us - levels.start_us[bounds.fall]) / MICROSECONDS
    if run.stop is not None and since_s < LONG_S:
        return False
    left = 1 + levels.change(bounds.fall, levels.signal) / levels.change(bounds.start, levels.signal)
    return DRY[0] <= left <= DRY[1]


def at_one_draw(dry: Sequence[SeenRun], own: Sequence[SeenRun]) -> list[SeenRun]:
    """Return runs that may be those of a dry pump if they settle as one does: all at a draw it has. Else none."""
    if not dry:
        return []
    signal = dry[0].levels.signal
    usual = float(np.median([run.settled(signal) for run in own]))
    share = np.array([run.settled(signal) for run in dry]) / usual
    middle = float(np.median(share))
    alike = np.abs(share / middle - 1) <= SETTLES_ALIKE
    return list(dry) if DRY[0] <= middle <= DRY[1] and alike.mean() >= MOST else []
