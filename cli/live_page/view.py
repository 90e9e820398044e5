"""What the live page shows, as JSON: text in the words of the terminal, and points for its charts."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...analysis.cycles.taken_by_load import seen_until
from ...analysis.health.finding import SEVERITIES, is_swapped
from ...analysis.health.runs import LEAST_CYCLES
from ...analysis.readings.chunk import MICROSECONDS
from ...ingest.zone import zone_of_computer
from ..capture.screen import (
    LARGE,
    NOT_CONNECTED,
    how_long,
    live_number,
    load_called,
    newest_called,
    part_called,
    run_state,
    taken_so_far,
)
from ..render.page.log_tables import AT_LEAST, bound
from ..render.wording import clock, numbers
from ..render.wording.answer import UNTIL_TURNED
from . import stage

if TYPE_CHECKING:
    from ...analysis.charge.amounts import Charge
    from ...analysis.cycles.cycle import Cycle
    from ...analysis.health.finding import Finding
    from ...analysis.readings.envelope import Recent
    from ..capture.live_meter import Snapshot

MOST_OF_TITLE = 120
_MOST_RUNS = 8
_MOST_FINDINGS = 8
_MOST_FLAGS = 12
_MOST_PARTS = 8
#: So much of a note stands at its flag. [characters]
_FLAG = 24
_FULL = 600
_UNITS = {quantity: (word, unit) for quantity, word, unit in LARGE}


@dataclass(frozen=True)
class LiveState:
    """How a capture stood at one moment.

    ``view`` is all that does not depend on who looks, ready for JSON; ``recents`` is each meter's last stretch.
    """

    view: dict[str, Any]
    recents: tuple[Recent | None, ...]
    ended: bool

    def message(self, seen: dict[int, int]) -> str:
        """Return the state as JSON for a viewer.

        `seen` holds by meter the newest bucket the viewer has, and is brought up to date: only readings from it on are
        sent, since that bucket may have got others.
        """
        points = [None if recent is None else _points(recent, seen, k) for k, recent in enumerate(self.recents)]
        return json.dumps({**self.view, "points": points}, allow_nan=False)


def live_state(
    snapshots: Sequence[Snapshot], *, title: str, elapsed_s: float, left_s: float | None, ended: bool
) -> LiveState:
    """Return how every meter stands, for the live page; those at the bank first."""
    snapshots = sorted(snapshots, key=lambda snapshot: snapshot.side != "dc")
    view = {
        "title": numbers.shortened(title, MOST_OF_TITLE),
        "time": how_long(elapsed_s, None if ended else left_s),
        "ended": ended,
        "meters": [_meter(snapshot) for snapshot in snapshots],
    }
    return LiveState(view, tuple(snapshot.recent for snapshot in snapshots), ended)


def _points(recent: Recent, seen: dict[int, int], meter: int) -> dict[str, list[float]]:
    if not len(recent.value):
        return {"at": [], "value": []}
    # What is new, not the whole stretch twice a second; whoever has just come has seen nothing and gets all of it.
    new = recent.bucket >= seen.get(meter, int(recent.bucket[0]))
    seen[meter] = int(recent.bucket[-1])
    return {
        # in buckets, each reading within its own: rounded down
        "at": (np.floor(1000 * recent.at[new]) / 1000).tolist(),
        # five digits are finer than any screen
        "value": [float(f"{x:.5g}") for x in recent.value[new]],
    }


def _meter(snapshot: Snapshot) -> dict[str, Any]:
    return {
        "name": numbers.shortened(snapshot.name),
        "side": "at the bank" if snapshot.side == "dc" else "behind an inverter",
        "connected": snapshot.connected,
        "link": "connected" if snapshot.connected else NOT_CONNECTED,
        "clock": _clock(snapshot),
        "figures": stage.readings_now(snapshot),
        "took": _took(snapshot),
        "stage": stage.stage(snapshot),
        "amounts": _amounts(snapshot),
        "counts": _counts(snapshot),
        "chart": _chart(snapshot),
        "runs": _runs(snapshot),
        "findings": [_finding(finding) for finding in _worst_first(snapshot)[:_MOST_FINDINGS]],
        "nothing": _nothing_found(snapshot),
        "trouble": _trouble(snapshot),
        "news": _news(snapshot),
    }


def _clock(snapshot: Snapshot) -> str:
    if snapshot.last_us is None:
        return "no reading yet"
    # Whoever stands beside the meter has its clock; another place's, or none, is named.
    is_own = not snapshot.undated and snapshot.zone == zone_of_computer()
    return f"last reading {clock.clock(snapshot.last_us, snapshot)}" + (
        "" if is_own else f" ({clock.in_zone(snapshot)})"
    )


def _took(snapshot: Snapshot) -> list[dict[str, str]]:
    """Return the answers: what the load took by itself, and what went out since the last note and since the start."""
    if is_swapped(snapshot.findings):
        return [{"what": "What went out of the bank", "value": "not known", "beside": UNTIL_TURNED}]
    tiles = []
    if (total := taken_so_far(snapshot)) is not None:
        first, *others = [text for text in (total.charge, total.energy) if text is not None]
        beside = ", ".join([*others, total.in_runs])
        what = f"{numbers.capital(total.load)} took {stage.whole_called(snapshot)}"
        tiles.append({"what": what, "value": first, "beside": beside})
    for what, charge in _stretches(snapshot):
        if amounts := stage.both_ways(charge):
            out = numbers.capital(stage.out_called(amounts[0]))
            tile = {"what": f"{out} {what}", "value": amounts[0].drawn}
            tiles.append({**tile, "beside": ", ".join(amount.drawn for amount in amounts[1:])})
    return tiles


def _stretches(snapshot: Snapshot) -> list[tuple[str, Charge | None]]:
    """Return what is added up, the newest stretch first, each with since when."""
    whole, newest = (stage.whole_called(snapshot), snapshot.charge), snapshot.newest
    if newest is None or newest.charge is None:
        return [whole]
    return [(newest_called(newest, 40), newest.charge), whole]


def _amounts(snapshot: Snapshot) -> dict[str, Any]:
    """Return what was drawn and returned since the start, from note to note, and since the last one, as a table."""
    *newest, whole = _stretches(snapshot)
    ended = snapshot.parts if snapshot.is_over else snapshot.parts[-_MOST_PARTS:]
    parts = [(part_called(part, 40), part.charge) for part in ended]
    stretches = [whole, *parts, *newest]
    return {
        "caption": "What went out and what came back",
        "head": ["", "Drawn", "Returned"],
        "rows": [[title, _way(charge, "drawn"), _way(charge, "returned")] for title, charge in stretches],
    }


def _way(charge: Charge | None, way: str) -> str:
    amounts = [] if charge is None else [(charge.charge, "Ah"), (charge.energy, "Wh")]
    return ", ".join(
        numbers.plus_minus(getattr(x, way), getattr(x, f"{way}_u95"), unit) for x, unit in amounts if x is not None
    )


def _counts(snapshot: Snapshot) -> list[dict[str, str]]:
    """Return the figures that are counted up, each with what it is."""
    counts = []
    if snapshot.cycles is not None:
        state, how_long_so = run_state(snapshot)
        counts.append((f"{snapshot.cycles.summary.count:,}", "starts"))
        if state:
            counts.append((state, f"now, {how_long_so}" if how_long_so else "now"))
    if snapshot.peak_A is not None:
        counts.append((numbers.amount(snapshot.peak_A, "A"), "highest current"))
    elif snapshot.peak_W is not None:
        counts.append((numbers.amount(snapshot.peak_W, "W"), "highest power"))
    return [{"value": value, "what": what} for value, what in counts]


def _chart(snapshot: Snapshot) -> dict[str, Any] | None:
    """Return what is to be known of the chart beside its points; None where there is nothing to draw."""
    recent = snapshot.recent
    if recent is None or not len(recent.value):
        return None
    word, unit = _UNITS[recent.quantity]
    reach = _from_to(snapshot, recent.quantity, float(recent.value.min()), float(recent.value.max()))
    span_s = float(recent.bucket[-1] - recent.bucket[0] + 1) * recent.width_s
    runs = _bars(snapshot, recent)
    return {
        "title": f"{word.capitalize()}, the last {numbers.duration(span_s)}",
        "said": reach + (" Bars below: runs." if runs else ""),
        "unit": unit,
        "width_s": recent.width_s,
        "buckets": recent.buckets,
        "gap": snapshot.gap_limit_s / recent.width_s,
        "runs": runs,
        "notes": _flags(snapshot, recent),
    }


def _from_to(snapshot: Snapshot, quantity: str, low: float, high: float) -> str:
    """Say from what to what a quantity goes, and which way that flows where it is known."""
    unit = _UNITS[quantity][1]
    if snapshot.side != "dc" or is_swapped(snapshot.findings):
        return f"From {live_number(quantity, low)} to {live_number(quantity, high)} {unit}."
    if low < 0 < high:
        ends = (
            f"{live_number(quantity, abs(x))} {unit} {way} the bank" for x, way in ((low, "into"), (high, "out of"))
        )
        return f"From {' to '.join(ends)}."
    least, most = sorted((abs(low), abs(high)))
    way = "into" if low < 0 else "out of"
    return f"From {live_number(quantity, least)} to {live_number(quantity, most)} {unit} {way} the bank."


def _bars(snapshot: Snapshot, recent: Recent) -> list[list[float | None]]:
    """Return the runs in the chart's stretch, each from bucket to bucket; a run that goes on has no end."""
    if snapshot.cycles is None:
        return []
    us = recent.width_s * MICROSECONDS
    bars: list[list[float | None]] = []
    # From the newest back, until they lie left of the chart: a long capture has many.
    for cycle in reversed(snapshot.cycles.cycles):
        stop = None if _goes_on(cycle, snapshot) else seen_until(cycle) / us
        if stop is not None and stop < recent.bucket[0]:
            break
        bars.append([round(cycle.start_us / us, 2), None if stop is None else round(stop, 2)])
    if snapshot.cycles.on_since_first:
        bars.append([float(recent.bucket[0]), None if snapshot.running else float(recent.bucket[-1])])
    return bars


def _goes_on(cycle: Cycle, snapshot: Snapshot) -> bool:
    """Tell whether a run is the one that goes on; the newest reading tells its end before the cycles do."""
    is_newest = snapshot.cycles is not None and cycle is snapshot.cycles.cycles[-1]
    return is_newest and cycle.stop_us is None and snapshot.running is True


def _flags(snapshot: Snapshot, recent: Recent) -> list[list[float | str]]:
    """Return the notes of the chart's stretch, each at its bucket, and what the stretch came to that it began.

    One that was typed just now may be ahead of all readings.
    """
    us = recent.width_s * MICROSECONDS
    totals = {part.from_us: stage.part_total(part, snapshot) for part in snapshot.parts}
    notes = [(at_us, text) for at_us, text in snapshot.notes if at_us / us >= recent.bucket[0]]
    return [
        [round(at_us / us, 2), numbers.shortened(text, _FLAG), totals.get(at_us, "")]
        for at_us, text in notes[-_MOST_FLAGS:]
    ]


def _runs(snapshot: Snapshot) -> dict[str, Any]:
    """Return the newest runs as a table, the newest first."""
    cycles = snapshot.cycles.cycles if snapshot.cycles is not None else ()
    rows = [_run(cycle, snapshot) for cycle in reversed(cycles[-_MOST_RUNS:])]
    took = "Energy" if any(cycle.charge_Ah is None and cycle.energy_Wh is not None for cycle in cycles) else "Charge"
    head = ["Start", "Ran", "Rest before", "Highest at start", "Settled", took]
    load = load_called(snapshot.cycles) if snapshot.cycles is not None else ""
    count = f"; the newest {_MOST_RUNS} of {len(cycles):,}" if len(cycles) > _MOST_RUNS else ""
    note = AT_LEAST if any("≥" in cell for row in rows for cell in row) else ""
    return {"caption": f"Runs of {load}, above what was drawn before{count}", "head": head, "rows": rows, "note": note}


def _run(cycle: Cycle, snapshot: Snapshot) -> list[str]:
    # Amps are what cables and fuses are sized by; a meter behind an inverter may give watts alone.
    in_amps = cycle.surge_A is not None or cycle.run_A is not None
    top = (cycle.surge_A, "A") if in_amps else (cycle.peak_W, "W")
    settled = (cycle.run_A, "A") if in_amps else (cycle.run_W, "W")
    took = (cycle.charge_Ah, "Ah") if cycle.charge_Ah is not None else (cycle.energy_Wh, "Wh")
    return [
        clock.clock(cycle.start_us, snapshot, near_us=snapshot.last_us),
        _ran(cycle, snapshot),
        numbers.duration(cycle.off_before_s),
        bound(numbers.amount(*top), cycle),
        numbers.amount(*settled),
        numbers.amount(*took),
    ]


def _ran(cycle: Cycle, snapshot: Snapshot) -> str:
    """Say how long a run was, or why that is not known."""
    if cycle.run_s is not None:
        return numbers.duration(cycle.run_s)
    if _goes_on(cycle, snapshot):
        return "still running"
    is_newest = snapshot.cycles is not None and cycle is snapshot.cycles.cycles[-1]
    return "just ended" if is_newest and snapshot.running is False else "end not seen"


def _worst_first(snapshot: Snapshot) -> list[Finding]:
    return sorted(snapshot.findings, key=lambda finding: SEVERITIES.index(finding.severity))


def _finding(finding: Finding) -> dict[str, str]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "plain": numbers.sentence(numbers.shortened(finding.plain or finding.title, _FULL)),
        "title": numbers.shortened(finding.title, _FULL),
        "evidence": numbers.sentence(numbers.shortened(finding.evidence, _FULL)),
        "check_first": numbers.shortened(finding.check_first, _FULL),
        "limit": numbers.sentence(numbers.shortened(finding.limit, _FULL)),
        "source": numbers.sentence(numbers.shortened(finding.source, _FULL)),
    }


def _nothing_found(snapshot: Snapshot) -> str:
    """Say what it means that there is no finding."""
    if snapshot.cycles is None:
        return "Runs cannot be told from what this meter gives."
    # Silence early on is no praise of the pump.
    if (runs := snapshot.cycles.summary.count) < LEAST_CYCLES:
        load = load_called(snapshot.cycles)
        return (
            f"None on {load} so far. Most checks need {LEAST_CYCLES} runs; {numbers.counted(runs, 'was', 'were')} seen."
        )
    return "Nothing so far crosses a limit that could be checked."


def _trouble(snapshot: Snapshot) -> str:
    counts = [f"{count:,} × {numbers.shortened(kind)}" for kind, count in sorted(snapshot.trouble.items())]
    return f"Trouble with the meter so far: {', '.join(counts)}" if counts else ""


def _news(snapshot: Snapshot) -> list[list[str]]:
    """Return what is worth being told aloud, each with a key: a viewer is told each once, the last ones last."""
    # The key is what a viewer remembers: a finding that grows worse has another, and is told again.
    name = numbers.shortened(snapshot.name)
    news = [["connected", f"{name}: connected"] if snapshot.connected else ["lost", f"{name}: not connected"]]
    for f in snapshot.findings:
        news.append([f"finding {f.code} {f.severity}", f"{f.severity}: {numbers.shortened(f.title, _FULL)}"])
    if snapshot.cycles is not None and snapshot.cycles.cycles:
        count, last = snapshot.cycles.summary.count, snapshot.cycles.cycles[-1]
        at = clock.clock(last.start_us, snapshot, near_us=snapshot.last_us)
        news.append([f"start {count}", f"start {count} at {at}"])
    return news
