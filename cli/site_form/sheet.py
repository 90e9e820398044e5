"""A system's form as it is shown: group by group, each field with what stands in it and what is said of it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from ...ingest.toml.places import Where
from ..render.wording.numbers import sentence
from .field import Field, Group
from .filled import FIRST, NAMES_BETWEEN, PAIRS, FilledForm, holds_several, is_truth
from .form import form_of, names_for
from .opened import MOST_ITEMS
from .questions import QUESTIONS
from .remarks import FieldRemark, RemarkKind
from .system import GROUPS, field_at, group_of
from .typed import Typed

#: Lists whose items are looked at one by one: all that most plates say stands there at once.
_PLATE_BY_PLATE: Final = ("loads", "conductors", "meters")
#: Of so many loads, cables or meters all stand open. [1]
_OPEN_ITEMS: Final = 4
#: Only the protection of lithium has it.
_OF_LITHIUM: Final = ("bank", "max_discharge_A")
_ASKED: Final = {(question.where[0], question.where[-1]) for question in QUESTIONS if question.where != _OF_LITHIUM}
_TOGETHER: Final = {"continuous": "Power without a break", "surge": "Power for a moment"}
_ONE_OF: Final = {
    "inverters": "inverter", "loads": "load", "chargers": "charger", "conductors": "cable", "meters": "meter",
}  # fmt: skip
#: What the first of a new system is, unless its kind is changed.
_THE_FIRST: Final = {"inverters": "The inverter", "loads": "The pump"}
_WITHOUT_A_SHAFT: Final = ("heater", "lights", "electronics")
#: Units that go together: who has chosen one has chosen those of its kind.
_KINDS: Final = (("psi", "bar", "kPa"), ("L", "gal"), ("L/min", "gal/min"), ("m", "ft"), ("mm2", "AWG"))


@dataclass(frozen=True)
class ShownRemark:
    """A sentence on the page: by its id fields refer to it; the buttons that put it right have a label and a value."""

    id: str
    kind: RemarkKind
    sentence: str
    buttons: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class ShownField:
    """A field on the page; ``described`` are the ids of what is said of it, here or at another field."""

    name: str
    field: Field
    label: str
    typed: Typed
    units: tuple[str, ...]
    options: tuple[tuple[str, str], ...] | None
    several: bool
    remarks: tuple[ShownRemark, ...]
    described: tuple[str, ...]
    kinds: frozenset[RemarkKind]
    folded: bool
    needed: bool

    @property
    def chosen(self) -> list[str]:
        """What is chosen, of a field that takes several."""
        return NAMES_BETWEEN.split(self.typed.text)


@dataclass(frozen=True)
class ShownPlate:
    """A table of the file on the page, or an item of a list; ``number`` counts items from 0.

    ``filled`` is how many of the folded fields the file has; ``folded`` tells whether all of it is.
    """

    title: str
    fields: tuple[ShownField, ...]
    remarks: tuple[ShownRemark, ...] = ()
    number: int | None = None
    filled: int = 0
    folded: bool = False

    @property
    def first(self) -> list[ShownField]:
        """What is shown at once."""
        return [each for each in self.fields if not each.folded]

    @property
    def more(self) -> list[ShownField]:
        """What is folded."""
        return [each for each in self.fields if each.folded]


@dataclass(frozen=True)
class ShownGroup:
    """A group of the form on the page."""

    group: Group
    one: str
    tables: tuple[ShownPlate, ...]
    remarks: tuple[ShownRemark, ...]
    folded: bool


@dataclass(frozen=True)
class FormSheet:
    """The whole form, what is said of none of its fields, how many sentences of each kind, and the first's id."""

    groups: tuple[ShownGroup, ...]
    remarks: tuple[ShownRemark, ...]
    sentences: Mapping[RemarkKind, int] = field(default_factory=dict)
    first: Mapping[RemarkKind, str] = field(default_factory=dict)


def name_of(where: Where) -> str:
    """Return a field's name in the form: ``loads.0.hp``."""
    return ".".join(map(str, where))


def where_of(name: str) -> Where | None:
    """Return the path of the field that has this name in a form; None where there is none."""
    # Digits of other scripts are numbers to Python too, and lead to no field.
    where = tuple(int(step) if step.isascii() and step.isdigit() else step for step in name.split("."))
    group = group_of(where)
    listed = group is not None and group.several
    if field_at(where) is None or (listed and where[1] not in range(MOST_ITEMS)) or name_of(where) != name:
        return None
    return where


def sheet_of(filled: FilledForm, remarks: Mapping[Where, Sequence[FieldRemark]]) -> FormSheet:
    """Return a form as it is shown, with what is said of it by the path of each field.

    What few plates say is folded, filled in or not, unless something is said of it: so a large system stays in sight.
    """
    return _Sheet(filled, remarks).sheet()


class _Sheet:
    def __init__(self, filled: FilledForm, remarks: Mapping[Where, Sequence[FieldRemark]]) -> None:
        self._shown, self._items = filled.shown(), filled.items
        self._in_file = form_of(filled.text)
        self._left = {where: list(each) for where, each in remarks.items() if each}
        self._count = 0
        self._ids: dict[tuple[Where, str], str] = {}
        self._sentences: dict[RemarkKind, set[str]] = {}
        self._first: dict[RemarkKind, str] = {}
        for each in (remark for at in self._left.values() for remark in at):
            self._sentences.setdefault(each.kind, set()).add(each.sentence)

    def sheet(self) -> FormSheet:
        groups = tuple(map(self._group, GROUPS))
        rest = self._of(list(self._left), ())
        return FormSheet(groups, rest, {kind: len(each) for kind, each in self._sentences.items()}, self._first)

    def _group(self, group: Group) -> ShownGroup:
        bases: list[tuple[Where, int | None]] = [((group.key,) if group.key else (), None)]
        if group.several:
            bases = [((group.key, number), number) for number in range(self._items.get(group.key, 0))]
        tables = tuple(self._table(group, base, number) for base, number in bases)
        above = self._of([where for where in self._left if group.key and where[0:1] == (group.key,)], (group.key,))
        # A new item is there to be filled in, whatever group it is of.
        empty = not tables if group.several else not any(where[0] == group.key for where in self._shown)
        shut = empty and not any(table.remarks for table in tables) and not _grave(above)
        return ShownGroup(group, _ONE_OF.get(group.key, ""), tables, above, group.folded and shut)

    def _table(self, group: Group, base: Where, number: int | None) -> ShownPlate:
        fields = tuple(each for field in group.fields if (each := self._field(group, field, base)) is not None)
        # What is left of a table's remarks has no field: a key that there is not.
        left = [where for where in self._left if base and where[: len(base)] == base and (number is not None)]
        title = ""
        if number is not None:
            name = self._shown.get((*base, "name"), Typed("")).text
            title = name or (_THE_FIRST[group.key] if self._goes_without(group, base) else f"New {_ONE_OF[group.key]}")
        filled = sum(each.folded and self._has(where_of(each.name) or ()) for each in fields)
        # One that is as it should be is known by its name; of a few all are in sight.
        shut = self._items.get(group.key, 0) > _OPEN_ITEMS and self._is_begun(base) and number is not None
        shut = shut and not any(each.kinds - {"not judged"} for each in fields)
        remarks = self._of(left, base)
        return ShownPlate(title, fields, remarks, number, filled, shut and not _grave(remarks))

    def _field(self, group: Group, field: Field, base: Where) -> ShownField | None:
        where = (*base, *field.key.split("."))
        label, units, remarks = field.label, field.units, self._left.get(where, [])
        pair = next((pair for pair in PAIRS if group.key == "inverters" and field.key in pair), None)
        if pair is not None:
            other = (*base, pair[field.key == pair[0]])
            # One of the two is shown, and takes both units, unless both are filled in.
            if not self._has(where) and (self._has(other) or field.key == pair[1]):
                return None
            if not self._has(other):
                label = _TOGETHER[field.key.partition("_")[0]]
                units = (*units, *(field_at(other) or field).units)
                remarks = list(dict.fromkeys([*remarks, *self._left.pop(other, [])]))
        self._left.pop(where, None)
        new = tuple(self._remark(where, each) for each in remarks if (base, each.sentence) not in self._ids)
        described = tuple(self._ids[base, each.sentence] for each in remarks)
        kinds = frozenset(each.kind for each in remarks)
        typed = self._shown.get(where) or self._suggested(group, field, base)
        return ShownField(
            name_of(where),
            field,
            label,
            replace(typed, unit=typed.unit or self._usual_unit(field)),
            units,
            self._options(group, field, typed),
            holds_several(group, field) and bool(field.names),
            new,
            described,
            kinds,
            not (self._is_first(group, field, base) or kinds - {"not judged"} or self._is_usual(field, where)),
            field.need == "required" and (group.key in ("", "bank") or self._is_begun(base)),
        )

    def _remark(self, where: Where, remark: FieldRemark) -> ShownRemark:
        base = where[:2] if len(where) > 2 and isinstance(where[1], int) else where[: len(where) > 1]
        self._count += 1
        shown = ShownRemark(f"says-{self._count}", remark.kind, _whole(remark.sentence), tuple(_buttons(remark)))
        # Said of several fields of one table it stands at the first of them, and the others refer to it.
        self._ids[base, remark.sentence] = shown.id
        self._first.setdefault(remark.kind, shown.id)
        return shown

    def _of(self, paths: Iterable[Where], base: Where) -> tuple[ShownRemark, ...]:
        """Take what is said at some paths that are no fields, each sentence once."""
        remarks = [remark for where in list(paths) for remark in self._left.pop(where)]
        return tuple(self._remark((*base, ""), each) for each in dict.fromkeys(remarks))

    def _has(self, where: Where) -> bool:
        return where in self._shown

    def _is_first(self, group: Group, field: Field, base: Where) -> bool:
        usual = group.key in _PLATE_BY_PLATE and field.need == "usual"
        lithium = self._shown.get(("bank", "chemistry")) == Typed("lifepo4") and (*base, field.key) == _OF_LITHIUM
        if self._goes_without(group, base) and field.key in ("name", "kind", "inverter"):
            return False
        if field.key == "hp" and self._shown.get((*base, "kind"), Typed("")).text in _WITHOUT_A_SHAFT:
            return False
        asked = (group.key, field.key) in _ASKED or (not group.key and field.key == "name")
        return asked or usual or lithium or field.need == "required" or group.key in ("limits", "units")

    def _is_usual(self, field: Field, where: Where) -> bool:
        """Tell whether what most plates have stands in the file."""
        return field.need != "optional" and self._has(where)

    def _is_begun(self, base: Where) -> bool:
        return any(where[: len(base)] == base for where in self._in_file)

    def _goes_without(self, group: Group, base: Where) -> bool:
        """Tell whether an item is the first of its kind and so needs no name: there is one of it."""
        return group.key in _THE_FIRST and base[1:] == (0,) and not self._is_begun(base)

    def _suggested(self, group: Group, field: Field, base: Where) -> Typed:
        """Return what a choice stands at before anybody has chosen."""
        if self._is_begun(base) or not base:
            return Typed("")
        if (group.key, field.key) == ("loads", "kind") and not any(at[0] == "loads" for at in self._in_file):
            return Typed("pump")
        if (group.key, field.key) == ("meters", "side"):
            return Typed("dc")
        if (group.key, field.key) in (("loads", "inverter"), ("water", "load")):
            return Typed(next(iter(names_for(field, self._shown)), FIRST))
        return Typed("")

    def _options(self, group: Group, field: Field, typed: Typed) -> tuple[tuple[str, str], ...] | None:
        if field.choices:
            options = list(field.choices.items())
        elif is_truth(group, field):
            options = [("yes", "yes"), ("no", "no")]
        elif field.names:
            options = [(name, name) for name in self._names(field, typed) if name]
            if typed.text == FIRST or (not options and field.key in ("inverter", "load")):
                options = [(FIRST, "the pump above" if field.key == "load" else "the inverter above")]
        else:
            return None
        several = holds_several(group, field)
        # What stands in the file and is none of them is shown all the same: nothing is lost by looking.
        own = [] if several or not typed.text or typed.text in dict(options) else [(typed.text, typed.text)]
        blank = "the bank itself" if (group.key, field.key) == ("loads", "inverter") else "not given"
        return (*([] if several else [("", blank)]), *options, *own)

    def _names(self, field: Field, typed: Typed) -> list[str]:
        names = names_for(field, self._shown)
        if field.key != "carries":
            return names
        # No cable of the bank carries what an inverter feeds; whoever has said so is shown it.
        fed = {
            self._shown[*at[:2], "name"].text
            for at, each in self._shown.items()
            if at[0] == "loads" and at[-1] == "inverter" and each.text and (*at[:2], "name") in self._shown
        }
        return [name for name in names if name not in fed or name in NAMES_BETWEEN.split(typed.text)]

    def _usual_unit(self, field: Field) -> str:
        """Return the unit that a blank field begins with: where two are alike likely, that chosen for its like."""
        if not field.others:
            return field.units[0] if field.units else ""
        alike = next((kind for kind in _KINDS if kind[0] in field.units), ())
        return next((typed.unit for typed in self._shown.values() if typed.unit in alike), "")


def _whole(text: str) -> str:
    """Return a sentence with its capital and its stop; a key of the file at its beginning stays as it is written."""
    return sentence(text) if "_" not in text.partition(" ")[0] else text[:1] + sentence(text)[1:]


def _grave(remarks: Iterable[ShownRemark]) -> bool:
    return any(each.kind != "not judged" for each in remarks)


def _buttons(remark: FieldRemark) -> Iterator[tuple[str, str]]:
    for line in remark.right_lines:
        value = json.dumps({"at": line.at, "key": line.key, "literal": line.literal}, ensure_ascii=True)
        yield f"Write {line.key} = {line.literal}", value
