"""A card: verdict, the load's own Ah, the picture of its runs, place and date, for posting."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from ..still_charts import run_rows, svg, whole_log
from ..still_charts.axis import NAMES, charted, ends, time_axis
from ..still_charts.clock_rows import clock_rows
from ..still_charts.svg import ALERT, PAPER, REST, SOFT, Frame
from ..wording import numbers, shown
from .sheet import Pen, Sheet
from .signs import families, readable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ..wording.shown import Answer
    from ..wording.verdict import State

CardSize = Literal["wide", "square"]

#: The sign of each state, by matplotlib's names of shapes, and its colour.
_SIGNS: Final[dict[State, tuple[str, str]]] = {
    "act": ("^", ALERT),
    "watch": ("D", ALERT),
    "healthy": ("o", REST),
    "not judged": ("s", SOFT),
}


@dataclass(frozen=True)
class _Form:
    """Of a size: its pixels, how large its texts are, of how many lines they may be, and how many parts it shows."""

    frame: Frame
    edge_px: float
    verdict: Pen
    verdict_lines: int
    answer: Pen
    small: Pen
    narrow: bool
    parts: int

    @property
    def across_px(self) -> float:
        """How wide texts may be."""
        return self.frame.width_px - 2 * self.edge_px

    @property
    def note(self) -> Pen:
        """How remarks look."""
        return Pen(0.8 * self.small.size_px, colour=SOFT)


_FORMS: Final[dict[CardSize, _Form]] = {
    "wide": _Form(
        Frame("card", 1200, 630, 17, 1500),
        44,
        Pen(32, bold=True),
        2,
        Pen(72, bold=True),
        Pen(22),
        narrow=False,
        parts=4,
    ),
    "square": _Form(
        Frame("card", 1080, 1080, 19, 1500),
        56,
        Pen(44, bold=True),
        3,
        Pen(88, bold=True),
        Pen(26),
        narrow=True,
        parts=3,
    ),
}


def card(report: Report, size: CardSize = "wide") -> bytes:
    """Return the card of a report as PNG: the same report gives the same bytes."""
    out = io.BytesIO()
    with drawn(report, size) as sheet:
        # The library would put its own name and version in.
        sheet.figure.savefig(out, format="png", dpi=72, metadata={"Software": None})
    return out.getvalue()


@contextmanager
def drawn(report: Report, size: CardSize) -> Iterator[Sheet]:
    """Give the sheet with the card on it, in the colours of the light page."""
    form = _FORMS[size]
    with svg.real_colours(svg.LIGHT), svg.drawing(form.frame) as figure:
        figure.set_facecolor(PAPER)
        sheet = Sheet(figure, form.frame.width_px, form.frame.height_px)
        leads = shown.verdict_leads(report)
        y = _head(sheet, form, report) if leads else _title(sheet, form, report)
        y = _answers(sheet, form, report, y)
        y = _parts(sheet, form, report, y)
        if not leads:
            y = sheet.write(shown.told_verdict(report).sentence, (form.edge_px, y), form.note, width_px=form.across_px)
        foot = _foot(sheet, form)
        _picture(sheet, form, report.logs, y, foot)
        yield sheet


def _head(sheet: Sheet, form: _Form, report: Report) -> float:
    """Write the sign with its word, place and date beside it, and the verdict below; return where that ends. [px]"""
    verdict, edge, small = shown.told_verdict(report), form.edge_px, form.small
    _sign(sheet.figure, verdict.state, (edge + 0.6 * small.size_px, edge + 0.62 * small.size_px), small.size_px, sheet)
    word, left = verdict.state, edge + 1.7 * small.size_px
    named = Pen(small.size_px, bold=True, colour=_SIGNS[verdict.state][1])
    sheet.put(word, (left, edge), named)
    quiet = Pen(small.size_px, colour=SOFT)
    room = sheet.width_px - edge - left - sheet.width_of(word, named) - 2 * small.size_px
    days = shown.days(report.logs)
    # The days are short and stay whole: it is the place that is shortened.
    place = sheet.cut(shown.place(report), quiet, room - sheet.width_of(f" · {days}", quiet))
    sheet.put(" · ".join(part for part in (place, days) if part), (sheet.width_px - edge, edge), quiet, align="right")
    top = edge + 1.7 * small.size_px
    width = sheet.width_px - 2 * edge
    y = sheet.write(verdict.sentence, (edge, top), form.verdict, width_px=width, lines=form.verdict_lines)
    return sheet.write(verdict.history, (edge, y), form.note, width_px=width, lines=form.verdict_lines)


def _title(sheet: Sheet, form: _Form, report: Report) -> float:
    """Write place and date where there is no verdict to lead with; return where that ends. [px]"""
    days, edge = shown.days(report.logs), form.edge_px
    room = form.across_px - sheet.width_of(f"{days}  ", form.small)
    sheet.put(days, (sheet.width_px - edge, edge), Pen(form.small.size_px, colour=SOFT), align="right")
    return sheet.write(shown.place(report), (edge, edge), form.verdict, width_px=room)


def _sign(figure: Figure, state: State, at: tuple[float, float], size_px: float, sheet: Sheet) -> None:
    """Draw a state's sign about a place: its shape says as much as its colour."""
    from matplotlib.lines import Line2D

    x, y = at[0] / sheet.width_px, 1 - at[1] / sheet.height_px
    shape, colour = _SIGNS[state]
    face = PAPER if state == "not judged" else colour
    size = (0.8 if shape == "D" else 1.0) * size_px
    figure.add_artist(Line2D([x], [y], marker=shape, markersize=size, color=colour, markerfacecolor=face, mew=2))
    if state == "healthy":
        # A tick in the disc.
        dx, dy = 0.26 * size_px / sheet.width_px, 0.26 * size_px / sheet.height_px
        across, up = [x - dx, x - 0.2 * dx, x + 1.1 * dx], [y, y - 0.8 * dy, y + 0.8 * dy]
        figure.add_artist(Line2D(across, up, color=PAPER, linewidth=2.5, solid_capstyle="round"))


def _answers(sheet: Sheet, form: _Form, report: Report, y: float) -> float:
    """Write what the load took, large; return where that ends. [px]"""
    edge, top, answers = form.edge_px, y + 0.5 * form.small.size_px, shown.answers_of(report)
    if not answers:
        # The verdict says that no load ran. The bank's figure is not the load's: it has its own words before it.
        return sheet.write(
            shown.gave_of(report), (edge, top), form.verdict, width_px=sheet.width_px - 2 * edge, lines=2
        )
    column = (sheet.width_px - 2 * edge) / len(answers)
    # All in one size, that of the one with the least room.
    widest = max(sheet.width_of(answer.figure, form.answer) for answer in answers)
    size_px = form.answer.size_px * min((column - edge / 2) / widest, 1.0)
    ends = [
        _write_answer(sheet, form, answer, (edge + k * column, top), column - edge / 2, size_px)
        for k, answer in enumerate(answers)
    ]
    return max(ends)


def _write_answer(
    sheet: Sheet, form: _Form, answer: Answer, at: tuple[float, float], width_px: float, size_px: float
) -> float:
    """Write what a load took in one log, and below it what the bank gave to all; return where that ends. [px]"""
    x, y = at
    quiet = Pen(form.small.size_px, colour=SOFT)
    load, of = numbers.capital(answer.total.load), ""
    if answer.of:
        load, of = answer.total.load, f"{answer.of}: "
    # A long name is shortened, and not what is said of it.
    room = width_px - sheet.width_of(f"{of} took", quiet)
    y = sheet.write(f"{of}{sheet.cut(load, quiet, room)} took", (x, y), quiet, width_px=width_px)
    sheet.put(answer.figure, (x, y), Pen(size_px, bold=True))
    y = sheet.write(answer.beside, (x, y + 1.2 * size_px), Pen(form.small.size_px), width_px=width_px)
    return sheet.write(answer.gave, (x, y), form.note, width_px=width_px, lines=2)


def _parts(sheet: Sheet, form: _Form, report: Report, y: float) -> float:
    """Write what each part from note to note took, side by side; return where that ends. [px]"""
    parts = shown.parts_of(report)
    if not parts:
        return y
    column, top = form.across_px / form.parts, y + 0.4 * form.small.size_px
    name, figure = form.note, Pen(form.small.size_px, bold=True)
    for k, part in enumerate(parts[: form.parts]):
        at = form.edge_px + k * column
        y = sheet.write(part.text, (at, top), name, width_px=column - form.small.size_px)
        y = sheet.write(part.figure, (at, y), figure, width_px=column - form.small.size_px)
    left = len(parts) - form.parts
    more = f"; and {numbers.counted(left, 'more part')}" if left > 0 else ""
    of = f"Each part: all loads, {parts[0].where}{more}."
    return sheet.write(of, (form.edge_px, y), form.note, width_px=form.across_px)


def _foot(sheet: Sheet, form: _Form) -> float:
    """Write what ± means, and what the card was made with; return where that begins. [px]"""
    edge, pen = form.edge_px, form.note
    y = sheet.height_px - 0.8 * edge - pen.line_px
    sheet.put(numbers.PLUS_MINUS_MEANS, (edge, y), pen)
    sheet.put("made with shuntbook", (sheet.width_px - edge, y), pen, align="right")
    return y


def _picture(sheet: Sheet, form: _Form, logs: Sequence[LogReport], top: float, foot: float) -> None:
    """Draw the runs between two heights, with room for the words around the axes. [px]"""
    if clock_rows(logs) is None:
        _draw_readings(sheet, form, max(logs, key=shown.start_us), (top, foot))
        return
    if form.narrow:
        _draw_runs(sheet, form, logs, (top, foot), 0.0, narrow=True)
        return
    # How much room the rows' names take shows once they are written.
    axes = _draw_runs(sheet, form, logs, (top, foot), 0.0, narrow=False)
    widest = max(name.get_window_extent().width for name in axes.get_yticklabels())
    axes.remove()
    fits = widest < sheet.width_px / 4
    _draw_runs(sheet, form, logs, (top, foot), widest if fits else 0.0, narrow=not fits)


def _draw_readings(sheet: Sheet, form: _Form, log: LogReport, between: tuple[float, float]) -> None:
    """Draw a log without runs over time between two heights; nothing where it holds no reading to draw. [px]"""
    if not log.envelopes:
        return
    (top, foot), text_px, edge = between, form.frame.text_px, form.edge_px
    left, high, quantity = edge + 4.5 * text_px, top + 1.5 * text_px, charted(log)
    axes = sheet.axes(left, high, sheet.width_px - 1.5 * edge - left, foot - high - 4.0 * text_px)
    axes.set_facecolor("none")
    time_axis(axes, log.facts, *ends(log), form.frame)
    whole_log.draw_envelope(axes, quantity, log, form.frame, "readings")
    whole_log.draw_gaps(axes, log, *ends(log), in_words=False)
    axes.set_ylabel("{} [{}]".format(*NAMES[quantity]))
    svg.frame_axes(axes)


def _draw_runs(
    sheet: Sheet, form: _Form, logs: Sequence[LogReport], between: tuple[float, float], names_px: float, *, narrow: bool
) -> Axes:
    """Draw the runs between two heights, with so much room on the left for the rows' names. [px]"""
    (top, foot), text_px, edge = between, form.frame.text_px, form.edge_px
    left, right = edge + (names_px + 0.5 * text_px if names_px else 0.0), sheet.width_px - edge - 2.8 * text_px
    # The axes' own words lie outside them: below, the clock and what it is; on the right, the scale.
    high = top + 0.8 * text_px
    axes = sheet.axes(left, high, right - left, foot - high - 4.0 * text_px)
    axes.set_facecolor("none")
    run_rows.draw(axes, logs, text_px=text_px, narrow=narrow, named=readable)
    for name in (*axes.get_yticklabels(), *axes.texts):
        name.set_fontfamily(list(families(name.get_text())))
    return axes
