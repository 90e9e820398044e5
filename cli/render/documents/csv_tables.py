"""A report as tables for a spreadsheet: what its JSON holds in lists, a file each kind, a row each item."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from ..wording.clock import zone_of
from .csv_over_logs import BY_DAY, by_day_text, trend_rows
from .csv_text import Cell, csv_text
from .parts import Document
from .report import report_document

if TYPE_CHECKING:
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.several_logs.report import Report

TableRows = Callable[[Document], Iterable[Document]]
#: How each instant stands in a table: as in JSON; as a clock on the wall showed it, to the millisecond, which a
#: spreadsheet reads as a time; what that clock is before UTC; and since the log's first reading.
_OF_INSTANT: Final = ("utc", "local", "offset_h", "elapsed_s")
_NOUGHT = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class TableKind:
    """One kind of table: its columns beside ``log``, and where in the JSON of a log its rows are.

    A column written ``@start`` is the instant that JSON calls ``start``: it becomes the four columns of an instant.
    """

    columns: str
    rows: TableRows

    @property
    def instants(self) -> list[str]:
        """What JSON calls the instants of a row."""
        return [column[1:] for column in self.columns.split() if column.startswith("@")]

    @property
    def head(self) -> list[str]:
        """Names of the columns."""
        names = ["log"]
        for column in self.columns.split():
            names += [f"{column[1:]}_{part}" for part in _OF_INSTANT] if column.startswith("@") else [column]
        return names


def csv_files(report: Report) -> dict[str, str]:
    """Return the tables of a report by the names of their files; a kind with nothing to tell has its head alone."""
    document = report_document(report)
    logs = [(log.facts, parts) for log, parts in zip(report.logs, document["logs"], strict=True)]
    cells = {name: list(_cells(kind, logs)) for name, kind in KINDS.items()}
    if report.over is not None:
        # A month of logs of a day each has its trends only in all of them.
        head = KINDS["trends"].head
        cells["trends"] += [[row.get(column) for column in head] for row in trend_rows(report.over)]
    tables = {f"{name}.csv": csv_text(KINDS[name].head, rows) for name, rows in cells.items()}
    return {**tables, f"{BY_DAY}.csv": by_day_text(report)}


def _cells(kind: TableKind, logs: Iterable[tuple[LogFacts, Document]]) -> Iterator[list[Cell]]:
    for facts, parts in logs:
        of_log = {"log": facts.name, "zone": None if facts.undated else zone_of(facts)[0]}
        start = _start(facts, parts["charge"]["span"]["start"])
        for row in kind.rows(parts):
            cells = row | of_log
            # The text of an instant stays in the row under its JSON key, which is no column and so is not written.
            for name in kind.instants:
                cells |= {f"{name}_{part}": cell for part, cell in _instant(row[name], facts, start).items()}
            yield [cells[name] for name in kind.head]


def _start(facts: LogFacts, first: str | None) -> datetime:
    """Return the instant that elapsed time counts from: the first reading, or nought of a log without dates."""
    return _NOUGHT if facts.undated or first is None else datetime.fromisoformat(first)


def _instant(text: str | None, facts: LogFacts, start: datetime) -> dict[str, Cell]:
    """Return an instant's columns; of one in a log without dates only the time since its start is known."""
    cells: dict[str, Cell] = dict.fromkeys(_OF_INSTANT)
    if text is None:
        return cells
    moment = datetime.fromisoformat(text)
    cells["elapsed_s"] = (moment - start) / timedelta(seconds=1)
    if facts.undated:
        return cells
    here = moment.astimezone(zone_of(facts)[1])
    offset_h = (here.utcoffset() or timedelta(0)) / timedelta(hours=1)
    return cells | {"utc": text, "local": _wall(here), "offset_h": offset_h}


def _wall(here: datetime) -> str:
    """Return a local time without its offset, to the millisecond: what spreadsheets take for a time."""
    # Half a millisecond on, since isoformat cuts and does not round: readings of whole seconds stay whole.
    rounded = here.replace(tzinfo=None) + timedelta(microseconds=500)
    timespec = "milliseconds" if rounded.microsecond >= 1000 else "seconds"
    return rounded.isoformat(sep=" ", timespec=timespec)


def _whole(parts: Document) -> Iterator[Document]:
    charge, facts = parts["charge"], parts["charge"]["log"]
    # One row holds charge and energy: keys without a unit, which both have, say whose they are.
    energy = {f"energy_{key}" if "_Wh" not in key else key: value for key, value in charge["energy"].items()}
    span = charge["span"] | {"gaps": len(charge["span"]["gaps"])}
    yield facts | span | charge["charge"] | energy | {"coverage_factor": charge["coverage_factor"]}


def _findings(parts: Document) -> Iterator[Document]:
    for finding in parts["findings"]:
        # A cell holds one value: of the starts a finding rests on it tells how many, the first and the last.
        starts = finding["cycles"]
        first, last = (starts[0], starts[-1]) if starts else (None, None)
        yield finding | {"cycles": len(starts), "first_cycle": first, "last_cycle": last}


def _ledger(lines: str) -> TableRows:
    def rows(parts: Document) -> Iterator[Document]:
        for line in parts["ledger"][lines]:
            state, paid, worn = line["state_at_end_pct"] or {}, line.get("payback") or {}, line["wear"] or {}
            yield (
                line
                | line["charge"]
                | line["energy"]
                | {
                    "state_at_end_pct": state.get("value"),
                    "state_at_end_low_pct": state.get("low"),
                    "state_at_end_high_pct": state.get("high"),
                    **{f"full_cycles{end}": _end(worn, "full_cycles", which) for end, which in _WITHIN},
                    "depth_pct": worn.get("depth_pct"),
                    **{f"life{end}_pct": _end(worn, "life_pct", which) for end, which in _WITHIN},
                    **{f"life_cost{end}": _end(worn, "cost", which) for end, which in _WITHIN},
                    "currency": worn.get("currency"),
                    "owed_Ah": paid.get("owed_Ah"),
                    "still_owed_Ah": paid.get("still_owed_Ah"),
                    "paid": paid.get("paid"),
                    "payback_not_measured_s": paid.get("not_measured_s"),
                }
            )

    return rows


def _days(parts: Document) -> Iterator[Document]:
    """Yield the ledger's days with what the pump's runs say of each."""
    pump = {day["date"]: day for day in (parts["cycles"]["pump_pulse"] or {"days": ()})["days"]}
    for line in _ledger("days")(parts):
        # A day on which the pump did not run is in the ledger all the same.
        day: Document = pump.get(line["date"]) or {}
        quiet: Document = day.get("longest_without_start") or {}
        yield (
            line
            | {f"flow{end}_L_per_min": _end(day, "flow_L_per_min", which) for end, which in _WITHIN}
            | {f"pumped{end}_L": _end(day, "pumped_L", which) for end, which in _WITHIN}
            | {"fill_s": _end(day, "fill_s", "value"), "running_s": day.get("running_s")}
            | {"longest_without_start_s": quiet.get("lasted_s")}
        )


#: How a column ends that holds a figure, or an end of its interval, and what JSON calls that.
_WITHIN: Final = (("", "value"), ("_low", "low"), ("_high", "high"))


def _end(worn: Document, key: str, which: str) -> Cell:
    figure: Document = worn.get(key) or {}
    return figure.get(which)


def _trends(parts: Document) -> Iterator[Document]:
    for trend in parts["cycles"]["trends"]:
        sure = trend["low"] > 0 or trend["high"] < 0
        verdict = ("rising" if trend["per_day"] > 0 else "falling") if sure else "no change to be told"
        yield trend | {"stretch": "all", "verdict": verdict}


def _starts(parts: Document) -> Iterator[Document]:
    starts = parts["cycles"]["starts"]
    # A load that is no motor has no row: none of its starts was asked about.
    if starts is not None:
        # Of height and length one may be known alone, so each has its own ends.
        length, height = starts["length_s"], starts["height"]
        ends = {f"length{end}_s": length[which] for end, which in _WITHIN}
        yield (
            ends
            | {f"height{end}": height[which] for end, which in _WITHIN}
            | {"count": starts["count"], "why_not": length["why_not"]}
        )


def _steps(parts: Document) -> Iterator[Document]:
    plate = parts["nameplate"] or {"load": None, "chain": ()}
    return ({"load": plate["load"]} | step for step in plate["chain"])


def _paper_steps(parts: Document) -> Iterator[Document]:
    """Yield the steps from the plate to amp-hours, then those back from the measured ones."""
    # One table for both, since they have the same columns: which way a row goes is one of them.
    plate = parts["nameplate"] or {"load": None, "steps": (), "steps_back": ()}
    for direction, key in (("to Ah", "steps"), ("from Ah", "steps_back")):
        yield from ({"load": plate["load"], "direction": direction} | step for step in plate[key])


def _reasons(parts: Document) -> Iterator[Document]:
    plate = parts["nameplate"] or {}
    for between in ("paper_to_estimate", "estimate_to_measured"):
        explained = plate.get(between) or {"parts": ()}
        yield from ({"load": plate["load"], "between": between} | part for part in explained["parts"])


_AMOUNTS = " ".join(
    f"{key}_{what}{unit}" for unit in ("Ah", "Wh") for key in ("drawn", "returned", "net") for what in ("", "u95_")
)
_ENDS = " ".join(
    f"{key}_{what}_{unit}" for unit in ("Ah", "Wh") for key in ("drawn", "returned", "net") for what in ("low", "high")
)
_LINE = (
    f"zone @start @stop length_s measured_s not_measured_s {_AMOUNTS} {_ENDS} highest_A sustained_A highest_W "
    "sustained_W starts state_at_end_pct state_at_end_low_pct state_at_end_high_pct @state_at full_cycles "
    "full_cycles_low full_cycles_high depth_pct life_pct life_low_pct life_high_pct life_cost life_cost_low "
    "life_cost_high currency"
)
_PUMP = (
    "running_s fill_s flow_L_per_min flow_low_L_per_min flow_high_L_per_min pumped_L pumped_low_L pumped_high_L "
    "longest_without_start_s"
)
#: Every table that is written, by its file's name.
KINDS: Final = {
    "charge": TableKind(
        f"meter side sampling zone zone_assumed @start @stop readings covered_s uncovered_s gaps {_AMOUNTS} {_ENDS} "
        "energy_from energy_covered_s energy_uncovered_s coverage_factor",
        _whole,
    ),
    "gaps": TableKind("zone @start @stop", lambda parts: parts["charge"]["span"]["gaps"]),
    "budget": TableKind("source u_Ah u_Wh share reason", lambda parts: parts["charge"]["uncertainty"]),
    "cycles": TableKind(
        "load zone @start @stop run_s off_before_s surge_A surge_ratio surge_resolved run_A peak_W run_W charge_Ah "
        "charge_u95_Ah energy_Wh energy_u95_Wh sag_V before_V lowest_V begin_V end_V complete "
        "start_within_s stop_within_s array_may_share draws_less so_far_Ah so_far_u95_Ah so_far_Wh so_far_u95_Wh "
        "so_far_s base_A base_W base_drift_A base_drift_W straight_Ah straight_Wh start_s",
        lambda parts: parts["cycles"]["cycles"],
    ),
    "findings": TableKind(
        "code severity title plain evidence limit source causes check_first first_step cycles zone @first_cycle "
        "@last_cycle",
        _findings,
    ),
    "checks": TableKind("code outcome said limit source", lambda parts: parts["cycles"]["checks"]),
    "trends": TableKind("name usual per_day low high span_d count stretch verdict", _trends),
    "starts": TableKind("length_s length_low_s length_high_s height height_low height_high count why_not", _starts),
    "days": TableKind(f"date {_LINE} {_PUMP}", _days),
    "demos": TableKind(f"text {_LINE} owed_Ah still_owed_Ah @paid payback_not_measured_s", _ledger("demos")),
    "marked": TableKind(
        "text zone @start @stop drawn_Ah drawn_u95_Ah energy_Wh energy_u95_Wh", lambda parts: parts["marked"]
    ),
    "nameplate": TableKind("load step value unit from", _steps),
    "paper_steps": TableKind(
        "load direction name paper measured plate unit basis how_on_paper how_measured why of_difference_Wh "
        "of_difference_Ah",
        _paper_steps,
    ),
    "reasons": TableKind("load between source energy_Wh charge_Ah share before after unit basis because", _reasons),
}
#: What all files are called.
FILES: Final = (*(f"{name}.csv" for name in KINDS), f"{BY_DAY}.csv")
