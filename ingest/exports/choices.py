"""A person's choices about an export as data, and what is stated by them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from typing import Any, Final, Literal, get_args

from ..errors import Choice, InputError, Setting, quoted
from ..profiles.columns import ColumnEntry
from ..profiles.modbus_part import Sign
from ..profiles.model import Profile, load_profile
from ..quantities import QUANTITIES, SIGNED, UNITS, unit_of
from .delimited.stated import Stated
from .keep_profile import kept_profile
from .times.stamps import DateOrder, TimeStyle

#: Options of `convert` by the choice that they stand for; a kept profile says the others.
_OPTIONS: Final = ("zone", "start", "dates", "times", "decimal", "sheet", "side", "sampling", "meter")


class ChoiceError(InputError):
    """A choice that cannot be: one sentence, and the ``column`` that it is about, counted from 1; None for none."""

    def __init__(self, sentence: str, column: int | None = None) -> None:
        super().__init__(sentence)
        self.column = column


@dataclass(frozen=True)
class ColumnChoice:
    """What a person chose for one column; ``quantity`` None: it is not to be used.

    What is None is recognised, and asked about. ``minus`` is the number of a column that is taken off; ``direction``
    has the keys of a profile (``column``, ``draw``, ``return``, ``none``).
    """

    quantity: str | None
    unit: str | None = None
    sign: Sign | None = None
    scale: float | None = None
    offset: float | None = None
    minus: int | None = None
    direction: Mapping[str, Setting] | None = None

    def entry(self, number: int) -> dict[str, Any]:
        """Return a profile's lines for it."""
        named = {key.name: getattr(self, key.name) for key in fields(self) if key.name != "quantity"}
        return {"column": number} | {key: value for key, value in named.items() if value is not None}


@dataclass(frozen=True)
class Choices:
    """What a person chose about an export; what is None or not named is recognised, and asked about.

    ``columns`` are by their number counted from 1; ``time`` is the number of the column of the time, or of those of
    date and clock. ``profile`` is one that is believed as it stands: its path, or its name (``hand``).
    """

    columns: Mapping[int, ColumnChoice] = field(default_factory=dict)
    time: tuple[int, ...] = ()
    profile: str | None = None
    zone: str | None = None
    start: datetime | None = None
    dates: DateOrder | None = None
    times: TimeStyle | None = None
    decimal: Literal["point", "comma"] | None = None
    sheet: str | None = None
    side: Literal["dc", "ac"] | None = None
    sampling: Literal["instant", "mean", "held"] | None = None
    gap_s: float | None = None
    meter: str | None = None
    reverse_sign: bool = False
    allow_rejects: bool = False
    delimiter: str | None = None
    header_line: int | None = None

    def with_choice(self, choice: Choice) -> Choices:
        """Return them with the answer to a question."""
        new = replace(self, columns={**self.columns, **dict.fromkeys(choice.unused, ColumnChoice(None))})
        entries: dict[str, dict[str, Any]] = {}
        key: str
        value: Any
        for key, value in choice.sets.items():
            table, _, line = key.partition(".")
            if table == "quantities":
                quantity, _, line = line.partition(".")
                entries.setdefault(quantity, {})[line] = value
            elif key == "time.column":
                new = replace(new, time=(value,))
            else:
                new = replace(new, **{line or key: value})
        for quantity, entry in entries.items():
            new = new._with_entry(quantity, entry)
        return new

    def _with_entry(self, quantity: str, entry: Mapping[str, Any]) -> Choices:
        """Return them with lines of a profile for a quantity; another column is no longer chosen for it."""
        number = entry["column"]
        before = self.columns.get(number)
        column = before if before is not None and before.quantity == quantity else ColumnChoice(quantity)
        direction = {key.partition(".")[2]: value for key, value in entry.items() if key.startswith("direction.")}
        changes: dict[str, Any] = {key: value for key, value in entry.items() if key != "column" and "." not in key}
        changes |= {"direction": direction} if direction else {}
        column = replace(column, **changes)
        others = {k: c for k, c in self.columns.items() if c.quantity != quantity and k != number}
        return replace(self, columns={**others, number: column})


def stated_of(choices: Choices) -> Stated:
    """Return what is stated by a person's choices.

    Raises
    ------
    ChoiceError
        If one cannot be, with its column.
    InputError
        If a profile is named that is none.
    """
    options = {name: getattr(choices, name) for name in ("gap_s", "reverse_sign", *_OPTIONS)}
    if choices.profile is not None:
        profile = load_profile(choices.profile)
        signed = _with_signs(profile, choices.columns)
        in_part = bool(signed.quantities) and not profile.quantities
        return Stated(profile=signed, in_part=in_part, **options)
    check_columns(choices.columns)
    entries = {c.quantity: c.entry(number) for number, c in choices.columns.items() if c.quantity is not None}
    file = {"delimiter": choices.delimiter, "header_line": choices.header_line}
    document = {
        "quantities": entries,
        "time": _time(choices),
        "file": {key: value for key, value in file.items() if value is not None},
    }
    # Not checked anew by the model's own words: all that can be wrong has its sentence above.
    tables = {key: table for key, table in document.items() if table}
    own = Profile.model_validate(tables) if tables else None
    unused = frozenset(number for number, column in choices.columns.items() if column.quantity is None)
    return Stated(profile=own, in_part=True, unused=unused, **options)


def _with_signs(profile: Profile, columns: Mapping[int, ColumnChoice]) -> Profile:
    """Return a profile with the signs that were answered beside it: all else of it is believed."""
    entries = {}
    for number, column in columns.items():
        if column.quantity is None or column.sign is None:
            continue
        named = profile.quantities.get(column.quantity)
        if named is not None:
            entries[column.quantity] = named.model_copy(update={"sign": column.sign})
        elif not profile.quantities:  # its columns are recognised
            entries[column.quantity] = ColumnEntry(column=number, sign=column.sign)
    return profile.model_copy(update={"quantities": {**profile.quantities, **entries}})


def _time(choices: Choices) -> dict[str, Any]:
    if not choices.time:
        return {}
    if len(choices.time) > 2:
        raise ChoiceError("the time stands in one column, or in one for the date and one for the clock")
    taken = [number for number in choices.time if choices.columns.get(number, ColumnChoice(None)).quantity is not None]
    if taken:
        raise ChoiceError(f"column {taken[0]} is chosen for the time and for a quantity; choose one of them", taken[0])
    keys = ("column",) if len(choices.time) == 1 else ("date", "clock")
    return dict(zip(keys, choices.time, strict=True))


def check_columns(columns: Mapping[int, ColumnChoice]) -> None:
    """Stop at a choice that no column can have.

    Raises
    ------
    ChoiceError
        With the column and the reason.
    """
    first: dict[str, int] = {}
    for number, column in columns.items():
        if column.quantity is None:
            continue
        if why := _trouble(column):
            raise ChoiceError(why, number)
        if (other := first.setdefault(column.quantity, number)) != number:
            raise ChoiceError(
                f"column {other} is chosen as {column.quantity}, too; a log holds it once, so choose which one", number
            )


def _trouble(column: ColumnChoice) -> str:
    """Return why a choice cannot be; empty where it can."""
    quantity = column.quantity or ""
    if quantity not in QUANTITIES:
        return f"{quoted(quantity)} is no quantity; the quantities are {', '.join(QUANTITIES)}"
    try:
        unit_of(quantity, column.unit, column=quantity)
    except InputError as error:
        return str(error).removeprefix(f"column {quantity!r}: ")
    return _sign_trouble(column, quantity)


def _sign_trouble(column: ColumnChoice, quantity: str) -> str:
    if column.sign is not None and quantity not in SIGNED:
        return f"{quantity} has no sign to be chosen: only current and power flow in two ways"
    if column.sign is not None and column.sign not in get_args(Sign):
        return f"{quoted(column.sign)} is no sign; choose draw_positive or return_positive"
    if column.scale is not None and not 1e-18 <= abs(column.scale) <= 1e18:
        return "the factor must be a number, and not 0"
    if column.minus is not None and column.direction is not None:
        return "choose either a column that is taken off or one that says the way, not both"
    return ""


def units_of(quantity: str) -> tuple[str, ...]:
    """Return the units that a quantity may be in, its own first."""
    own = unit_of(quantity, None, column=quantity)
    if own.dimension == "ratio":
        return ("%", "1") if own.symbol == "%" else ("1", "%")
    others = [unit.symbol for unit in UNITS.values() if unit.dimension == own.dimension and unit != own]
    return (own.symbol, *others)


def profile_of(sources: Iterable[str], choices: Choices) -> str:
    """Return the profile by which `convert` reads these exports as was chosen, in TOML: all columns are in it.

    Raises
    ------
    InputError
        If they cannot be read so, or no profile can say it; a `Question` where something is still open.
    """
    from .intake import take_in

    stated = stated_of(choices)
    return kept_profile(take_in(list(sources), stated), stated)


def options_of(choices: Choices, *, profile: str | None = None) -> list[str]:
    """Return the words of the command line by which `convert` reads as was chosen.

    `profile` is where the kept one lies, which says columns, signs and decimal mark; without one the choices must be
    such as options can say.
    """
    named = profile or choices.profile
    words = ["--profile", named] if named else []
    # A kept profile says these itself: once more they would be turned twice, or fit no other export.
    is_kept = {"times", "decimal", "sheet", "side", "sampling"} if profile else set()
    for name in _OPTIONS:
        value = getattr(choices, name)
        if value is not None and name not in is_kept:
            words += [f"--{name}", value.isoformat() if isinstance(value, datetime) else str(value)]
    words += ["--gap", f"{choices.gap_s:g}s"] if choices.gap_s is not None else []
    words += ["--allow-rejects"] if choices.allow_rejects else []
    return words + (["--reverse-sign"] if choices.reverse_sign and not profile else [])
