"""A form that was filled in: what was typed, taken into the site file's text, and what then stands in the fields."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Final, TypeVar

from ...ingest.errors import InputError
from ...ingest.toml.edit import edited
from ...ingest.toml.places import Where, holds_list, leaves
from .compound import taken_apart
from .field import Field, Group
from .form import form_of, nominal_V_of, text_of
from .system import field_at, group_of, model_of
from .typed import Typed, value_of

At = TypeVar("At")
#: What is chosen where something above has no name yet: the first of the group.
FIRST: Final = "*"
#: Two fields of which one is enough, and which may take each other's figures: by the unit it is plain which is meant.
PAIRS: Final = (("continuous_W", "continuous_VA"), ("surge_W", "surge_VA"))
#: What a new thing is called that was given no name.
_CALLED: Final = {"inverters": "inverter", "chargers": "charger", "conductors": "cable", "meters": "meter"}
_CALLED_BY_KIND: Final = {"pump": "well pump", "compressor": "fridge", "": "load", "other": "load"}
#: What stands between names of which a field takes several.
NAMES_BETWEEN: Final = re.compile(r"\s*[;,]\s*")


@dataclass(frozen=True)
class FilledForm:
    """A form as it stands.

    Parameters
    ----------
    text : str
        The site file's text with all of it that could be taken.
    typed : mapping
        By the path of the field, what was typed there, where that is to be shown in place of what the text says.
    errors : mapping
        By the path of the field, why what was typed there is not in the text.
    items : mapping
        By the key of a list, how many of its items are shown, blank ones included.
    notes : mapping
        By the path of the field, how several figures that were typed into it were taken.
    """

    text: str
    typed: Mapping[Where, Typed] = field(default_factory=dict)
    errors: Mapping[Where, str] = field(default_factory=dict)
    items: Mapping[str, int] = field(default_factory=dict)
    notes: Mapping[Where, str] = field(default_factory=dict)

    def shown(self) -> dict[Where, Typed]:
        """Return what stands in the fields."""
        return {**form_of(self.text), **self.typed}

    def with_item(self, group: str) -> FilledForm:
        """Return the form with one more blank item in a list."""
        return replace(self, items={**self.items, group: self.items.get(group, 0) + 1})

    def without_item(self, group: str, number: int) -> FilledForm:
        """Return the form without an item of a list."""
        text = self.text
        if number < _counts(form_of(text)).get(group, 0):
            text = text_of(text, {(group, number): None}).text
        left = {**self.items, group: max(self.items.get(group, 0) - 1, 0)}
        return FilledForm(text, _moved(self.typed, group, number), _moved(self.errors, group, number), left)


def filled_form(text: str, sent: Mapping[Where, Typed]) -> FilledForm:
    """Return a form after what was sent from its fields has been taken into the text; what was not sent stays.

    Raises
    ------
    InputError
        If the text is no TOML, or is written so that something cannot be changed in it.
    """
    form = form_of(text)
    items = _counts(form)
    for group, number in _counts(sent).items():
        items[group] = max(items.get(group, 0), number)
    places = _places(sent, form)
    changes = {
        (*places[_table_of(where)], *where[len(_table_of(where)) :]): typed
        for where, typed in sent.items()
        if _table_of(where) in places
    }
    changes, notes, errors = _apart(text, changes, form)
    own = {where for where, typed in changes.items() if typed.text.strip() and typed.text != FIRST}
    changes = _with_firsts(_with_names(changes, form), form)
    changes = {where: _in_its_order(typed, form.get(where)) for where, typed in changes.items()}
    text, changes = _in_their_units(text, changes, form)
    written = text_of(text, changes)
    # What was filled in for the person is shown as the text has it.
    errors = {**written.errors, **errors}
    typed_in = {where: typed for where, typed in changes.items() if where in own or where in errors}
    return FilledForm(written.text, typed_in, errors, items, notes)


def _apart(
    text: str, changes: Mapping[Where, Typed], form: Mapping[Where, Typed]
) -> tuple[dict[Where, Typed], dict[Where, str], dict[Where, str]]:
    """Return the changes with several figures of one field in the fields of each, how they were taken, and why not.

    Into a field that somebody has typed something else in none is taken.
    """
    apart, notes, errors = dict(changes), dict[Where, str](), dict[Where, str]()
    nominal_V = nominal_V_of(text, dict(changes))
    for where, typed in changes.items():
        try:
            compound = taken_apart(where, typed, nominal_V) if typed.text.strip() else None
        except InputError as error:
            errors[where] = str(error)
            continue
        if compound is None:
            continue
        others = {at: each for at, each in compound.fields.items() if at != where}
        other = next((at for at, each in others.items() if not _is_free(at, each, changes, form)), None)
        if other is None:
            apart |= compound.fields
            notes[where] = compound.words
        else:
            place = field_at(other)
            errors[where] = f"says also what stands at '{place.label if place else other[-1]}'; write one figure here"
    return apart, notes, errors


def _is_free(where: Where, typed: Typed, changes: Mapping[Where, Typed], form: Mapping[Where, Typed]) -> bool:
    """Tell whether a field is empty, as it stands in the file, or says the same."""
    own = changes.get(where, Typed(""))
    return not own.text.strip() or own == form.get(where) or own.with_unit == typed.with_unit


def _counts(paths: Iterable[Where]) -> dict[str, int]:
    """Return how many items each list has by the paths of its fields."""
    counts: dict[str, int] = {}
    for path in paths:
        if len(path) > 2 and isinstance(path[1], int):
            counts[str(path[0])] = max(counts.get(str(path[0]), 0), path[1] + 1)
    return counts


def _moved(paths: Mapping[Where, At], group: str, gone: int) -> dict[Where, At]:
    """Return what stands at paths after an item of a list has gone."""
    moved: dict[Where, At] = {}
    for where, each in paths.items():
        number = where[1] if where[0] == group and len(where) > 2 else None
        if not isinstance(number, int) or number < gone:
            moved[where] = each
        elif number > gone:
            moved[(group, number - 1, *where[2:])] = each
    return moved


def _table_of(where: Where) -> Where:
    """Return the path of the table that a field stands in: of an item of a list, with its number."""
    return where[:2] if len(where) > 2 and isinstance(where[1], int) else where[: len(where) > 1]


def _places(sent: Mapping[Where, Typed], form: Mapping[Where, Typed]) -> dict[Where, Where]:
    """Return where each table that was sent stands in the file, new items below the others.

    A new one that nobody has begun to fill in is left out.
    """
    counts, present = _counts(form), {_table_of(where) for where in form}
    places: dict[Where, Where] = {}
    for table in sorted({_table_of(where) for where in sent}, key=lambda each: (str(each[:1]), *each[1:])):
        name, number = str(table[0]) if table else "", table[1] if len(table) > 1 else None
        if not table or table in present or (isinstance(number, int) and number < counts.get(name, 0)):
            places[table] = table
        elif _is_begun(table, sent):
            places[table] = table if number is None else (name, counts.get(name, 0))
            counts[name] = counts.get(name, 0) + 1
    return places


def _is_begun(table: Where, sent: Mapping[Where, Typed]) -> bool:
    """Tell whether anything was typed into a table; one in which all is chosen is begun by any choice.

    The first pump is begun by its tank as well: that has one, also where nobody knows what is on its plate.
    """
    if table == ("loads", 0) and sent.get(("water", "load")) == Typed(FIRST) and _is_begun(("water",), sent):
        return True
    filled = {where: bool(typed.text.strip()) for where, typed in sent.items() if _table_of(where) == table}
    typed = [where for where in filled if not _is_chosen(where)]
    return any(filled[where] for where in typed or filled)


def _is_chosen(where: Where) -> bool:
    group, each = group_of(where), field_at(where)
    return group is not None and each is not None and is_choice(group, each)


def is_choice(group: Group, each: Field) -> bool:
    """Tell whether a field is chosen, not typed: a form sends a choice also where nobody has filled in anything."""
    return bool(each.choices or each.names) or is_truth(group, each)


def is_truth(group: Group, each: Field) -> bool:
    """Tell whether a field is yes or no."""
    return leaves(_annotation(group, each)) == {bool}


def holds_several(group: Group, each: Field) -> bool:
    """Tell whether several things may stand in a field."""
    return holds_list(_annotation(group, each))


def _annotation(group: Group, each: Field) -> object:
    return model_of(group, each).model_fields[each.key.rpartition(".")[2]].annotation


def _with_names(changes: Mapping[Where, Typed], form: Mapping[Where, Typed]) -> dict[Where, Typed]:
    """Return the changes with a name for each new thing that got none."""
    named, counts = dict(changes), _counts(form)
    for table in sorted({_table_of(where) for where in changes if len(_table_of(where)) == 2}, key=str):
        name = (*table, "name")
        if int(table[1]) < counts.get(str(table[0]), 0) or named.get(name, Typed("")).text.strip():
            continue
        kind = named.get((*table, "kind"), Typed("")).text
        word = _CALLED.get(str(table[0])) or _CALLED_BY_KIND.get(kind, kind)
        taken = {typed.text for where, typed in {**form, **named}.items() if where[-1] == "name"}
        free = (f"{word} {number}" for number in count(2))
        named[name] = Typed(word if word not in taken else next(each for each in free if each not in taken))
    return named


def _with_firsts(changes: Mapping[Where, Typed], form: Mapping[Where, Typed]) -> dict[Where, Typed]:
    """Return the changes with the name of what was chosen before it had one; none where there is no such thing."""
    every = {**form, **changes}

    def first_of(where: Where) -> Typed:
        each = field_at(where)
        names = [at for at in every if each and at[0] in each.names and at[-1] == "name" and every[at].text.strip()]
        pumps = [at for at in names if every.get((*at[:-1], "kind")) == Typed("pump")]
        return every[min(pumps or names, key=str)] if names else Typed("")

    return {where: first_of(where) if typed.text == FIRST else typed for where, typed in changes.items()}


def _in_its_order(typed: Typed, old: Typed | None) -> Typed:
    """Return what stands in the file where the same names were only sent in another order."""
    same = old is not None and set(NAMES_BETWEEN.split(typed.text)) == set(NAMES_BETWEEN.split(old.text))
    return old if old is not None and same else typed


def _in_their_units(
    text: str, changes: Mapping[Where, Typed], form: Mapping[Where, Typed]
) -> tuple[str, dict[Where, Typed]]:
    """Return text and changes with a figure that is in the unit of the other field of its pair at that one."""
    moved = dict(changes)
    for where, typed in changes.items():
        pair = next((pair for pair in PAIRS if where[-1] in pair), None)
        if pair is None or not typed.text.strip() or _is_taken(where, typed):
            continue
        other = (*where[:-1], pair[where[-1] == pair[0]])
        if other not in changes and other not in form and _is_taken(other, typed):
            if where in form:
                # Its line and its remark stay, under the other key.
                text = edited(text, {}, {where: str(other[-1])})
            moved[other] = moved.pop(where)
    return text, moved


def _is_taken(where: Where, typed: Typed) -> bool:
    group, each = group_of(where), field_at(where)
    try:
        return group is not None and each is not None and bool(value_of(group, each, typed))
    except InputError:
        return False
