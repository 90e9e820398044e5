"""The boxes of a display profile as a person draws and types them, and what is wrong with them, field by field."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

if TYPE_CHECKING:
    from ...ingest.film.display import Display, FieldEntry

#: What a display may show, by its unit, in the order in which displays are asked about.
UNITS: Final = (
    *(("A", "amps (A)"), ("V", "volts (V)"), ("W", "watts (W)"), ("mA", "milliamps (mA)"), ("mV", "millivolts (mV)")),
    *(("kW", "kilowatts (kW)"), ("Ah", "amp-hours (Ah)"), ("Wh", "watt-hours (Wh)"), ("kWh", "kilowatt-hours (kWh)")),
    *(("Hz", "hertz (Hz)"), ("degC", "degrees Celsius"), ("degF", "degrees Fahrenheit")),
)
POINTS: Final = (
    *(
        ("0", "none: whole numbers"),
        ("1", "before the last digit"),
        ("2", "before the last 2"),
        ("3", "before the last 3"),
    ),
    *(("4", "before the last 4"), ("seen", "it moves: see it in the picture")),
)
SIGNS: Final = (("", "no"), ("yes", "yes, in a place of its own"))
SHOWS: Final = (("", "find out"), ("light", "light on dark"), ("dark", "dark on light"))
SAMPLINGS: Final = (("mean", "the mean since it last changed"), ("held", "what was there at that moment"))
SIDES: Final = (("dc", "at the bank (DC)"), ("ac", "behind an inverter (AC)"))

#: Corners as they are typed: numbers, and what may stand between them.
_NUMBER: Final = re.compile(r"-?\d+(?:\.\d+)?")
_BETWEEN: Final = re.compile(r"[\s,;()\[\]]*")
#: How a sentence about a profile names one of its displays.
_FIELD: Final = re.compile(r"fields\[(\d+)\]")
#: The numbers of four corners; and more than any text of them has. [1], [characters]
_OF_CORNERS: Final = 8
_MOST_TYPED: Final = 300
#: As many displays as a profile may name.
MOST_BOXES: Final = 12


@dataclass(frozen=True)
class TypedBox:
    """A box and what stands in it, as the form has it; ``in_turn`` is JSON of what only a profile by hand can say."""

    corners: str = ""
    unit: str = "A"
    digits: str = "4"
    decimals: str = "1"
    signed: str = ""
    shows: str = ""
    in_turn: str = ""


@dataclass(frozen=True)
class TypedDisplay:
    """All that a display profile says, as the form has it."""

    boxes: Sequence[TypedBox] = (TypedBox(),)
    sampling: str = "mean"
    side: str = "dc"
    delay_s: str = ""
    meter: str = ""


@dataclass(frozen=True)
class CheckedDisplay:
    """What a form comes to: each box that is whole and right, the profile where all are, and what is wrong by field."""

    entries: Sequence[FieldEntry | None]
    display: Display | None
    wrong: Mapping[str, str] = field(default_factory=dict)


def typed_display(display: Display) -> TypedDisplay:
    """Return a display profile as the form has it."""
    boxes = tuple(_typed_box(entry) for entry in display.fields)
    return TypedDisplay(boxes, display.sampling, display.side, f"{display.delay_s:g}", display.meter or "")


def _typed_box(entry: FieldEntry) -> TypedBox:
    # A display that shows several quantities in turn is described by hand; the form carries that on as it stands.
    turns = [one.model_dump(exclude_none=True) for one in entry.in_turn]
    return TypedBox(
        corners=" ".join(f"{x:g},{y:g}" for x, y in entry.corners),
        unit=entry.unit or "",
        digits=str(entry.digits),
        decimals=str(entry.decimals),
        signed="yes" if entry.signed else "",
        shows=entry.shows or "",
        in_turn=json.dumps(turns) if turns else "",
    )


def next_box(boxes: Sequence[TypedBox]) -> TypedBox:
    """Return an empty box for the quantity that most likely comes next."""
    units = {box.unit for box in boxes}
    return TypedBox(unit=next((unit for unit, _ in UNITS if unit not in units), "A"))


def checked(typed: TypedDisplay) -> CheckedDisplay:
    """Return what a form comes to; what is wrong stands under its field's id, such as ``corners-2``."""
    from ...ingest.film.display import Display, FieldEntry

    wrong: dict[str, str] = {}
    parts: list[dict[str, Any]] = []
    entries: list[FieldEntry | None] = []
    for number, box in enumerate(typed.boxes, start=1):
        values, mistakes = _values_of(box)
        entry: FieldEntry | None = None
        if not mistakes:
            try:
                entry = FieldEntry.model_validate(values)
            except ValidationError as error:
                mistakes = dict(_by_key(error))
        wrong |= {f"{key}-{number}": sentence for key, sentence in mistakes.items()}
        parts.append(values)
        entries.append(entry)
    delay_s = _decimal(typed.delay_s or "1")
    if delay_s is None:
        wrong["delay_s"] = "Write the seconds as a number, such as 1."
    if wrong:
        return CheckedDisplay(entries, None, wrong)
    top = {"fields": parts, "sampling": typed.sampling, "side": typed.side, "delay_s": delay_s}
    try:
        return CheckedDisplay(entries, Display.model_validate(top | ({"meter": typed.meter} if typed.meter else {})))
    except ValidationError as error:
        # What is wrong with all of them together is told once, above them.
        return CheckedDisplay(
            entries, None, {key if key in {"delay_s", "meter"} else "": s for key, s in _by_key(error)}
        )


def corners_of(text: str) -> list[list[float]] | None:
    """Return four corners as they are typed, such as ``212,96 420,104 416,178 208,168``; None where they are none."""
    numbers = [float(number) for number in _NUMBER.findall(text[:_MOST_TYPED])]
    if len(numbers) != _OF_CORNERS or len(text) > _MOST_TYPED or not _BETWEEN.fullmatch(_NUMBER.sub("", text)):
        return None
    return [[_whole(x), _whole(y)] for x, y in zip(numbers[::2], numbers[1::2], strict=True)]


def _values_of(box: TypedBox) -> tuple[dict[str, Any], dict[str, str]]:
    """Return a box as a profile has it, and what cannot be read of it."""
    corners = corners_of(box.corners)
    digits = int(box.digits) if re.fullmatch(r"[0-9]{1,2}", box.digits) else None
    wrong = {}
    if not box.corners:
        wrong["corners"] = "Its box is still to be drawn."
    elif corners is None:
        wrong["corners"] = "Write four corners, x and y of each: top left, top right, bottom right, bottom left."
    if digits is None:
        wrong["digits"] = "Count the places for digits, such as 4."
    # What is no number goes to the model as it was typed, which says in its own words what may stand there.
    values: dict[str, Any] = {"corners": corners, "digits": digits, "signed": box.signed == "yes"}
    values["decimals"] = int(box.decimals) if re.fullmatch(r"[0-9]", box.decimals) else box.decimals
    if box.shows:
        values["shows"] = box.shows
    if box.in_turn:
        # A browser sends it back, and a browser may send anything.
        try:
            values["in_turn"] = json.loads(box.in_turn)
        except (ValueError, RecursionError):
            wrong["in_turn"] = "What it shows in turn cannot be read; load the profile again."
    else:
        values["unit"] = box.unit
    return values, wrong


def _by_key(error: ValidationError) -> Iterable[tuple[str, str]]:
    """Yield what a model says is wrong, by the key it is about; the first of each."""
    # Of several about one key the first is what stays, once they stand in a mapping.
    for one in reversed(error.errors()):
        key = next((str(part) for part in one["loc"] if isinstance(part, str) and part != "fields"), "")
        sentence = _FIELD.sub(r"display \1", one["msg"].removeprefix("Value error, ").removeprefix("Input "))
        yield key or _key_in(sentence), f"{sentence[:1].upper()}{sentence[1:]}."


def _key_in(sentence: str) -> str:
    # What a model says of a box as a whole names no key.
    return "decimals" if "behind the point" in sentence else "corners" if "picture" in sentence else ""


def _decimal(text: str) -> float | None:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return _whole(value) if math.isfinite(value) else None


def _whole(value: float) -> float:
    """Return a whole number as one, so that a file has no needless ``.0``; else to a tenth."""
    return int(value) if value == int(value) else round(value, 1)
