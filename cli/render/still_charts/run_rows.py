"""The picture that carries the answer: each log or day a row on one clock, with a mark for each run on it.

A mark is as long as its run and as high as its draw: ten broad marks above a hundred slivers need no word. What was
found of the runs is a bracket over those that it rests on.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ..wording import numbers
from ..wording.clock import days_named
from . import lines, svg
from .axis import NAMES
from .clock_rows import ClockRows, Mark, Row, clock_rows
from .svg import ALERT, DRAW, GAP, GRID, INK, NARROW, PAPER, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.one_log.log_report import LogReport
    from .thinning import Span

#: Marks are drawn no narrower than this, nor closer together: what is cannot be told from its neighbour. [px]
LEAST_PX, APART_PX = 1.2, 0.8
#: A picture that is narrower has its rows' names above them. [px]
NARROW_PX: Final = 520
#: Rows that fit on a screen beside the answer. [1]
MOST_WIDE, MOST_NARROW = 12, 8
#: Lengths of time between the ticks of a clock. [s]
_TICKS_S: Final = (60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 14400, 21600, 43200)
#: How high the line of names is that stand at flags. [em]
_FLAG_EM: Final = 1.5
#: How broad a letter of bold text is at the most, on average. [em]
_BOLD_EM: Final = 0.62
#: And how broad one of usual text is.
_LETTER_EM: Final = 0.6
#: Of more rows only the first says what its line means. [1]
_MOST_TOLD: Final = 4
#: Rows and flags for which there is room. [1]
_MOST_FLAGGED: Final = 2
_MOST_FLAGS: Final = 12
#: How broad a letter of plain text is at the most, on average, and how many a shortened name should have. [em], [1]
_PLAIN_EM: Final = 0.58
_LEAST_LETTERS: Final = 4
#: Words hide the lines of the grid behind them.
_ON_PAPER: Final = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
#: Figures that a scale is marked at. [1]
_ROUND: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)


def run_rows(logs: Sequence[LogReport], *, name: str = "rows", frame: Frame = WIDE) -> str:
    """Draw each log or day as a row of runs on one clock; one of the logs must hold a run."""
    rows = clock_rows(logs)
    assert rows is not None
    return drawn(rows, name=name, frame=frame)


def drawn(rows: ClockRows, *, name: str = "rows", frame: Frame = WIDE) -> str:
    """Draw rows; see `run_rows`."""
    narrow = frame.width_px < NARROW_PX
    rows = rows.shown(MOST_NARROW if narrow else MOST_WIDE)
    layout = _Layout.of(rows, narrow=narrow, text_px=frame.text_px)
    # What names and scale leave of the width: the layout is settled only when all is drawn.
    beside_px = 0.0 if narrow else 0.6 * frame.text_px * (max(len(row.name) for row in rows.rows) + 7)
    width_px = frame.width_px - beside_px - frame.text_px
    left_out = _left_out(rows, width_px / frame.text_px)
    below_px = (3.4 + 1.4 * len(left_out)) * frame.text_px
    with svg.drawing(frame.of_height(layout.height_px + below_px)) as figure:
        axes = figure.add_subplot()
        _draw(axes, rows, layout, width_px)
        axes.set_xlabel("\n".join([axes.get_xlabel(), *left_out]))
        return svg.inline(figure, name=name, label=spoken(rows))


def _left_out(rows: ClockRows, room_em: float) -> list[str]:
    """Name the days that are not drawn, in lines for which there is room: a gap between rows would go unnoticed."""
    days = days_named(rows.left_out_days)
    return textwrap.wrap(f"not drawn: {days}", int(room_em / _LETTER_EM)) if days else []


def draw(
    axes: Axes,
    logs: Sequence[LogReport],
    *,
    text_px: float = 13,
    narrow: bool = False,
    named: Callable[[str], str] = str,
) -> None:
    """Draw the picture into given axes, as many rows of it as their height holds; nothing where no log holds a run.

    `named` makes of a row's name what is written.
    """
    rows = clock_rows(logs)
    if rows is None:
        return
    rows = replace(rows, rows=tuple(_named(row, named) for row in rows.rows))
    extent, dpi = axes.get_window_extent(), axes.figure.dpi
    width_px, height_px = extent.width * 72 / dpi, extent.height * 72 / dpi
    for most in range(len(rows.rows), 0, -1):
        shown = rows.shown(most)
        layout = _Layout.of(shown, narrow=narrow, text_px=text_px, least=True)
        if layout.height_px <= height_px or most == 1:
            _draw(axes, shown, layout.filling(height_px), width_px)
            return


def _named(row: Row, named: Callable[[str], str]) -> Row:
    return replace(row, name=named(row.name), flags=tuple((at, named(text)) for at, text in row.flags))


def has_flags(rows: ClockRows) -> bool:
    """Tell whether there is room for the flags of notes: in the picture of one log or two with a few of them."""
    count = sum(len(row.flags) for row in rows.rows)
    return len(rows.rows) <= _MOST_FLAGGED and 0 < count <= _MOST_FLAGS


def stands_for_several(rows: ClockRows) -> bool:
    """Tell whether runs stand so close that on the narrow screen a mark stands for several."""
    rows = rows.shown(MOST_NARROW)
    unit_px = _clock_of(rows)[1] / NARROW.width_px
    return any(len(told_apart(row.marks, unit_px)) < len(row.marks) for row in rows.rows)


def spoken(rows: ClockRows) -> str:
    """Say in a sentence what the picture shows, for whoever does not see it."""
    parts = []
    for row in rows.rows:
        lengths = [mark.right - mark.left for mark in row.marks if mark.whole]
        usual = f" of about {numbers.duration(float(np.median(lengths)))}" if lengths else ""
        bracket = f", marked: {row.bracket.label}" if row.bracket is not None else ""
        noted = f", noted: {', '.join(text for _, text in row.flags)}" if has_flags(rows) and row.flags else ""
        parts.append(f"{row.name}: {row.counted}{usual}{bracket}{noted}")
    return f"Each run on one clock. {'; '.join(parts)}."


#: How a run is drawn whose end, or more, was not seen.
_CUT: Final = {"facecolor": PAPER, "edgecolor": DRAW, "hatch": "////"}


@dataclass(frozen=True)
class _Layout:
    """Where rows stand, from the top down: of each its top, the top of its marks, and its foot. [px]."""

    tops: tuple[tuple[float, float, float], ...]
    narrow: bool
    text_px: float

    @classmethod
    def of(cls, rows: ClockRows, *, narrow: bool, text_px: float, least: bool = False) -> _Layout:
        """Return where rows stand if marks are as high as is usual for so many rows, or as low as can be read."""
        count = len(rows.rows)
        usual_px = next(px for most, px in ((1, 96.0), (2, 72.0), (4, 54.0), (99, 34.0)) if count <= most)
        # On a phone the answer stands above, and all is to fit on one screen.
        marks_px = 18.0 if least else 0.75 * usual_px if narrow else usual_px
        tops, at, flagged = [], 0.0, has_flags(rows)
        for row in rows.rows:
            head = (1.5 * text_px if narrow else 0.35 * text_px) + (1.9 * text_px if row.bracket is not None else 0.0)
            head += _FLAG_EM * text_px if flagged and row.flags else 0.0
            tops.append((at, at + head, at + head + marks_px))
            at += head + marks_px + 0.5 * text_px
        return cls(tuple(tops), narrow, text_px)

    @property
    def height_px(self) -> float:
        """How high all rows are together."""
        return self.tops[-1][2] + 0.5 * self.text_px

    def filling(self, height_px: float) -> _Layout:
        """Return the same with higher marks, so that the rows are as high as there is room."""
        more = max(height_px - self.height_px, 0.0) / len(self.tops)
        tops = [
            (top + k * more, marks + k * more, foot + (k + 1) * more) for k, (top, marks, foot) in enumerate(self.tops)
        ]
        return _Layout(tuple(tops), self.narrow, self.text_px)


def _draw(axes: Axes, rows: ClockRows, layout: _Layout, width_px: float) -> None:
    """Draw the rows; the y axis counts pixels from the top."""
    left, width = _clock_of(rows)
    right = left + width
    axes.set_xlim(left - 0.005 * width, right + 0.005 * width)
    axes.set_ylim(layout.height_px, 0)
    unit_px = 1.01 * width / width_px
    # On a larger drawing, which is looked at from as far, all is larger.
    larger = max(layout.text_px / WIDE.text_px, 1.0)
    top = max((mark.draw for row in rows.rows for mark in row.marks if mark.draw is not None), default=1.0)
    flagged = has_flags(rows)
    for row, at in zip(rows.rows, layout.tops, strict=True):
        _draw_row(axes, row, at, unit_px * larger, top)
        if flagged and row.flags:
            _draw_flags(axes, row, at, layout, unit_px)
        if row.bracket is not None:
            _draw_bracket(axes, row, at, layout, unit_px)
    _name_rows(axes, rows, layout)
    scale = _draw_scale(axes, rows, layout, top)
    _clock_axis(axes, left, right, most=5 if layout.narrow else 10)
    words = [f"{rows.clock};", scale] if scale else [rows.clock]
    axes.set_xlabel(svg.in_lines(words, width_px / layout.text_px))


def _clock_of(rows: ClockRows) -> Span:
    """Return where the clock of all rows begins, and how much it shows. [s]."""
    left, right = min(row.left for row in rows.rows), max(row.right for row in rows.rows)
    return left, (right - left) or 1.0


def _draw_row(axes: Axes, row: Row, at: tuple[float, float, float], unit_px: float, top: float) -> None:
    """Draw a row's marks on its ground line, its gaps, and starts that failed as crosses."""
    _, high, foot = at
    for left, right in row.gaps:
        axes.fill_between([left, right], high, foot, facecolor=GAP, edgecolor=SOFT, hatch="//", linewidth=0)
    axes.plot([row.left, row.right], [foot, foot], color=SOFT, linewidth=1.0, solid_capstyle="butt")
    marks = told_apart(row.marks, unit_px)
    for whole, look in ((True, {"facecolor": DRAW, "linewidth": 0}), (False, _CUT)):
        alike = [mark for mark in marks if mark.whole == whole]
        if alike:
            # A run of which the draw is not known is as high as half of the scale.
            shares = [0.5 if mark.draw is None else max(mark.draw, 0.0) / top for mark in alike]
            tops = [foot - (foot - high) * share for share in shares]
            lines.bars(axes, [(mark.left, mark.right) for mark in alike], foot, tops, **look)
    axes.plot(row.attempts, [foot - 0.3 * (foot - high)] * len(row.attempts), "x", color=INK, markersize=5, mew=1.4)


def _draw_flags(axes: Axes, row: Row, at: tuple[float, float, float], layout: _Layout, unit_px: float) -> None:
    """Draw a line at each note of a row, and its name beside it as far as there is room before the next."""
    text_px, foot = layout.text_px, at[2]
    top = at[0] + (1.5 * text_px if layout.narrow else 0.0)
    ends = [*(flag for flag, _ in row.flags[1:]), axes.get_xlim()[1]]
    for (flag, text), end in zip(row.flags, ends, strict=True):
        axes.plot([flag, flag], [top, foot], color=INK, linewidth=0.9, dashes=(2, 2))
        letters = int(((end - flag) / unit_px - 0.6 * text_px) / (_PLAIN_EM * text_px))
        if letters >= min(len(text), _LEAST_LETTERS):
            name = numbers.shortened(text, letters)
            # Not in the layout, as it takes room that is there for it.
            words = axes.text(flag + 0.3 * text_px * unit_px, top + 1.1 * text_px, name, va="baseline", bbox=_ON_PAPER)
            words.set_in_layout(False)


def told_apart(marks: Sequence[Mark], unit_px: float) -> list[Mark]:
    """Return marks wide enough to be seen, with paper between them; of those too close the first stands for several.

    `unit_px` is how much of the clock one pixel shows. [s]. A long run keeps its length, but for the paper before it.
    """
    shown: list[Mark] = []
    least, apart = LEAST_PX * unit_px, APART_PX * unit_px
    for mark in marks:
        left, right = mark.left, max(mark.right, mark.left + least)
        if shown and left < shown[-1].right + apart:
            left = shown[-1].right + apart
            if right - left < least:
                last = shown[-1]
                draws = [x for x in (last.draw, mark.draw) if x is not None]
                shown[-1] = Mark(last.left, last.right, max(draws, default=None), last.whole and mark.whole)
                continue
        shown.append(Mark(left, right, mark.draw, mark.whole))
    return shown


def _draw_bracket(axes: Axes, row: Row, at: tuple[float, float, float], layout: _Layout, unit_px: float) -> None:
    """Draw a bracket over the runs of a row's finding, and say above it what that is."""
    assert row.bracket is not None
    text_px, high = layout.text_px, at[1]
    left, right = row.bracket.left, max(row.bracket.right, row.bracket.left + 6 * unit_px)
    line, foot = high - 0.5 * text_px, high - 0.1 * text_px
    axes.plot([left, left, right, right], [foot, line, line, foot], color=ALERT, linewidth=2.0, solid_joinstyle="miter")
    low, most = axes.get_xlim()
    words = row.bracket.label
    if _BOLD_EM * text_px * len(words) * unit_px > most - low:
        words = row.bracket.words
    # The words must not leave the picture on either side.
    half = min(_BOLD_EM * text_px * len(words) * unit_px, most - low) / 2
    middle = min(max((left + right) / 2, low + half), most - half)
    look = {"color": ALERT, "weight": "bold", "bbox": _ON_PAPER}
    text = axes.text(middle, line - 0.25 * text_px, words, look, ha="center", va="bottom")
    # Else the layout would take room from the picture for words that it takes for longer than they are.
    text.set_in_layout(False)


def _name_rows(axes: Axes, rows: ClockRows, layout: _Layout) -> None:
    """Write what each row is called: beside it, or above it where there is no room beside."""
    if layout.narrow:
        axes.set_yticks([])
        for row, (top, _, _) in zip(rows.rows, layout.tops, strict=True):
            text, across = f"{row.name} · {row.counted}", axes.get_yaxis_transform()
            axes.text(0, top + 1.2 * layout.text_px, text, transform=across, va="baseline", bbox=_ON_PAPER)
        return
    middles = [(high + foot) / 2 for _, high, foot in layout.tops]
    # Rows that are lower than two lines of text have theirs in one.
    is_low = layout.tops[0][2] - layout.tops[0][1] < 2.4 * layout.text_px
    axes.set_yticks(middles, [f"{row.name}{', ' if is_low else chr(10)}{row.counted}" for row in rows.rows])


def _draw_scale(axes: Axes, rows: ClockRows, layout: _Layout, top: float) -> str:
    """Mark the height of a round draw in every row, for the scale is that of all of them, and say what it is.

    Where there is no room beside the rows, the words for it are returned.
    """
    if rows.quantity is None or top <= 0:
        return ""
    power = 10.0 ** np.floor(np.log10(top))
    mark = max(x * power for x in _ROUND if x * power <= top)
    across, words = axes.get_yaxis_transform(), f"{mark:,g} {NAMES[rows.quantity][1]}"
    for place, (_, high, foot) in enumerate(layout.tops):
        level = foot - (foot - high) * mark / top
        axes.axhline(level, color=GRID, linewidth=0.8, zorder=0)
        if not layout.narrow and (place == 0 or len(layout.tops) <= _MOST_TOLD):
            axes.text(1.005, level, words, transform=across, color=SOFT, ha="left", va="center")
    return f"line across: {words}" if layout.narrow else ""


def _clock_axis(axes: Axes, left: float, right: float, *, most: int) -> None:
    step = next((s for s in _TICKS_S if (right - left) / s <= most), _TICKS_S[-1])
    ticks = np.arange(np.ceil(left / step), np.floor(right / step) + 1) * step
    axes.set_xticks(ticks, [_hour(s) for s in ticks.tolist()])
    svg.frame_axes(axes, grid="x")
    axes.spines["bottom"].set_visible(False)


def _hour(s: float) -> str:
    # 24 h is the end of a day as well as the beginning of the next; a row that goes past it shows the next day's clock.
    minutes = round(s / 60)
    return f"{minutes // 60 % 24 if minutes > 24 * 60 else minutes // 60}:{minutes % 60:02d}"
