"""The chart of runs and rests: how long each lasted, with the shortest that do a motor no harm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isnan
from typing import TYPE_CHECKING, NamedTuple, overload

import numpy as np

from ..wording import numbers
from . import svg
from .axis import lengths_between, on_axis, time_axis, x_unit
from .svg import ALERT, DRAW, SOFT, WIDE, Frame
from .thinning import Points, extremes, points_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import LogReport


class DrawnRun(NamedTuple):
    """What drawings look at of a run; as in `Cycle`."""

    start_us: int
    stop_us: int | None
    run_s: float | None
    off_before_s: float | None


class DrawnRuns(Sequence[DrawnRun]):
    """Runs in columns: of tens of thousands all that is known would take long to send, and much memory."""

    def __init__(self, cycles: Sequence[Cycle]) -> None:
        self._start_us = np.array([cycle.start_us for cycle in cycles], dtype=np.int64)
        # None becomes NaN; instants in microseconds are whole numbers in a float, too.
        self._others = [
            np.array([getattr(cycle, name) for cycle in cycles], dtype=np.float64) for name in DrawnRun._fields[1:]
        ]

    def __len__(self) -> int:
        """Return the number of runs."""
        return len(self._start_us)

    def __iter__(self) -> Iterator[DrawnRun]:
        """Yield the runs, each made anew."""
        for start_us, *others in zip(self._start_us.tolist(), *(x.tolist() for x in self._others), strict=True):
            stop_us, run_s, rest_s = (None if isnan(x) else x for x in others)
            yield DrawnRun(start_us, None if stop_us is None else int(stop_us), run_s, rest_s)

    @overload
    def __getitem__(self, at: int) -> DrawnRun: ...
    @overload
    def __getitem__(self, at: slice) -> list[DrawnRun]: ...
    def __getitem__(self, at: int | slice) -> DrawnRun | list[DrawnRun]:
        """Return one run, or some."""
        return list(self)[at]


@dataclass(frozen=True)
class RunLengths:
    """Runs and the rests before them, each as its run's start [us] and its length [s]; the shortest good by what it is.

    There is at least one run; ``limits_s`` has ``run`` and ``rest`` as far as there is such a limit.
    """

    runs: Points
    rests: Points
    limits_s: dict[str, float]

    @property
    def ends_us(self) -> tuple[int, int]:
        """When the first and the last of them began. [us]."""
        us = np.concatenate([self.runs[0], self.rests[0]])
        return int(us.min()), int(us.max())


def run_lengths(log: LogReport, minimum_run_s: float | None, minimum_off_s: float | None) -> RunLengths:
    """Return what the chart shows; a run whose end was not seen has no length, and no limit draws no line."""
    cycles = log.cycles.cycles
    limits_s = {"run": minimum_run_s, "rest": minimum_off_s}
    return RunLengths(
        points_of((cycle.start_us, cycle.run_s) for cycle in cycles if cycle.run_s),
        points_of((cycle.start_us, cycle.off_before_s) for cycle in cycles if cycle.off_before_s),
        {what: limit_s for what, limit_s in limits_s.items() if limit_s is not None},
    )


def limit_sign(what: str, limit_s: float) -> str:
    """Return what the line of a limit is called."""
    return f"shortest good {what}, {numbers.duration(limit_s)}"


def run_and_rest(
    log: LogReport,
    *,
    minimum_run_s: float | None = None,
    minimum_off_s: float | None = None,
    name: str = "runs",
    frame: Frame = WIDE,
) -> str:
    """Draw how long each run and the rest before it lasted, over time, with the limits for both."""
    lengths = run_lengths(log, minimum_run_s, minimum_off_s)
    with svg.drawing(frame) as figure:
        axes = figure.add_subplot()
        axes.set_yscale("log")
        time_axis(axes, log.facts, *lengths.ends_us, frame)
        # Runs are drawn last and filled: where both crowd, they are what is asked about.
        for points, colour, marker, label in (
            (lengths.rests, SOFT, "s", "rest before it"),
            (lengths.runs, DRAW, "o", "run"),
        ):
            us, length_s = extremes(points, frame.points // 4)
            filled = "full" if marker == "o" else "none"
            at = on_axis(us, log.facts)
            axes.plot(at, length_s, marker, color=colour, fillstyle=filled, markersize=4.5, label=label)
        for what, limit_s in lengths.limits_s.items():
            style = "--" if what == "run" else ":"
            axes.axhline(limit_s, color=ALERT, linestyle=style, linewidth=1.6, label=limit_sign(what, limit_s))
        _length_axis(axes)
        svg.frame_axes(axes)
        svg.legend_above(figure, 4 if frame == WIDE else 2)
        return svg.inline(
            figure, name=name, label="Length of each run and of the rest before it, over time", x_unit=x_unit(log.facts)
        )


def _length_axis(axes: Axes) -> None:
    """Mark a logarithmic axis of seconds at lengths people say, within what it shows."""
    low_s, high_s = axes.get_ylim()
    axes.set_ylim(low_s / 1.3, high_s * 1.3)
    marked_s = lengths_between(low_s / 1.3, high_s * 1.3)
    axes.set_yticks(marked_s, [numbers.duration(s) for s in marked_s])
    axes.set_yticks([], minor=True)
    axes.set_ylabel("length, logarithmic")
