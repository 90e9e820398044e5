"""A load's cycles as the rules of health look at them: arrays, and what the spacing of the readings lets one tell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from ..cycles.cycle import Cycles
from ..readings.chunk import MICROSECONDS, BoolArray, FloatArray, TimeArray
from ..wording import spell
from .finding import Check, Rule

#: A run or a rest must last this many readings before its length can be judged: common practice, no source.
LEAST_READINGS: Final = 3
#: Nothing is judged from a handful of cycles: common practice, no source.
LEAST_CYCLES: Final = 8
#: More runs or rests than this share that are too short to tell: what rests on their lengths is withheld. [1]
TOO_MANY_SHORT: Final = 1 / 3
#: A load cannot run twice at once: more overlaps than one and than this share, and the runs are of several loads. [1]
MOST_OVERLAPS: Final = 0.1
#: The newest part of a log is also judged by itself, so that healthy weeks do not hide a bad day. [1]
NEWEST: Final = 1 / 3
#: So many runs must be too short: a tank without air makes short ones, not short and long by turns. [1]
MOSTLY: Final = 2 / 3
_HOUR_US: Final = 3600 * MICROSECONDS


@dataclass(frozen=True)
class Runs:
    """The cycles of one load, ready to be judged.

    A run that began before `last_gap_us`, when the log's last gap ended, and has no end is not known to go on.
    `left_out` are runs that are not among these, because the inverter's cut-off ended them.
    """

    cycles: Cycles
    usual_interval_s: float | None = None
    last_gap_us: int | None = None
    left_out: int = 0

    @cached_property
    def name(self) -> str:
        """What the load is called at the beginning of a sentence."""
        named = self.cycles.load or next((cycle.load for cycle in self.cycles.cycles if cycle.load), None)
        return f"The {named}" if named else "The load"

    @property
    def within(self) -> str:
        """What the load is called within a sentence."""
        return f"{self.name[0].lower()}{self.name[1:]}"

    @cached_property
    def least_s(self) -> float:
        """The shortest run or rest whose length can be told. [s]."""
        by_interval = LEAST_READINGS * self.usual_interval_s if self.usual_interval_s is not None else 0.0
        return max(by_interval, self.cycles.shortest_run_s or 0.0)

    @cached_property
    def start_us(self) -> TimeArray:
        """When each run began. [us]."""
        return np.array([cycle.start_us for cycle in self.cycles.cycles], dtype=np.int64)

    @cached_property
    def run_s(self) -> FloatArray:
        """How long each run lasted; NaN where its end was not seen. [s]."""
        return self.of("run_s")

    @cached_property
    def rest_s(self) -> FloatArray:
        """How long the load rested before each run; NaN where that is not known. [s]."""
        return self.of("off_before_s")

    @cached_property
    def whole(self) -> BoolArray:
        """Which runs were seen from beginning to end."""
        return ~np.isnan(self.run_s)

    @cached_property
    def too_short(self) -> BoolArray:
        """Which cycles have a run, or the rest before it, too short for its length to be told."""
        return (self.run_s < self.least_s) | ((self.rest_s < self.least_s) & (self.rest_s > 0))

    @property
    def span_s(self) -> float:
        """From the first start to the last. [s]."""
        return float(self.start_us[-1] - self.start_us[0]) / MICROSECONDS if len(self.start_us) else 0.0

    @cached_property
    def draw_unit(self) -> str:
        """The unit in which the running draw is best known: watts wherever most runs have them, else amps."""
        # Amps follow the bank's voltage and watts hardly do, so a few runs without watts are given up for them.
        watts = np.isfinite(self.of("run_W")).sum()
        return "W" if watts and watts >= 0.8 * np.isfinite(self.of("run_A")).sum() else "A"

    @cached_property
    def draw(self) -> FloatArray:
        """Running draw of each run fit for a comparison; NaN for the others. [draw_unit].

        Left out are runs in which the array may have shared the draw, those too short to settle, and those of a load
        of several speeds or behind a drive, which draw what is asked of them.
        """
        draw = self.of(f"run_{self.draw_unit}")
        shared = np.array([cycle.array_may_share for cycle in self.cycles.cycles], dtype=bool)
        unfit = shared | (self.run_s < self.least_s) | self.cycles.varies
        return np.where(unfit, np.nan, draw)

    @cached_property
    def highest_W(self) -> FloatArray:
        """Running draw of each run, at its highest speed if it has several; NaN where that is not known. [W]."""
        if not self.cycles.speeds:
            return self.of("run_W")
        draws = np.array([np.nan if speed.draw_W is None else speed.draw_W for speed in self.cycles.speeds])
        held = (np.flatnonzero(cycle.at_speeds) for cycle in self.cycles.cycles)
        return np.array([draws[ks[-1]] if len(ks) else np.nan for ks in held])

    @cached_property
    def less(self) -> BoolArray:
        """Which runs draw less from their start on, and were found to be the load's all the same."""
        return np.array([cycle.draws_less for cycle in self.cycles.cycles], dtype=bool)

    @cached_property
    def perhaps_dry(self) -> str:
        """What may have been a pump without water, or another load, in words; empty where there is none."""
        perhaps = self.cycles.perhaps_dry
        if perhaps is None:
            return ""
        runs = "a run" if perhaps.count == 1 else f"{perhaps.count} runs"
        return (
            f"{runs} at {100 * perhaps.share:.0f} % of this draw, {spell(perhaps.lasted_s)} together, came while it "
            "did not run as usual: the pump without water, or another load"
        )

    def of(self, name: str) -> FloatArray:
        """Return one field of every cycle; NaN where it is not known."""
        values = [getattr(cycle, name) for cycle in self.cycles.cycles]
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    def briefer(self, least_s: float) -> BoolArray:
        """Return which runs were shorter, even if either end lay half a spacing outside of what was read."""
        return self.run_s + (self.usual_interval_s or 0.0) < least_s

    def mostly(self, which: BoolArray) -> bool:
        """Tell whether two thirds of the whole runs, or of the newest third of them, are among these."""
        whole = which[self.whole]
        newest = whole[-max(LEAST_CYCLES, round(NEWEST * len(whole))) :]
        return bool(whole.mean() >= MOSTLY or newest.mean() >= MOSTLY)

    def starts(self, which: BoolArray) -> tuple[int, ...]:
        """Return the starts of some of the cycles, to name them. [us]."""
        return tuple(self.start_us[which].tolist())

    def lengths_s(self) -> FloatArray:
        """Return how long each run was seen running; the last may still be at the log's end; 0 where unknown. [s]."""
        lengths_s = np.nan_to_num(self.run_s)
        if len(lengths_s) and self._goes_on() and self.cycles.last_us is not None:
            lengths_s[-1] = (self.cycles.last_us - self.start_us[-1]) / MICROSECONDS
        return lengths_s

    def _goes_on(self) -> bool:
        """Tell whether the last run was still going on at the log's end, as far as it was measured all the time."""
        cut = self.last_gap_us is not None and self.last_gap_us > self.start_us[-1]
        # A gap after its start may hide its end.
        return self.cycles.cycles[-1].stop_us is None and not cut

    @property
    def two_kinds(self) -> bool:
        """Whether two kinds of runs are among these, and nothing tells which are the load's."""
        return self.cycles.two_kinds is not None and self.cycles.two_kinds.own is None

    @cached_property
    def mixed(self) -> bool:
        """Whether the runs are not those of one load: two kinds are among them, or many begin before others end."""
        if self.two_kinds:
            return True
        # A rest of nothing says that a run began before the one before it ended; one of these may be a slip of pairing.
        overlaps = int((self.rest_s <= 0).sum())
        return overlaps > max(1.0, MOST_OVERLAPS * float((~np.isnan(self.rest_s)).sum()))

    def alone(self, lengths_s: FloatArray) -> BoolArray:
        """Return during which runs no other of them starts: a load cannot run twice, so another one was mispaired."""
        ends_us = self.start_us + (lengths_s * MICROSECONDS).astype(np.int64)
        return np.append(self.start_us[1:] >= ends_us[:-1], True)[: len(ends_us)]

    def cannot_tell(self, rule: Rule, needed_s: float = 0.0, least: int = LEAST_CYCLES) -> Check | None:
        """Return why a rule on the lengths of runs and rests is withheld; None where it need not be.

        `needed_s` is the length that the readings must be able to show, `least` the whole runs that it needs.
        """
        count = int(self.whole.sum())
        # Too coarse readings come first: they make kinds and overlaps doubtful as well.
        if self.least_s > needed_s > 0 or (count and self.too_short[self.whole].mean() > TOO_MANY_SHORT):
            return rule.not_judged(f"readings too far apart: only what lasts {spell(self.least_s)} can be told")
        if self.two_kinds:
            return rule.not_judged("two kinds of runs of like draw, and the log does not tell which are the load's")
        if self.mixed:
            return rule.not_judged("the runs overlap: they are not those of one load")
        if count < least:
            others = f" beside {self.left_out} that the inverter's low-voltage cut-off ended" if self.left_out else ""
            return rule.not_judged(f"{count} whole runs{others} are too few to judge by; at least {least} are needed")
        return None


def busiest_hour(start_us: TimeArray) -> int:
    """Return the most starts that any 60 minutes hold."""
    if not len(start_us):
        return 0
    return int((np.searchsorted(start_us, start_us + _HOUR_US, side="left") - np.arange(len(start_us))).max())
