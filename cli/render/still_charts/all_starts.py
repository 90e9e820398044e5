"""The chart of all starts of a load laid over each other, the usual one among them, with words on the curves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from ....analysis.one_log.starts_together import StartsTogether, starts_together
from ..wording import numbers
from . import svg
from .axis import NAMES
from .svg import DRAW, INK, PAPER, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.one_log.log_report import LogReport

#: More lines than this lie on top of each other, and make the page heavy. [1]
_MOST_LINES: Final = 30
#: A start is over in about a second; what is shown on either side of it tells from where and to where. [s]
_SHOWN_BEFORE_S, _SHOWN_AFTER_S = 0.5, 5.0


def of_log(log: LogReport) -> StartsTogether | None:
    """Return a log's starts laid over each other; None where too few were seen or readings are too slow."""
    return starts_together(log.starts, log.facts.sampling)


def all_starts(log: LogReport, *, name: str = "starts", frame: Frame = WIDE) -> str:
    """Draw all starts of a log's load over each other; there must be enough of them."""
    starts = of_log(log)
    assert starts is not None
    return drawn(starts, name=name, frame=frame)


def drawn(starts: StartsTogether, *, name: str = "starts", frame: Frame = WIDE) -> str:
    """Draw starts laid over each other; see `all_starts`."""
    with svg.drawing(frame) as figure:
        _draw(figure.add_subplot(), starts)
        return svg.inline(figure, name=name, label=spoken(starts))


def draw(axes: Axes, log: LogReport) -> None:
    """Draw all starts into given axes; nothing where too few were seen or readings are too slow."""
    starts = of_log(log)
    if starts is not None:
        _draw(axes, starts)


def top_words(starts: StartsTogether) -> str:
    """Say what the load usually draws at the top of its start."""
    return f"{_amount(starts.surge, starts)} at the usual start"


def running_words(starts: StartsTogether) -> str:
    """Say what the load usually draws once it runs."""
    return f"{_amount(starts.running, starts)} running"


def spoken(starts: StartsTogether) -> str:
    """Say in a sentence what the chart shows, for whoever does not see it."""
    count = numbers.counted(len(starts.each), "start")
    return f"{count} laid over each other: {top_words(starts)}, then {running_words(starts)}."


def _amount(x: float, starts: StartsTogether) -> str:
    return numbers.amount(x, NAMES[starts.quantity][1])


def _draw(axes: Axes, starts: StartsTogether) -> None:
    title, unit = NAMES[starts.quantity]
    inside = (starts.seconds >= -_SHOWN_BEFORE_S) & (starts.seconds <= _SHOWN_AFTER_S)
    seconds = starts.seconds[inside]
    for row in starts.each[_shown(len(starts.each))]:
        axes.plot(seconds, row[inside], color=SOFT, linewidth=0.7, alpha=0.6)
    axes.plot(seconds, starts.usual[inside], color=DRAW, linewidth=2.6)
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.set_xlim(-_SHOWN_BEFORE_S, _SHOWN_AFTER_S)
    top = float(np.nanmax(starts.each))
    axes.set_ylim(min(0.0, float(np.nanmin(starts.each))), 1.05 * top)
    _words_on_curves(axes, starts)
    axes.set_xlabel("seconds from the start")
    axes.set_ylabel(f"{title} of the load [{unit}]")
    svg.frame_axes(axes)
    axes.spines["bottom"].set_visible(False)


def _words_on_curves(axes: Axes, starts: StartsTogether) -> None:
    """Write what the usual start draws at its top and once it runs, each beside its place on the curve."""
    known = np.where(np.isnan(starts.usual), -np.inf, starts.usual)
    peak = int(known.argmax())
    on_paper = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.5}
    axes.annotate(
        top_words(starts),
        (float(starts.seconds[peak]), float(known[peak])),
        xytext=(14, 0),
        textcoords="offset points",
        va="center",
        weight="bold",
        bbox=on_paper,
    )
    late = _SHOWN_AFTER_S
    axes.annotate(
        running_words(starts),
        (late, starts.running),
        xytext=(-4, 8),
        textcoords="offset points",
        ha="right",
        va="bottom",
        weight="bold",
        bbox=on_paper,
    )


def _shown(count: int) -> Sequence[int]:
    """Return which starts get a line: all of few, else evenly many of them."""
    return np.unique(np.linspace(0, count - 1, min(count, _MOST_LINES)).round().astype(int)).tolist()  # type: ignore[no-any-return]
