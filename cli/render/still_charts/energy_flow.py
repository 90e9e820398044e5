"""The flow of energy as bands of true widths: what is known at the meter, and nothing else.

A band is as high as what it carries, all on one scale. From where it comes stands at its left end, where it goes at its
right one; the bars at both ends fade over the 95 % interval.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from ....analysis.stats.interval95 import Within
from ..wording import numbers
from . import svg
from .bars import soft_bar
from .svg import DRAW, INK, REST, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.one_log.energy_flow import EnergyFlow

#: Between two bars of a side there is this share of the height of all bands. [1]
_APART: Final = 0.22
#: Where the bars stand, also where it is narrow, and how broad they are, on an axis from 0 to 1; words have the rest.
_ENDS, _NARROW_ENDS, _BROAD = (0.30, 0.70), (0.35, 0.65), 0.012
#: What a meter at the bank does not see.
_UNSEEN: Final = "not seen here: what came straight to other loads"


@dataclass(frozen=True)
class Stop:
    """Where bands end or begin: what it is, how much of it, and from where to where it stands. [unit]."""

    words: str
    within: Within
    top: float
    colour: str


@dataclass(frozen=True)
class Band:
    """What flows from a stop at the left to one at the right: how much, and where its upper edge is at both. [unit]."""

    amount: float
    left: float
    right: float
    colour: str


@dataclass(frozen=True)
class Bands:
    """Everything that is drawn of a flow, from the top (0) down to ``height``. [unit]."""

    sources: tuple[Stop, ...]
    sinks: tuple[Stop, ...]
    bands: tuple[Band, ...]
    height: float


def energy_flow(flow: EnergyFlow, load: str, source: str, *, name: str = "flow", frame: Frame = WIDE) -> str:
    """Draw a flow; `load` is what the load is called, `source` what charges the bank."""
    with svg.drawing(frame) as figure:
        draw(figure.add_subplot(), flow, load, source, narrow=frame is not WIDE)
        return svg.inline(figure, name=name, label=spoken(flow, load, source))


def unseen(flow: EnergyFlow) -> bool:
    """Tell whether something flowed, or may have, that a meter at the bank does not see."""
    return flow.side == "dc" and flow.returned.value > 0


def what(flow: EnergyFlow) -> str:
    """Return what flows."""
    return "energy" if flow.unit == "Wh" else "charge"


def spoken(flow: EnergyFlow, load: str, source: str) -> str:
    """Say in a sentence what the chart shows, for whoever does not see it."""
    bands = bands_of(flow, load, source)
    sources, sinks = (
        ", ".join(stop.words.replace("\n", " ") for stop in stops) for stops in (bands.sources, bands.sinks)
    )
    return f"Flow of {what(flow)}: {sources}. To: {sinks}."


def bands_of(flow: EnergyFlow, load: str, source: str) -> Bands:
    """Return what is drawn of a flow: only what is known, each band as high as what it carries."""
    from_bank, others, straight, returned = flow.load_from_bank, flow.others.value, flow.straight, flow.returned.value
    unit, by_charger = flow.unit, 0.0 if flow.charger is None else min(flow.charger.value, returned)
    apart = _APART * (flow.drawn.value + straight + returned)
    gave = "from the bank" if flow.side == "dc" else "from the inverter"
    drawn = from_bank + others
    sources = [Stop(f"{gave}\n{_amount(flow.drawn, unit)}", flow.drawn, 0.0, DRAW)]
    below = drawn + apart
    if straight + returned - by_charger > 0:
        words = f"from {source}\n{_amount(flow.sun, unit)}, or more"
        sources.append(Stop(words, flow.sun, below, SOFT))
        below += flow.sun.value + apart
    if flow.charger is not None and by_charger > 0:
        sources.append(Stop(f"from the charger\n{_amount(flow.charger, unit)}, or more", flow.charger, below, SOFT))
    sinks, bands, at = [], [], 0.0
    if flow.load is not None:
        sinks.append(Stop(f"{load}\n{_amount(flow.load, unit)}", flow.load, 0.0, DRAW))
        bands.append(Band(from_bank, 0.0, 0.0, DRAW))
        if straight:
            bands.append(Band(straight, drawn + apart, from_bank, SOFT))
        at = flow.load.value + apart
    if others:
        rest = "other loads" if flow.load is not None else "all loads"
        sinks.append(Stop(f"{rest}\n{_amount(flow.others, unit)}", flow.others, at, DRAW))
        bands.append(Band(others, from_bank, at, DRAW))
        at += others + apart
    if returned:
        sinks.append(Stop(f"into the bank\n{_amount(flow.returned, unit)}", flow.returned, at, REST))
        if returned > by_charger:
            bands.append(Band(returned - by_charger, drawn + apart + straight, at, REST))
        if by_charger > 0:
            bands.append(Band(by_charger, below, at + returned - by_charger, REST))
        at += returned
    height = max(at, sources[-1].top + sources[-1].within.value)
    return Bands(tuple(sources), tuple(sinks), tuple(bands), height)


def draw(axes: Axes, flow: EnergyFlow, load: str, source: str, *, narrow: bool = False) -> None:
    """Draw a flow into given axes; in narrow ones long words stand in two lines."""
    bands = bands_of(flow, load, source)
    axes.set_xlim(0, 1)
    ends = left, right = _NARROW_ENDS if narrow else _ENDS
    text = _UNSEEN.replace(": ", ":\n") if narrow else _UNSEEN
    foot = (1.28 if narrow else 1.18) if unseen(flow) else 1.06
    axes.set_ylim(bands.height * foot, -0.06 * bands.height)
    axes.axis("off")
    # What is not known has no width: it is told, in grey.
    if unseen(flow):
        axes.text(0.5, 1.08 * bands.height, text, color=SOFT, ha="center", va="top")
    for band in bands.bands:
        _draw_band(axes, band, ends)
    for stop in bands.sources:
        words = stop.words.replace(", or", ",\nor") if narrow else stop.words
        _draw_stop(axes, replace(stop, words=words), left, at_left=True)
    for stop in bands.sinks:
        _draw_stop(axes, stop, right, at_left=False)


def _draw_band(axes: Axes, band: Band, ends: tuple[float, float]) -> None:
    """Draw a band between two bars, of the same height all along."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    left, right = ends[0] + _BROAD, ends[1]
    middle = (left + right) / 2
    upper = [(left, band.left), (middle, band.left), (middle, band.right), (right, band.right)]
    lower = [(x, y + band.amount) for x, y in reversed(upper)]
    curve = [Path.CURVE4] * 3
    path = Path([*upper, *lower, upper[0]], [Path.MOVETO, *curve, Path.LINETO, *curve, Path.CLOSEPOLY])
    axes.add_patch(PathPatch(path, facecolor=band.colour, alpha=0.35, linewidth=0))


def _draw_stop(axes: Axes, stop: Stop, x: float, *, at_left: bool) -> None:
    soft_bar(axes, stop.within, (x, x + _BROAD), stop.colour, upright=True, start=stop.top)
    middle = stop.top + stop.within.value / 2
    at, side = (x - _BROAD, "right") if at_left else (x + 2 * _BROAD, "left")
    axes.text(at, middle, stop.words, va="center", ha=side, color=INK)


def _amount(within: Within, unit: str) -> str:
    """Return a figure with its interval; the ends of that alone where it is broader than the figure is large."""
    half = max(within.high - within.value, within.value - within.low)
    if half > within.value:
        _, low, high = numbers.value_and_ends(within.value, within.low, within.high)
        return f"{low} to {high} {unit}"
    return numbers.plus_minus(within.value, half, unit)
