"""What can be read off a chart, as JSON for the page's script: lines as arrays, stretches and instants as sentences.

No text of the user's is drawn: it stands here, and the script shows it as text alone.
"""

from __future__ import annotations

import base64
import itertools
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ....analysis.readings.chunk import MICROSECONDS
from ..still_charts.lines import pieces_of, step_of
from ..still_charts.thinning import thinned
from ..wording import clock as words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ....analysis.readings.chunk import FloatArray, TimeArray
    from ....analysis.readings.envelope import Envelope
    from ....analysis.readings.log_facts import LogFacts

#: Of a quantity the page holds each reading of so many, else the lowest and highest of so many stretches at most: some
#: 50 kB either way, and the stretches are four to a pixel of a wide chart.
MOST_READINGS, MOST_STRETCHES = 10_000, 4000
_MS = MICROSECONDS // 1000
_DAY_US = 86_400 * MICROSECONDS
_LONGEST = np.iinfo(np.int32).max


@dataclass
class Readout:
    """What a chart tells.

    ``clock`` is from `clock_of`, or ``{"since": unit}`` where the x axis counts in that unit. ``closest`` is the least
    that can be zoomed to, in the axis's unit (milliseconds where it shows instants).
    """

    clock: dict[str, Any]
    closest: float
    lines: list[dict[str, Any]] = field(default_factory=list)
    spans: list[dict[str, Any]] = field(default_factory=list)

    def line(self, panel: int, says: str, unit: str, envelope: Envelope, facts: LogFacts) -> None:
        """Let a quantity of a log be redrawn in a panel of its drawing, from its envelope, and be read."""
        seen = held(envelope)
        single = np.array_equal(seen.low, seen.high)
        self.lines.append(
            {
                "panel": panel,
                "says": says,
                "unit": unit,
                "step": step_of(facts.sampling, single=single),
                "first": one_ms(int(seen.time_us[0])),
                "each": one_ms(seen.width_us),
                "times": base64_of((seen.time_us - seen.time_us[0]) // seen.width_us, "<i4"),
                "low": base64_of(seen.low, "<f4"),
                "high": None if single else base64_of(seen.high, "<f4"),
                "width": 0.0 if single else one_ms(seen.width_us),
                "reach": facts.gap_limit_s * 1e3,
                "cuts": [piece.start for piece in pieces_of(seen, facts)[1:]],
            }
        )

    def reading(self, says: str, unit: str, t: FloatArray, x: FloatArray, reach: float) -> None:
        """Let values on the axis's own scale be read; the drawing shows each of them already."""
        each = {"panel": 0, "says": says, "unit": unit, "t": t.tolist(), "values": x.tolist(), "reach": reach}
        self.lines.append(each)

    def span(self, start: Sequence[float], stop: Sequence[float], sentences: Sequence[str], *, drawn: str = "") -> None:
        """Let stretches, or instants where both ends are one, tell their sentences.

        `drawn` names those parts of the drawing that are redrawn from exact ends.
        """
        self.spans.append({"from": list(start), "to": list(stop), "says": list(sentences), "drawn": drawn})

    def as_json(self) -> str:
        """Return it as JSON that may stand in a ``<script>``."""
        lines = [dict(line) for line in self.lines]
        for before, line in itertools.pairwise(lines):
            # Volts are read when amps are: their times stand here once.
            if "times" in line and all(line[key] == before.get(key) for key in ("times", "first", "each")):
                line["times"] = ""
        document = {"clock": self.clock, "closest": self.closest, "lines": lines, "spans": self.spans}
        text = json.dumps(document, separators=(",", ":"), allow_nan=False)
        # A script's text ends at "</script" wherever that stands: no name of a log may hold one.
        return text.replace("&", r"\u0026").replace("<", r"\u003c").replace(">", r"\u003e")


def held(envelope: Envelope) -> Envelope:
    """Return what the page holds of a quantity: each reading, or the lowest and highest of stretches."""
    each = len(envelope.time_us) <= MOST_READINGS and np.array_equal(envelope.low, envelope.high)
    seen = envelope if each else thinned(envelope, MOST_STRETCHES)
    # Times are whole multiples of the envelope's width; a log of few readings over years has room for no finer one.
    while (seen.time_us[-1] - seen.time_us[0]) // seen.width_us > _LONGEST:
        seen = thinned(seen, MOST_READINGS, least_width_us=2 * seen.width_us)
    return seen


def base64_of(values: NDArray[Any], kind: str) -> str:
    """Return numbers as the bytes of a little-endian array, in letters."""
    return base64.b64encode(values.astype(kind).tobytes()).decode()


def one_ms(us: int) -> float:
    """Return an instant, or a length of time, on a chart's time axis. [ms]."""
    return us / _MS


def ms(us: TimeArray) -> list[float]:
    """Return instants on a chart's time axis. [ms]."""
    return [one_ms(each) for each in us.tolist()]


def of_instants(facts: LogFacts, start_us: int, stop_us: int, closest_ms: float = 60e3) -> Readout:
    """Return what a chart over a stretch of a log's time tells, as yet nothing."""
    return Readout(clock_of(facts, start_us, stop_us), closest_ms)


def clock_of(facts: LogFacts, start_us: int, stop_us: int) -> dict[str, Any]:
    """Return how a chart tells instants: ``{"ahead": [[from, by, name], ...]}``.

    From when on the zone's clocks are by how much ahead of UTC, both in milliseconds; nothing of that without dates.
    """
    if facts.undated:
        return {"ahead": []}
    # Clocks are changed at most once a day: a day whose ends differ is searched by halves.
    changes = [start_us]
    for left in range(start_us, stop_us, _DAY_US):
        right = min(left + _DAY_US, stop_us)
        if _ahead_us(facts, left) != _ahead_us(facts, right):
            changes.append(_change(facts, left, right))
    return {"ahead": [[us / _MS, _ahead_us(facts, us) / _MS, f"{words.local(us, facts):%Z}"] for us in changes]}


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
