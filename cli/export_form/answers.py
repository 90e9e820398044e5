"""Fields of a form to a person's choices about an export, and back; what no field shows travels in one of its own."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from ...ingest.durations import seconds
from ...ingest.errors import Choice, InputError, Question
from ...ingest.exports.choices import Choices, ColumnChoice, units_of
from ...ingest.exports.delimited.stated import start_time
from ...ingest.quantities import QUANTITIES, SIGNED
from ...ingest.zone import zone_named

#: What a column may be chosen as besides a quantity; empty leaves it to be recognised.
UNUSED: Final = "-"
TIME: Final = "time"
#: Questions that no choice settles, once they were asked: whether a profile of the folder fits, and which way is
#: positive where a profile is believed.
OF_PROFILES: Final = "profiles"
OF_SIGN: Final = "sign"

_OWN_FIELDS: Final = ("zone", "times", "decimal", "sheet", "side", "sampling", "meter")
_COLUMN: Final = re.compile(r"is-(\d{1,5})")
_NOT_OURS: Final = "this form holds a choice that it does not offer; open the export again from the folder"


@dataclass(frozen=True)
class ExportAnswers:
    """What a person chose about an export, and which questions that no choice settles were asked."""

    choices: Choices = field(default_factory=Choices)
    asked: frozenset[str] = frozenset()

    @property
    def rest(self) -> str:
        """What no field of the form shows, as text for a field of its own."""
        columns = {
            number: replace(column, unit=None, sign=None)
            for number, column in self.choices.columns.items()
            if replace(column, unit=None, sign=None) != ColumnChoice(column.quantity)
        }
        if self.choices.profile is not None:  # its columns have no fields
            columns = dict(self.choices.columns)
        shown: dict[str, Any] = dict.fromkeys(("start", "gap_s", *_OWN_FIELDS))
        hidden = replace(self.choices, columns=columns, time=(), allow_rejects=False, **shown)
        return _ANSWERS.dump_json(ExportAnswers(hidden, self.asked), exclude_defaults=True).decode()

    def with_answer(self, text: str) -> ExportAnswers:
        """Return them with an answer that `answer_text` made.

        Raises
        ------
        InputError
            If it is none.
        """
        try:
            answer = _ANSWER.validate_json(text)
            choices = _checked(asdict(self.choices.with_choice(answer.choice)))
        except (ValidationError, TypeError, KeyError, ValueError):
            raise InputError(_NOT_OURS) from None
        return ExportAnswers(choices, self.asked | {answer.settles} - {""})

    def without_profile(self) -> ExportAnswers:
        """Return them with the columns recognised, and no profile offered again."""
        return ExportAnswers(replace(self.choices, profile=None), self.asked | {OF_PROFILES})


@dataclass(frozen=True)
class ExportAnswer:
    """One answer: what it sets, and which question it settles that no choice does."""

    choice: Choice
    settles: str = ""


_CHOICES: Final = TypeAdapter(Choices)
_ANSWERS: Final = TypeAdapter(ExportAnswers)
_ANSWER: Final = TypeAdapter(ExportAnswer)


def answer_text(choice: Choice, settles: str = "") -> str:
    """Return an answer as text, for a button that sends it."""
    return _ANSWER.dump_json(ExportAnswer(choice, settles)).decode()


def question_from(document: Mapping[str, Any], sentence: str) -> Question:
    """Return the question that `convert --json` gives."""
    choices = TypeAdapter(list[Choice]).validate_python(document["choices"])
    return Question(sentence, document["what"], document["evidence"], choices)


def answers_of(fields: Mapping[str, str]) -> tuple[ExportAnswers, dict[str, str]]:
    """Return what a form says, and the sentences on what is wrong by the field's name; what is wrong is not chosen.

    Raises
    ------
    InputError
        If it is no form of ours.
    """
    try:
        hidden = _ANSWERS.validate_json(fields.get("rest") or "{}")
    except ValidationError:
        raise InputError(_NOT_OURS) from None
    wrong: dict[str, str] = {}
    own: dict[str, Any] = {name: fields.get(name) or None for name in _OWN_FIELDS}
    for name, read in (("start", start_time), ("gap", _gap), ("zone", _zone)):
        try:
            own[_KEYS.get(name, name)] = read(fields.get(name, ""))
        except InputError as error:
            wrong[name], own[_KEYS.get(name, name)] = str(error).partition(": ")[2], None
    columns, reverse = _columns(fields, hidden.choices)
    if hidden.choices.profile is not None:
        columns = asdict(hidden.choices)["columns"]
    own |= {"columns": columns, "reverse_sign": reverse, "allow_rejects": bool(fields.get("allow_rejects"))}
    own["time"] = tuple(number for number in _numbers(fields) if fields.get(f"q-{number}") == TIME)
    # How times are written says the order of a date, too: what was answered before is overruled.
    own |= {"dates": None} if own["times"] else {}
    return ExportAnswers(_checked(asdict(hidden.choices) | own), hidden.asked), wrong


#: Fields that are called otherwise than what they stand for.
_KEYS: Final = {"gap": "gap_s"}


def _gap(text: str) -> float | None:
    return seconds(text, what="--gap") if text else None


def _zone(text: str) -> str | None:
    if text:
        zone_named(text, what="--zone")
    return text or None


def _checked(document: Mapping[str, Any]) -> Choices:
    try:
        return _CHOICES.validate_python(document)
    except ValidationError:
        raise InputError(_NOT_OURS) from None


def _numbers(fields: Iterable[str]) -> list[int]:
    return sorted(int(match[1]) for match in map(_COLUMN.fullmatch, fields) if match)


def _columns(fields: Mapping[str, str], hidden: Choices) -> tuple[dict[int, dict[str, Any]], bool]:
    """Return what was chosen by column, and whether all signs are turned besides."""
    columns: dict[int, dict[str, Any]] = {}
    turned: dict[int, str] = {}
    for number in _numbers(fields):
        chosen, (shown, _, sign) = fields.get(f"q-{number}", ""), fields[f"is-{number}"].partition("|")
        if sign == "return_positive" and chosen in {"", shown}:
            turned[number] = shown
        if chosen == UNUSED:
            columns[number] = {"quantity": None}
        elif chosen != TIME and (quantity := chosen or shown) in QUANTITIES:
            entry = _entry(fields, number, quantity)
            before = hidden.columns.get(number)
            if chosen or entry["unit"] or entry["sign"]:
                is_same = before is not None and before.quantity == chosen
                columns[number] = (asdict(before) if is_same and before is not None else {}) | entry
    reverse = hidden.reverse_sign
    if reverse and any(column.get("sign") for column in columns.values()):
        # Whoever chooses at a column means that column as it is written: the others stay as they were shown.
        reverse = False
        for number, quantity in turned.items():
            column = columns.setdefault(number, {"quantity": quantity})
            column["sign"] = column.get("sign") or "return_positive"
    return columns, reverse


def _entry(fields: Mapping[str, str], number: int, quantity: str) -> dict[str, Any]:
    """Return a column's choices; a unit or a sign of what it was before is none."""
    unit, sign = fields.get(f"unit-{number}"), fields.get(f"sign-{number}")
    return {
        "quantity": quantity,
        "unit": unit if unit in units_of(quantity) else None,
        "sign": sign if sign and quantity in SIGNED else None,
    }
