"""What was seen of a meter, row by row, for a page: devices, what changed, candidates, SunSpec models."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ...ingest.modbus.find import Candidate
from ...ingest.modbus.probe import ModelSeen
from ...ingest.modbus.sunspec import NO_SIGN, READABLE
from ...ingest.modbus.watch import Change, Watch
from ..render.wording.numbers import shortened, true_minus
from .finding import DisplaySearch, given_words
from .meter_search import MeterSearch
from .watching import place_words, refusal_lines, shown_number, units_words

#: So many values of a model are shown.
_MOST_VALUES = 8


@dataclass(frozen=True)
class ChangedRow:
    """A number that changed: where, how it is read, from what to what, its reach, and what it may be as well."""

    place: str
    read_as: str
    first: str
    now: str
    reach: str
    others: str
    by_itself: bool
    moved_now: bool


@dataclass(frozen=True)
class CandidateRow:
    """A candidate: where it stands, how it is read, what it gives and why it may be right."""

    place: str
    read_as: str
    scale: str
    gives: str
    why: str


@dataclass(frozen=True)
class SunSpecChoice:
    """A SunSpec model that a capture can read: its name, its values, and the sources it is read by, each with a label.

    Where nobody but the person knows which way its amps flow, ``asks`` is the amps it gives now.
    """

    title: str
    values: tuple[tuple[str, str], ...]
    sources: tuple[tuple[str, str], ...]
    asks: str = ""


def device_lines(watch: Watch) -> tuple[list[str], list[str]]:
    """Return which units answer, and what they refuse, in sentences without a command's options."""
    refused = [line.replace(" with --registers FIRST-LAST", " below") for line in refusal_lines(watch.devices)]
    return [units_words(device.units) for device in watch.devices], refused


def change_row(change: Change, watch: Watch) -> ChangedRow:
    """Return a change in words."""
    first, *others = change.meanings
    lowest, highest = (shown_number(value, first) for value in (first.lowest, first.highest))
    return ChangedRow(
        place_words(change, watch.devices),
        first.name,
        shown_number(first.before, first),
        shown_number(first.now, first),
        f"{lowest} to {highest}",
        ", ".join(f"{each.name} {shown_number(each.now, each)}" for each in others),
        change.by_itself,
        change.moved_now,
    )


def candidate_row(candidate: Candidate, display: DisplaySearch, of: str) -> CandidateRow:
    """Return a candidate in words."""
    several = len(display.watch.devices) > 1
    order = ", low word first" if candidate.word_order == "little" else ""
    return CandidateRow(
        f"{f'unit {candidate.unit} ' if several else ''}{candidate.table} {candidate.address}",
        f"{candidate.type}{order}",
        f"{candidate.scale:g}",
        given_words(candidate, display.shown()[of]),
        "; ".join([*candidate.reasons, *(f"the same at {table} {at}" for table, at in candidate.same_at)]),
    )


def sunspec_choices(search: MeterSearch) -> list[SunSpecChoice]:
    """Return the models of all devices that a capture can read."""
    if search.address is None:
        return []
    return [
        _choice(search, unit.unit, model)
        for unit in search.units
        for model in unit.models
        if model.readable and model.number in READABLE
    ]


def _choice(search: MeterSearch, unit: int, model: ModelSeen) -> SunSpecChoice:
    assert search.address is not None
    # The same bus, read by the models: unit and model are named, so that a capture takes no other one.
    kind = search.address.kind.replace("modbus", "sunspec")
    settings = {name: text for name, text in search.address.settings.items() if name != "unit"}
    settings |= {"unit": str(unit), "model": str(model.number)}
    values = [(name, f"{_value(value)} {symbol}".strip()) for name, (value, symbol) in model.values.items()]
    title = f"SunSpec model {model.number}, {shortened(model.label)}, unit {unit}"

    def source(**more: str) -> str:
        query = "&".join(f"{name}={text}" for name, text in {**settings, **more}.items())
        return f"{kind}:{search.address.place if search.address else ''}?{query}"

    shown = tuple(values[:_MOST_VALUES])
    if model.number == NO_SIGN:
        amps = model.values.get("A", (0, ""))[0]
        if not isinstance(amps, int | float) or amps == 0:
            return SunSpecChoice(title, shown, (), "0 A")
        # What flows now says which sign is the draw: the first answer is that it flows out.
        ways = ("draw_positive", "return_positive") if amps > 0 else ("return_positive", "draw_positive")
        labels = ("Out of the bank: read it", "Into the bank: read it")
        sources = tuple((label, source(sign=way)) for label, way in zip(labels, ways, strict=True))
        return SunSpecChoice(title, shown, sources, f"{_value(amps)} A")
    return SunSpecChoice(title, shown, tuple(_sides(model, source)))


def _sides(model: ModelSeen, source: Callable[..., str]) -> Iterator[tuple[str, str]]:
    sides = {"dc": "Read its bank side (DC)", "ac": "Read its AC side"}
    for side in READABLE[model.number]:
        yield sides[side], source(side=side)


def _value(value: float | str) -> str:
    return shortened(value) if isinstance(value, str) else true_minus(f"{value:g}")
