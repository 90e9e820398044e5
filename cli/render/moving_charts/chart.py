"""A chart that can be moved, zoomed and read: Bokeh's, in the page's colours, told by the script of the page.

No text of the user's is drawn: it goes into columns called ``said``, which the page's script shows as text alone.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from bokeh.document import Document
from bokeh.layouts import column
from bokeh.models import (
    ColumnDataSource,
    CustomJSTicker,
    CustomJSTickFormatter,
    DataRange1d,
    FixedTicker,
    GlyphRenderer,
    Legend,
    PanTool,
    Range1d,
    Span,
    Title,
    WheelZoomTool,
)
from bokeh.plotting import figure

from ....analysis.readings.chunk import MICROSECONDS
from ..still_charts.svg import GAP, GRID, INK, PAPER, SOFT, VARIABLES
from ..wording import clock as words

if TYPE_CHECKING:
    from bokeh.model import Model
    from numpy.typing import ArrayLike

    from ....analysis.readings.chunk import FloatArray, TimeArray
    from ....analysis.readings.log_facts import LogFacts

#: Room left of every plot, so that plots above each other share their time axis. [px]
_LEFT_PX = 54
#: Room for the name of the time axis. [px]
_LABEL_PX = 20
#: What is written: its size, and a name that the page's script knows.
TEXT_PX = "13px"
FACE = "font of the page"
#: How a line runs between two readings, by what a reading stands for; None: straight.
BOKEH_STEPS: dict[str, Literal["before", "after"] | None] = {"instant": None, "mean": "before", "held": "after"}
#: Longer names than this do not fit beside each other on a phone. [characters]
_TWO_COLUMNS = 18
#: How time without readings looks.
UNKNOWN_TIME = {
    "fill_color": GAP,
    "hatch_pattern": "/",
    "hatch_color": SOFT,
    "hatch_weight": 0.7,
    "line_color": None,
    "level": "underlay",
}
_MS = MICROSECONDS // 1000
_DAY_US = 86_400 * MICROSECONDS


@dataclass(frozen=True)
class Readout:
    """What the line under a chart says of a source at the instant under the finger.

    The source has either ``t``, ``low`` and ``high``: numbers called ``says`` in ``unit``, each from ``t`` for
    ``width`` (0 where each is a reading), and counting up to ``reach`` from it, both in units of the x axis; or
    ``from``, ``to`` and ``said``: texts.
    """

    source: ColumnDataSource
    says: str = ""
    unit: str = ""
    width: float = 0.0
    reach: float = 0.0


class Chart:
    """Plots above each other over one x axis, and what can be read off them.

    ``start`` and ``stop`` are the ends of the axis, ``closest`` the least that can be zoomed to: milliseconds since
    1970 or since the log's start where ``clock`` is from `clock_of`, else the unit in ``{"since": unit}``.
    """

    def __init__(self, start: float, stop: float, *, closest: float, clock: dict[str, Any]) -> None:
        # The first and the last reading would else lie on the frame; nobody can move beyond that room.
        room = (stop - start) * 0.01
        ends = (start - room, stop + room)
        self.x_range = Range1d(*ends, bounds=ends, min_interval=min(closest, stop - start), name="x")
        self._clock, self._plots, self._reads = clock, list[figure](), list[Readout]()
        self._cursor = Span(dimension="height", line_color=INK, line_width=1, visible=False, name="cursor")

    def plot(self, title: str, height_px: int, *, y_range: Range1d | None = None, logarithmic: bool = False) -> figure:
        """Add a plot below the others."""
        plot = figure(
            height=height_px,
            sizing_mode="stretch_width",
            x_range=self.x_range,
            y_range=y_range or DataRange1d(range_padding=0.1),
            y_axis_type="log" if logarithmic else "linear",
            tools=[PanTool(dimensions="width"), WheelZoomTool(dimensions="width", zoom_on_axis=False)],
            toolbar_location=None,
            min_border_left=_LEFT_PX,
            min_border_right=12,
            lod_threshold=None,
            window_axis="none" if y_range else "x",
        )
        plot.title = Title(text=title, text_color=INK, text_font=FACE, text_font_size=TEXT_PX, text_font_style="normal")
        plot.toolbar.logo = None
        plot.toolbar.active_scroll = plot.tools[1]
        self._style(plot)
        plot.add_layout(self._cursor)
        self._plots.append(plot)
        return plot

    def _style(self, plot: figure) -> None:
        plot.background_fill_color = plot.border_fill_color = PAPER
        plot.outline_line_color = None
        plot.xgrid.grid_line_color = None
        plot.ygrid.grid_line_color = GRID
        for axis in plot.axis:
            axis.major_label_text_color = axis.axis_label_text_color = INK
            axis.major_label_text_font = axis.axis_label_text_font = FACE
            axis.major_label_text_font_size = axis.axis_label_text_font_size = TEXT_PX
            axis.axis_label_text_font_style = "normal"
            axis.axis_line_color = axis.major_tick_line_color = GRID
            axis.minor_tick_line_color = None
        plot.yaxis.axis_line_color = None
        if "ahead" in self._clock:
            _instants(plot, self._clock)

    def read(self, read: Readout) -> None:
        """Let the line under the chart tell of a source."""
        read.source.name = f"read {len(self._reads)}"
        self._reads.append(read)

    def finished(self, name: str) -> str:
        """Return the chart as JSON that may stand in a ``<script>``; `name` is unique on the page.

        The same chart gives the same text: the library's own counted ids are replaced.
        """
        for plot in self._plots[:-1]:
            plot.xaxis.visible = False
        # The lowest axis serves all plots, and needs room for its name.
        if "axis" in self._clock:
            self._plots[-1].xaxis.axis_label = self._clock["axis"]
            self._plots[-1].height += _LABEL_PX
        for drawn in (each for plot in self._plots for each in plot.renderers if isinstance(each, GlyphRenderer)):
            drawn.nonselection_glyph = drawn.muted_glyph = "auto"  # nothing is selected or muted: two models less
        item = _own_ids(_item(column(*self._plots, sizing_mode="stretch_width")), name)
        reads = [[r.source.name, r.says, r.unit, r.width, r.reach] for r in self._reads]
        text = json.dumps({"item": item, "reads": reads, "clock": self._clock}, separators=(",", ":"), allow_nan=False)
        for colour, variable in VARIABLES.items():
            text = text.replace(f'"{colour}"', f'"{variable}"')
        # A script's text ends at "</script" wherever that stands: no name of a log may hold one.
        return text.replace("&", r"\u0026").replace("<", r"\u003c").replace(">", r"\u003e")


def _instants(plot: figure, clock: dict[str, Any]) -> None:
    """Let the page's script place and name the ticks of a time axis: it knows the zone, the library only UTC."""
    plot.xaxis.ticker = CustomJSTicker(major_code="return shuntbook.ticks(cb_data, clock)", args={"clock": clock})
    label = "return shuntbook.label(tick, ticks, clock)"
    plot.xaxis.formatter = CustomJSTickFormatter(code=label, args={"clock": clock})


def _item(model: Model) -> dict[str, Any]:
    """Return what the library in the page makes a model from.

    It is what `bokeh.embed.json_item` returns, without a search of all models for mistakes, which the tests make.
    """
    document = Document(title="")
    document.add_root(model)
    doc = document.to_json(deferred=False)
    return {"target_id": None, "root_id": model.id, "doc": doc, "version": doc["version"]}


def _own_ids(item: object, name: str) -> object:
    """Return the same with its ids counted from 1 in their order, the chart's name before them."""
    known: dict[str, str] = {}

    def renamed(value: object) -> object:
        if isinstance(value, dict):
            return {key: ours(x) if key in {"id", "root_id"} else renamed(x) for key, x in value.items()}
        return [renamed(x) for x in value] if isinstance(value, list) else value

    def ours(old: str) -> str:
        return known.setdefault(old, f"{name}-{len(known) + 1}")

    return renamed(item)


def clock_of(facts: LogFacts, start_us: int, stop_us: int) -> dict[str, Any]:
    """Return how a chart tells instants: ``{"axis": its name, "ahead": [[from, by, name], ...]}``.

    From when on the zone's clocks are by how much ahead of UTC, both in milliseconds; nothing of that without dates.
    """
    if facts.undated:
        return {"axis": words.in_zone(facts), "ahead": []}
    # Clocks are changed at most once a day: a day whose ends differ is searched by halves.
    changes = [start_us]
    for left in range(start_us, stop_us, _DAY_US):
        right = min(left + _DAY_US, stop_us)
        if _ahead_us(facts, left) != _ahead_us(facts, right):
            changes.append(_change(facts, left, right))
    ahead = [[us / _MS, _ahead_us(facts, us) / _MS, f"{words.local(us, facts):%Z}"] for us in changes]
    return {"axis": f"time in {words.in_zone(facts)}", "ahead": ahead}


def of_instants(facts: LogFacts, start_us: int, stop_us: int, closest_ms: float = 60e3) -> Chart:
    """Return a chart over a stretch of a log's time."""
    return Chart(one_ms(start_us), one_ms(stop_us), closest=closest_ms, clock=clock_of(facts, start_us, stop_us))


def _ahead_us(facts: LogFacts, us: int) -> int:
    offset = words.local(us, facts).utcoffset()
    return 0 if offset is None else round(offset.total_seconds()) * MICROSECONDS


def _change(facts: LogFacts, left: int, right: int) -> int:
    """Return when the clocks changed, to the second, within a stretch in which they did once."""
    before = _ahead_us(facts, left)
    while right - left > MICROSECONDS:
        middle = (left + right) // 2
        left, right = (middle, right) if _ahead_us(facts, middle) == before else (left, middle)
    return right - right % MICROSECONDS


def ms(us: TimeArray) -> FloatArray:
    """Return instants on a chart's time axis. [ms]."""
    return us.astype(np.float64) / _MS


def one_ms(us: int) -> float:
    """Return one instant, or a length of time, on a chart's time axis. [ms]."""
    return us / _MS


def texts(start: ArrayLike, stop: ArrayLike, sentences: list[str], **more: ArrayLike) -> ColumnDataSource:
    """Return a source of texts, each from an instant to another."""
    return ColumnDataSource({"from": np.asarray(start), "to": np.asarray(stop), "said": sentences, **more})


def small(values: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """Return numbers in half the room: seven digits, more than any meter has."""
    return np.asarray(values, dtype=np.float32)


def legend(plot: figure, items: list[tuple[str, list[Any]]]) -> None:
    """Say above a plot what its signs are: in one column or two, and in more where the page's script finds room."""
    longest = max(len(name) for name, _ in items)
    plot.add_layout(
        Legend(
            items=items,
            ncols=2 if longest < _TWO_COLUMNS else 1,
            location="top_left",
            background_fill_color=None,
            border_line_color=None,
            label_text_color=INK,
            label_text_font=FACE,
            label_text_font_size=TEXT_PX,
            padding=2,
            margin=0,
            spacing=8,
        ),
        "above",
    )


def rows_on(plot: figure, names: dict[float, str]) -> None:
    """Name heights of a plot in place of its numbers."""
    axis = plot.yaxis[0]
    axis.ticker = FixedTicker(ticks=list(names))
    axis.major_label_overrides = dict(names)


def zero(plot: figure) -> None:
    """Draw the line of zero across a plot."""
    plot.add_layout(Span(location=0.0, dimension="width", line_color=INK, line_width=0.8))
