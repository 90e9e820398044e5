"""How results become JSON: field by field, and by a table of names where a key differs from its field."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import is_dataclass
from datetime import date
from functools import lru_cache
from itertools import islice
from math import isfinite
from typing import Any, Final, NamedTuple

from ....analysis.not_known import Missing
from ...door import say_json
from ..wording.clock import moment_of

Document = dict[str, Any]

#: Writes what holds nothing else.
_plain: Final = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
#: So many pieces of a document's text are printed at once. [1]
_AT_ONCE: Final = 1 << 12

_CHARGE = "drawn_Ah=charge.drawn drawn_u95_Ah=charge.drawn_u95"
#: The keys of a class that is not written field by field, each ``key=path:how``: under which key, which attribute (of
#: an attribute, of each of a tuple), and by which of `HOW`. A lone path is its own key, without ``_us``, which makes an
#: instant of it; ``*path`` sets the keys of a part among those of the whole. Classes are named and not imported, so
#: that a command loads no result that it does not have.
KEYS: Final = {
    "LogReport": "log=facts span=charge.span load=cycles.load",
    "LogFacts": "name meter side sampling zone zone_assumed undated gap_limit_s usual_interval_s source rows_read "
    "rows_kept rows_rejected rows_merged notes=remarks",
    "Span": "start_us stop_us readings covered_s uncovered_s gaps",
    "MarkedStretch": f"text start_us stop_us {_CHARGE} energy_Wh=energy.drawn energy_u95_Wh=energy.drawn_u95",
    "ZeroCheck": "from_us to_us readings offset_A u_A",
    "Spacing": "usual_s low_s high_s irregularity",
    "CycleSummary": "count starts_per_hour duty_cycle median_run_s median_off_s other_runs charge_Ah charge_u95_Ah "
    "energy_Wh energy_u95_Wh runs_too_brief=too_brief",
    "LoadStarts": "length_s:figure height:figure count",
    "Finding": "code severity title plain evidence limit source causes check_first first_step cycles:instant",
    "Check": "code outcome limit:text source:text said=remark:text",
    "ChainStep": "step value unit from=origin",
    "LessonStep": "name paper measured unit why plate basis how_on_paper how_measured=how_really "
    "of_difference_Wh=energy_Wh of_difference_Ah=charge_Ah",
    "PlateCheck": "load=estimate.load run_h=estimate.run_h runs=runs.runs runs_left_out=runs.left_out "
    "chain=estimate.steps assumptions=estimate.assumptions *comparison measured_energy_u95_Wh=runs.energy_u95_Wh "
    "measured_charge_u95_Ah=runs.charge_u95_Ah paper_to_estimate=left_out_on_paper estimate_to_measured=why by_habit "
    "remarks",
    "Explained": "energy_from_Wh=energy.estimated energy_to_Wh=energy.measured energy_difference_Wh=energy.difference "
    "charge_from_Ah=charge.estimated charge_to_Ah=charge.measured charge_difference_Ah=charge.difference parts=reasons",
    "SystemWord": "verdict sentence",
    "BankCheck": "verdict not_judged:why add=decides compared=parts",
    "Wear": "*whole falls deepest_fall_pct life_full_cycles=life.full_cycles life_by=life.by "
    "life_why_not=life:why assumptions",
    "Draw": "what *rate rate_h=rate.hours runtime:or_why",
    "InverterReport": "name=planned.inverter verdict planned seen:or_why",
    "MeasuredAc": "what peak_W sustained_W sustained peak:or_why assumptions",
    "ConductorCheck": "name=conductor verdict protection resistance_mohm:known resistance_why_not=resistance_mohm:why "
    "running:or_why starting:or_why wanted_A breaking screened assumptions",
    "WaterReport": "plan:or_why seen:or_why usual_run_s=run_s usual_rest_s=off_s cycle_Wh cost:or_why lifting:or_why "
    "air_in_doubt",
    "PumpPulse": "flow:or_why pumped:or_why longest_without_start=without_start days trend:or_why",
    "WithoutStart": "start_us stop_us lasted_s at_least",
    "PulseDay": "date start_us stop_us measured_s running_s starts fill_s flow_L_per_min pumped_L "
    "longest_without_start=without_start",
    "Solar": "day:or_why returned_Wh daily_use_Wh=use.day_Wh.value daily_use_low_Wh=use.day_Wh.low "
    "daily_use_high_Wh=use.day_Wh.high daily_use_why_not=use.day_Wh:why daily_from_bank_Wh=use.from_bank_Wh",
    "ChargerSpell": "charger start_us stop_us first_A last_A decided",
    "UnnamedSource": "at=at_us:instant current_A",
    "Payback": "owed_Ah paid_us still_owed_Ah more_since_Ah not_measured_s=uncovered_s assumptions",
    "PairedLogs": "at_bank behind why_not",
    "InverterMeasured": "clock_offset=clocks load_W efficiency:figure steps idle_W:figure losses said=sentences",
    "ClockOffset": "offset_s offset_u95_s=u95_s drift_ppm drift_u95_ppm=u95_ppm steps_matched steps_missed",
    "LossFit": "idle_W:figure proportional:figure square_per_W:figure assumptions",
    "LogComparison": "before after one_meter nothing_differs figures=rows left_out:or_why findings notes=remarks",
    "Compared": "code name unit before after difference:known ratio differs why_not=difference:why "
    "in_common=cancels:text",
    "ComparedFinding": "change judged_in_both=judged *finding",
    "OverLogs": "side zone whole logs days trends calendar before_after=change findings checks left_out notes=remarks "
    "pump_pulse=pump",
    "PumpOverLogs": "days trend:or_why falls per_day_L",
    "DayFigures": f"{_CHARGE} returned_Ah=charge.returned returned_u95_Ah=charge.returned_u95 drawn_Wh=energy.drawn "
    "drawn_u95_Wh=energy.drawn_u95 returned_Wh=energy.returned returned_u95_Wh=energy.returned_u95 measured_s "
    "drawn_Ah_per_h drawn_Wh_per_h starts starts_per_h duty_cycle median_run_s median_rest_s run_W run_A sag_V "
    "start_s start_height busiest_hour load_Ah=use.charge_Ah load_u95_Ah=use.charge_u95_Ah load_Wh=use.energy_Wh "
    "load_u95_Wh=use.energy_u95_Wh load_at_least=use.at_least runs_too_brief=too_brief",
    "Day": "date start_us stop_us *figures",
    "DayTrend": "stretch code name unit usual per_day span_d count verdict why:text change",
    "CalendarCell": "starts measured_s length_s whole",
    "BeforeAfter": "at_us note=text:text named before_days after_days notes=remarks comparison steps",
    "FigureStep": "code name unit before after clear",
    "FoundOften": "code=finding.code severity=finding.severity title=finding.title plain=finding.plain "
    "logs=logs.facts.name",
    "LeftOut": "log=log.facts.name why",
}


class Key(NamedTuple):
    """One word of `KEYS`: the key, the names that lead to its value, and how that is written; no key merges it."""

    key: str
    path: tuple[str, ...]
    how: str


def print_json(document: Mapping[str, Any]) -> None:
    """Print one document alone; what is not a finite number becomes null, an iterator its items."""
    # In pieces: the whole text of thousands of days or notes would take hundreds of megabytes.
    pieces = _pieces(document)
    say_json(iter(lambda: "".join(islice(pieces, _AT_ONCE)), ""))


def _pieces(value: Any, margin: str = "\n") -> Iterator[str]:  # noqa: ANN401 - any JSON value that holds others
    """Yield a value's text as `json.dumps` indents it; each line begins with `margin`."""
    begin, end = "{}" if isinstance(value, Mapping) else "[]"
    if not value:
        yield begin + end
        return
    inner = margin + "  "
    for key, item in value.items() if isinstance(value, Mapping) else ((None, item) for item in value):
        name = begin + inner if key is None else f"{begin}{inner}{_plain(str(key))}: "
        if isinstance(item, (Mapping, list, tuple, Iterator)):
            yield name
            yield from _pieces(item, inner)
        else:
            yield name + _plain(None if isinstance(item, float) and not isfinite(item) else item)
        begin = ","
    yield margin + end


def document_of(item: Any) -> Any:  # noqa: ANN401 - any result, nested
    """Return a result with all in it; what is missing says what to add, in place of the figure."""
    if isinstance(item, Missing):
        return {"value": None, **_why_not(item)}
    if isinstance(item, (tuple, list)):
        return [document_of(each) for each in item]
    if isinstance(item, Mapping):
        return {key: document_of(value) for key, value in item.items()}
    if isinstance(item, date):
        return item.isoformat()
    return _written(item, _parsed(_words_of(item))) if is_dataclass(item) else item


def named(item: object, words: str) -> Document:
    """Return some attributes of an object, in words as `KEYS` has them."""
    return _written(item, _parsed(words))


def or_why(item: Any) -> Any:  # noqa: ANN401 - any result, or a Missing
    """Return a result with all in it, or why there is none."""
    return _why_not(item) if isinstance(item, Missing) else {"why_not": None, **document_of(item)}


def instant(us: int | None) -> str | None:
    """Return an instant, microseconds since 1970, as ISO 8601 in UTC."""
    return None if us is None else moment_of(us).isoformat().replace("+00:00", "Z")


def _why_not(item: Missing) -> Document:
    return {"why_not": item.sentence, "add": list(item.add)}


def _figure(item: Any) -> Document:  # noqa: ANN401 - a Within, or a Missing
    """Return a figure with its ends; all null, with the reason, where it is missing: a script finds its keys anyhow."""
    if isinstance(item, Missing):
        return {"value": None, "low": None, "high": None, "why_not": item.sentence}
    return {**document_of(item), "why_not": None}


#: The ways to write a value: field by field; null where it is missing; why it is missing, null where it is not; both in
#: one; a figure with its ends; an instant; a text, null where it is empty.
HOW: Final[dict[str, Callable[[Any], Any]]] = {
    "": document_of,
    "known": lambda item: None if isinstance(item, Missing) else document_of(item),
    "why": lambda item: item.sentence if isinstance(item, Missing) else None,
    "or_why": or_why,
    "figure": _figure,
    "instant": instant,
    "text": lambda text: text or None,
}


def _written(item: object, keys: tuple[Key, ...]) -> Document:
    document: Document = {}
    for key, path, how in keys:  # a key that a merged part has as well keeps its place and takes the later value
        value = _value_at(item, path)
        # Each of a list by itself: so a list of instants or of reasons wants no way of its own.
        written = [HOW[how](each) for each in value] if isinstance(value, tuple) else HOW[how](value)
        document |= {key: written} if key else written
    return document


def _value_at(item: Any, path: tuple[str, ...]) -> Any:  # noqa: ANN401 - any result
    """Follow names from a result: of something unknown or missing to nothing, of a tuple to a value of each."""
    for place, name in enumerate(path):
        if item is None or isinstance(item, Missing):
            return None
        if isinstance(item, tuple):
            return tuple(_value_at(each, path[place:]) for each in item)
        item = getattr(item, name)
    return item


def _words_of(item: Any) -> str:  # noqa: ANN401 - any dataclass
    return KEYS.get(type(item).__name__) or " ".join(item.__dataclass_fields__)


@lru_cache(maxsize=256)
def _parsed(words: str) -> tuple[Key, ...]:
    keys = []
    for word in words.split():
        key, _, rest = word.rpartition("=")
        path, _, how = rest.partition(":")
        own = "" if path.startswith("*") else path.removesuffix("_us")
        way = how or ("instant" if path.endswith("_us") else "")
        keys.append(Key(key or own, tuple(path.lstrip("*").split(".")), way))
    return tuple(keys)
