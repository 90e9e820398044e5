"""The page's charts: the whole log, one start, runs and rests, and the nameplate beside the measurement.

No text of the user's goes into a drawing: markers are numbered, and the page says beside it what each number is.
Meaning is never carried by colour alone: it has a shape, a hatch or a word as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import dates, ticker

from ...analysis.chunk import MICROSECONDS, Chunk, FloatArray, TimeArray
from ...analysis.envelope import Envelope
from . import svg, words
from .svg import ALERT, DRAW, GAP, GRID, INK, PAPER, REST, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ...analysis.cycle_record import Cycle
    from ...analysis.report import CloseUp, LogFacts, LogReport, PlateCheck

# A published palette for all kinds of colour vision is named in the style sheet, where the colours are.
_STEP = {"instant": None, "mean": "pre", "held": "post"}
_NAMES = {"current_A": ("current", "A"), "power_W": ("power", "W")}
# Narrower stretches than this share of the chart's width could not be seen, so they are drawn this wide.
_LEAST_SHARE = 1 / 600

# Lengths of time that people say.
_LENGTHS_S = (
    *(0.01, 0.03, 0.1, 0.3, 1, 3, 10, 20, 30, 60, 120, 300, 600, 1200, 1800),
    *(3600 * h for h in (1, 2, 3, 6, 12, 24, 48, 168, 672)),
)

Span = tuple[float, float]


def whole_log(log: LogReport, *, name: str = "whole", frame: Frame = WIDE) -> str:
    """Draw the whole log: lowest to highest reading over time, gaps hatched, cycles as bars, markers as numbers.

    Parameters
    ----------
    log : LogReport
        Its envelope of current, or of power where there is no current, is drawn; neither may be missing.
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    quantity = charted(log)
    envelope, facts = thinned(log.envelopes[quantity], frame.points), log.facts
    start_us, stop_us = _ends(log, envelope)
    with svg.drawing(frame) as figure:
        axes, strip = figure.subplots(2, 1, sharex=True, height_ratios=[8, 1])
        _time_axis(strip, facts, start_us, stop_us, frame)
        _draw_envelope(axes, envelope, log)
        _draw_gaps(axes, log, start_us, stop_us)
        _draw_markers(axes, facts)
        axes.set_ylabel(_axis_title(quantity))
        axes.axhline(0, color=INK, linewidth=0.8)
        svg.frame_axes(axes)
        axes.spines["bottom"].set_visible(False)
        runs = [_span(cycle.start_us, cycle.stop_us or stop_us, facts) for cycle in log.cycles.cycles]
        _draw_bars(strip, _drawable(runs, _span(start_us, stop_us, facts)))
        label = f"{_NAMES[quantity][0].capitalize()} over the whole log, with its gaps, cycles and markers"
        return svg.inline(figure, name=name, label=label)


def start_close_up(close_up: CloseUp, facts: LogFacts, *, name: str = "start", frame: Frame = WIDE) -> str:
    """Draw the readings around one start: each reading a dot, the settled draw a line, the highest reading ringed.

    Parameters
    ----------
    close_up : CloseUp
        The cycle and its readings; they must hold current or power.
    facts : LogFacts
        The log it is from.
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.
    """
    cycle, readings = close_up.cycle, close_up.readings
    quantity = quantity_of(readings)
    there = ~np.isnan(readings.quantities[quantity])
    seconds = (readings.time_us[there] - cycle.start_us) / MICROSECONDS
    x = readings.quantities[quantity][there]
    unit = _NAMES[quantity][1]
    with svg.drawing(frame) as figure:
        axes = figure.add_subplot()
        axes.plot(seconds, x, drawstyle=_drawstyle(facts), color=DRAW, linewidth=1.0)
        axes.plot(seconds, x, "o", color=DRAW, markersize=3.5, label="a reading")
        settled = _settled(cycle, quantity, seconds, x)
        if settled is not None:
            said = f"settled, {words.amount(settled, unit)}"
            axes.axhline(settled, color=REST, linewidth=2, dashes=(5, 3), label=said)
        top = _highest(cycle, seconds, x)
        if top is not None:
            said = f"highest, {words.amount(float(x[top]), unit)}"
            axes.plot(seconds[top], x[top], "o", color=ALERT, markersize=11, fillstyle="none", mew=2, label=said)
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.set_xlabel("seconds from the start")
        axes.set_ylabel(_axis_title(quantity))
        svg.frame_axes(axes)
        axes.spines["bottom"].set_visible(False)
        figure.legend(loc="outside upper left", ncols=3 if frame is WIDE else 1, handlelength=1.6)
        return svg.inline(figure, name=name, label=f"{_NAMES[quantity][0].capitalize()} around one start")


def run_and_rest(
    log: LogReport,
    *,
    minimum_run_s: float | None = None,
    minimum_off_s: float | None = None,
    name: str = "runs",
    frame: Frame = WIDE,
) -> str:
    """Draw how long each run and the rest before it lasted, over time, with the limits for both.

    Parameters
    ----------
    log : LogReport
        At least one of its cycles must have a run time.
    minimum_run_s, minimum_off_s : float or None
        Shortest run and shortest rest that do a motor no harm; None draws no line. [s]
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.
    """
    runs = [(c.start_us, c.run_s) for c in log.cycles.cycles if c.run_s]
    rests = [(c.start_us, c.off_before_s) for c in log.cycles.cycles if c.off_before_s]
    starts = [us for us, _ in runs + rests]
    with svg.drawing(frame) as figure:
        axes = figure.add_subplot()
        axes.set_yscale("log")
        _time_axis(axes, log.facts, min(starts), max(starts), frame)
        for points, colour, marker, label in ((rests, REST, "s", "rest before it"), (runs, DRAW, "o", "run")):
            us, length_s = _extremes(points, frame.points // 4)
            filled = "full" if marker == "o" else "none"
            axes.plot(_x(us, log.facts), length_s, marker, color=colour, fillstyle=filled, markersize=4.5, label=label)
        for limit_s, style, what in ((minimum_run_s, "--", "run"), (minimum_off_s, ":", "rest")):
            if limit_s is not None:
                said = f"shortest good {what}, {words.duration(limit_s)}"
                axes.axhline(limit_s, color=ALERT, linestyle=style, linewidth=1.6, label=said)
        _duration_axis(axes)
        svg.frame_axes(axes)
        figure.legend(loc="outside upper left", ncols=4 if frame is WIDE else 2, handlelength=1.6)
        return svg.inline(figure, name=name, label="Length of each run and of the rest before it, over time")


def plate_bars(plate: PlateCheck, *, name: str = "plate", frame: Frame = WIDE) -> str:
    """Draw three bars of energy: the sum on paper, the estimate from the nameplate, and the measurement.

    Parameters
    ----------
    plate : PlateCheck
        Estimate and measurement over the same running time.
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.
    """
    bars = (
        ("on paper", plate.estimate.paper_Wh, ".."),
        ("from the nameplate", plate.estimate.energy_Wh, "//"),
        ("measured", plate.comparison.measured_energy_Wh, ""),
    )
    low = Frame(frame.name, frame.width_px, 170, frame.text_px, frame.points)
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        for place, (title, energy_Wh, hatch) in enumerate(bars):
            face = PAPER if hatch else DRAW
            axes.barh(-place, energy_Wh, height=0.42, facecolor=face, edgecolor=DRAW, hatch=hatch, linewidth=1.2)
            axes.text(0, -place + 0.3, f"{title}: {words.amount(energy_Wh, 'Wh')}", va="bottom", ha="left")
        axes.set_ylim(-len(bars) + 0.7, 0.75)
        axes.set_xlim(0, max(value for _, value, _ in bars) * 1.02 or 1.0)
        axes.axis("off")
        return svg.inline(figure, name=name, label="Energy on paper, from the nameplate and measured")


def quantity_of(readings: Chunk) -> str:
    """Return which quantity the chart of a start shows; empty where the readings hold none to draw."""
    return next((q for q in _NAMES if q in readings.quantities and not np.isnan(readings.quantities[q]).all()), "")


def charted(log: LogReport) -> str:
    """Return which quantity the chart of the whole log shows: current, or power where current has no sign."""
    order = ("current_A", "power_W") if log.facts.side == "dc" else ("power_W", "current_A")
    return next(quantity for quantity in order if quantity in log.envelopes)


def _axis_title(quantity: str) -> str:
    title, unit = _NAMES[quantity]
    return f"{title} [{unit}]"


def _drawstyle(facts: LogFacts) -> str:
    step = _STEP[facts.sampling]
    return f"steps-{step}" if step else "default"


def thinned(envelope: Envelope, most: int) -> Envelope:
    """Put neighbouring buckets together until at most `most` are left; no peak is lost."""
    width, bucket = envelope.width_us, envelope.time_us // envelope.width_us
    low, high = envelope.low, envelope.high
    while len(bucket) > most:
        width, bucket = width * 2, bucket // 2
        first = np.flatnonzero(np.diff(bucket, prepend=bucket[0] - 1))
        bucket, low, high = bucket[first], np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
    return Envelope(bucket * width, width, low, high)


def _ends(log: LogReport, envelope: Envelope) -> tuple[int, int]:
    """Return where the chart begins and ends."""
    span = log.charge.span
    times = [t for t in (span.start_us, span.stop_us) if t is not None]
    if len(envelope.time_us):
        times += [int(envelope.time_us[0]), int(envelope.time_us[-1])]
    return min(times, default=0), max([*times, min(times, default=0) + MICROSECONDS])


def _draw_envelope(axes: Axes, envelope: Envelope, log: LogReport) -> None:
    """Fill between lowest and highest; a gap breaks it, and a reading alone between gaps is a dot."""
    time_us, low, high = envelope.time_us, envelope.low, envelope.high
    breaks = np.flatnonzero(np.diff(time_us) > log.facts.gap_limit_s * MICROSECONDS + envelope.width_us) + 1
    if log.facts.sampling == "held":
        breaks = breaks[:0]
    pieces = np.split(np.arange(len(time_us)), breaks)
    alone = np.array([piece[0] for piece in pieces if len(piece) == 1], dtype=np.intp)
    middle = _x(time_us, log.facts)
    x, low_cut, high_cut = (np.insert(v, breaks, np.nan) for v in (middle, low, high))
    step = _STEP[log.facts.sampling] if envelope.width_us < MICROSECONDS else None
    axes.fill_between(x, low_cut, high_cut, step=step, color=DRAW, linewidth=1.0)  # type: ignore[arg-type]
    axes.plot(middle[alone], high[alone], ".", color=DRAW, markersize=4)


def _draw_gaps(axes: Axes, log: LogReport, start_us: int, stop_us: int) -> None:
    """Hatch each gap from top to bottom, and say what it is where there is room."""
    whole = _span(start_us, stop_us, log.facts)
    gaps = _drawable([_span(gap.start_us, gap.stop_us, log.facts) for gap in log.charge.span.gaps], whole)
    high = axes.get_xaxis_transform()
    for left, right in gaps:
        axes.axvspan(left, right, facecolor=GAP, edgecolor=GRID, hatch="//", linewidth=0)
        if right - left > 0.12 * (whole[1] - whole[0]):
            patch = {"facecolor": PAPER, "edgecolor": "none", "pad": 2}
            axes.text((left + right) / 2, 0.5, "no readings", transform=high, ha="center", va="center", bbox=patch)


def _draw_markers(axes: Axes, facts: LogFacts) -> None:
    """Draw a numbered line for each marker."""
    for place, (us, _) in enumerate(facts.markers[:99], start=1):
        at = float(_x(np.array([us]), facts)[0])
        axes.axvline(at, color=INK, linewidth=0.9, dashes=(2, 2))
        axes.text(at, 1.0, str(place), transform=axes.get_xaxis_transform(), ha="center", va="bottom", weight="bold")


def _draw_bars(strip: Axes, spans: Sequence[Span]) -> None:
    strip.broken_barh([(left, right - left) for left, right in spans], (0.15, 0.7), facecolor=REST)
    strip.set_ylim(0, 1)
    strip.set_yticks([0.5], ["on"])
    svg.frame_axes(strip, grid="x")


def _drawable(spans: Sequence[Span], whole: Span) -> list[Span]:
    """Return stretches wide enough to be seen, those that then touch put together."""
    least = (whole[1] - whole[0]) * _LEAST_SHARE
    drawn: list[Span] = []
    for left, right in sorted(spans):
        far = max(right, left + least)
        if drawn and left <= drawn[-1][1] + least / 4:
            drawn[-1] = (drawn[-1][0], max(far, drawn[-1][1]))
        else:
            drawn.append((left, far))
    return drawn


def _extremes(points: Sequence[tuple[int, float]], buckets: int) -> tuple[TimeArray, FloatArray]:
    """Return at most the lowest and the highest value in each of `buckets` stretches of equally many points."""
    us = np.array([t for t, _ in points], dtype=np.int64)
    values = np.array([value for _, value in points], dtype=np.float64)
    if len(points) <= 2 * buckets:
        return us, values
    kept = set()
    for part in np.array_split(np.arange(len(points)), buckets):
        kept |= {int(part[values[part].argmin()]), int(part[values[part].argmax()])}
    order = sorted(kept)
    return us[order], values[order]


def _settled(cycle: Cycle, quantity: str, seconds: FloatArray, x: FloatArray) -> float | None:
    """Return the settled draw as the meter would show it: above what was drawn before the start."""
    above = cycle.run_A if quantity == "current_A" else cycle.run_W
    before = x[seconds < 0]
    return None if above is None or not len(before) else float(np.median(before)) + above


def _highest(cycle: Cycle, seconds: FloatArray, x: FloatArray) -> int | None:
    """Return the place of the highest reading of the run; None where there is none."""
    stop_s = np.inf if cycle.run_s is None else cycle.run_s
    during = np.flatnonzero((seconds >= 0) & (seconds <= stop_s))
    return int(during[x[during].argmax()]) if len(during) else None


def _x(us: TimeArray, facts: LogFacts) -> FloatArray:
    """Return instants on the chart's time axis: days since 1970, or seconds since the start without dates."""
    return np.asarray(us / MICROSECONDS if facts.undated else us / (86400 * MICROSECONDS), dtype=np.float64)


def _span(start_us: int, stop_us: int, facts: LogFacts) -> Span:
    left, right = _x(np.array([start_us, stop_us]), facts).tolist()
    return left, right


def _time_axis(axes: Axes, facts: LogFacts, start_us: int, stop_us: int, frame: Frame) -> None:
    """Give an axis the log's span with ticks at round times of its zone, or at round times from its start."""
    left, right = _span(start_us, stop_us, facts)
    room = (right - left) * 0.01 or 1 / 86400
    axes.set_xlim(left - room, right + room)
    most = 9 if frame is WIDE else 4
    if facts.undated:
        axes.xaxis.set_major_locator(ticker.MaxNLocator(most, steps=[1, 1.2, 1.5, 1.8, 3, 3.6, 6, 9, 10]))
        axes.xaxis.set_major_formatter(lambda seconds, _: words.elapsed(round(seconds * MICROSECONDS)))
        return
    zone = words.zone_of(facts)[1]
    locator = dates.AutoDateLocator(tz=zone, minticks=2, maxticks=most)
    axes.xaxis.set_major_locator(locator)
    plain = ["%Y", "%b %Y", "%d %b", "%H:%M", "%H:%M", "%H:%M:%S"]
    first = ["", "%Y", "%b %Y", "%d %b", "%H:%M", "%H:%M"]
    axes.xaxis.set_major_formatter(
        dates.ConciseDateFormatter(locator, tz=zone, formats=plain, zero_formats=first, show_offset=False)
    )


def _duration_axis(axes: Axes) -> None:
    """Mark a logarithmic axis of seconds at lengths people say, within what it shows."""
    low, high = axes.get_ylim()
    low, high = low / 1.3, high * 1.3
    axes.set_ylim(low, high)
    inside = [s for s in _LENGTHS_S if low <= s <= high]
    inside = inside[:: 1 + len(inside) // 7]
    axes.set_yticks(inside, [words.duration(s) for s in inside])
    axes.set_yticks([], minor=True)
