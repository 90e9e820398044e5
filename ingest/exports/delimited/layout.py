"""What each column of an export is, and where its time is: dialect, header and profile brought together."""

from __future__ import annotations

import codecs
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from ...errors import InputError, NamedColumn, placed, quoted
from ...quantities import Unit, unit_of
from ..amounts.number_forms import find_form
from ..texts.decode import Source, find_encoding
from .borne_out import borne_out, named_by_units, refuse_signed_ways, sample_values, with_unit_columns
from .choice import TakenColumn, choose, taken_alone
from .dialect import DELIMITERS, Dialect, find_dialect
from .directions import turned_sign, with_directions
from .header import ac_column, meaning, meaning_of_stated
from .nothing_known import are_numbers, nothing_to_integrate
from .plan import ColumnPlan, Directions, Layout, LayoutDraft, TimePlan, WatchedColumn, named, unit_in_header
from .remarks import questions_above, remarks
from .stated import Stated
from .time_columns import find_column, time_plan

if TYPE_CHECKING:
    from ...profiles.columns import ColumnEntry

#: What the lines of plain rows seldom hold: quotes or bars that they begin with, two blanks, a rule.
_UNUSUAL = re.compile(r'^[ \t]*["|+]|\S  +\S|--', re.MULTILINE)
#: So many rows of an instant that another row tells, too, show the kinds of rows, of which there may be so many: common
#: practice, no source.
_FEW_TWINS, _MOST_KINDS = 3, 12
#: Whose current a column is that names the meter: nobody's.
_NOBODY = NamedColumn(0, "")
_METERS = {
    "device", "device id", "device name", "meter", "meter id", "sensor", "sensor id", "channel", "node", "serial",
}  # fmt: skip


def find_layout(source: Source, stated: Stated, draft: LayoutDraft | None = None) -> Layout:
    """Recognise an export from its beginning, as far as nothing else is stated.

    What is known is noted in a `draft` on the way, so that it can be shown where something is asked.

    Raises
    ------
    InputError
        If there is no table, no time or no quantity in it, or a stated column is missing; a `Question` where what it
        is cannot be decided.
    """
    draft, profile, name = draft or LayoutDraft(), stated.profile, source.name
    encoding, dialect = find_table(source, stated, draft)
    draft.dialect = dialect
    if profile is not None:
        from .profile_fit import check_fits  # most exports are read without a profile

        check_fits(dialect, profile, name)
    columns = [_stated(dialect, quantity, entry, name) for quantity, entry in stated.entries.items()]
    sentences: list[str] = []
    if not stated.names_all:
        columns, sentences = _recognised(dialect, name, stated, columns)
    bare = [p for p in columns if p.quantity not in stated.entries or stated.entries[p.quantity].unit is None]
    with_units = {plan.quantity: plan for plan in with_unit_columns(dialect, bare, name)}
    columns = draft.columns = [with_units.get(plan.quantity, plan) for plan in columns]
    # The time before the forms of numbers: its cells hold marks that are none of a number's.
    time = draft.time = time_plan(dialect, stated, name)
    columns = draft.columns = _with_forms(dialect, columns, time, stated.decimal, name)
    speaks_of_ac = ac_column(dialect.names, dialect.units, {plan.quantity: plan.index for plan in columns})
    watched: list[WatchedColumn] = []
    # A profile is believed; of what was recognised the values are asked.
    if not stated.names_all:
        ac = stated.side == "ac" or (stated.side is None and speaks_of_ac is not None)
        columns, left_out = borne_out(dialect, columns, time, ac=ac, stated=stated, name=name)
        draft.columns = columns
        sentences += left_out
        _check_one_kind(dialect, time, name)
        _ask_of_lines_above(source, stated, draft)
        watched = _naming_one_meter(dialect, {*time.indices}.union(*(plan.indices for plan in columns)))
        if speaks_of_ac is None and stated.side != "ac":
            columns, about_sign, ways = _with_ways(dialect, columns, time, stated, name)
            sentences += about_sign
            watched += ways
    sentences += [*source.remarks, *remarks(dialect, time, columns, stated, speaks_of_ac)]
    is_ac = speaks_of_ac is not None
    return Layout(name, encoding, dialect, time, tuple(columns), is_ac, tuple(sentences), tuple(watched))


def _ask_of_lines_above(source: Source, stated: Stated, draft: LayoutDraft) -> None:
    dialect = draft.dialect
    if dialect is None or dialect.header_line <= 1:
        return
    above = _head_text(source.head(), draft.encoding, source.name).split("\n")[: dialect.header_line - 1]
    for question in questions_above(above, dialect, draft.columns, reverse=stated.reverse_sign):
        if not stated.settles(question):
            raise question.at(f"{source.name}, ")


def _with_ways(
    dialect: Dialect, columns: list[ColumnPlan], time: TimePlan, stated: Stated, name: str
) -> tuple[list[ColumnPlan], list[str], list[WatchedColumn]]:
    """Return the columns with the sign that words beside them give, where nobody stated one; see `with_directions`."""
    open_ = [p for p in columns if not {"sign", "direction", "minus"} & _stated_keys(stated, p.quantity)]
    settled = [plan for plan in columns if plan not in open_]
    values = {p.quantity: sample_values(dialect, p) * (-1.0 if p.turned else 1.0) for p in columns}
    try:
        refuse_signed_ways(dialect, open_)
        # The columns of what is settled are no words about the rest.
        used = {*time.indices}.union(*(plan.indices for plan in settled))
        open_, sentences, ways = with_directions(dialect, open_, values, used, reverse=stated.reverse_sign)
    except InputError as error:
        raise placed(error, f"{name}, ") from None
    by_quantity = {plan.quantity: plan for plan in [*settled, *open_]}
    return [by_quantity[plan.quantity] for plan in columns], sentences, ways


def _stated_keys(stated: Stated, quantity: str) -> set[str]:
    entry = stated.entries.get(quantity)
    return set() if entry is None else entry.model_fields_set


def find_table(source: Source, stated: Stated, draft: LayoutDraft | None = None) -> tuple[str, Dialect]:
    """Return a text's encoding and how its rows are laid out; the shape of its lines is noted in the source.

    The text is noted in a `draft`, so that it can be shown where no table is recognised.

    Raises
    ------
    InputError
        If there is no table in it.
    """
    head = source.head()
    file = stated.profile.file if stated.profile is not None else None
    encoding = _stated_encoding(file.encoding if file else None, head) or find_encoding(head, source.name)
    text = _head_text(head, encoding, source.name)
    if '"' in text:
        from ..texts.shape import with_whole_cells

        text = with_whole_cells(text.encode()).decode()
    delimiter = file.delimiter if file else None
    # A sheet's text was made here, whatever a profile says of this meter's other exports.
    if source.delimiter is None and (delimiter == "blank" or _UNUSUAL.search(text)):
        from ..texts.shape import find_shape, plain

        source.shape = "blanks" if delimiter == "blank" else find_shape(text)
        text = plain(text.encode(), source.shape).decode()
    if draft is not None:
        draft.encoding, draft.text = encoding, text
    return encoding, find_dialect(
        text,
        name=source.name,
        delimiter=source.delimiter or DELIMITERS.get("tab" if delimiter == "blank" else delimiter or ""),
        header_line=file.header_line if file else None,
    )


def _stated_encoding(stated: str | None, head: bytes) -> str | None:
    is_utf8 = stated is not None and stated.lower() in ("utf-8", "utf8")
    return "utf-8-sig" if is_utf8 and head.startswith(codecs.BOM_UTF8) else "utf-8" if is_utf8 else stated


def _head_text(head: bytes, encoding: str, name: str) -> str:
    try:
        text = head.decode(encoding, errors="replace")
    except LookupError:
        raise InputError(f"{name}: encoding {encoding!r} is not known; utf-8, utf-16, latin-1 and cp1252 are") from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    # the last line of a long head was cut by us, that of a short file perhaps by a power cut; a row or two are enough
    whole = text[: text.rfind("\n")] if text.count("\n") > 2 else text
    return whole.replace("\x00", "").replace("\ufeff", "")


def _recognised(
    dialect: Dialect, name: str, stated: Stated, stated_plans: list[ColumnPlan]
) -> tuple[list[ColumnPlan], list[str]]:
    """Return the columns that the header's words name, beside those that are stated."""
    units = dialect.units or ("",) * len(dialect.names)
    if not dialect.header_line and not stated_plans:
        raise InputError(
            f"{name}: has no header that says what its columns are; say so in a profile (--profile, see README)"
        )
    where = f"{name}, line {dialect.header_line}"
    columns = [dialect.column(index) for index in range(len(dialect.names))]
    used = {k - 1 for k in stated.unused}.union(*(plan.indices for plan in stated_plans))
    # a column of words is no reading, whatever its name; an empty one may be filled later
    names = [
        word if k not in used and (not cells or are_numbers(cells)) else ""
        for k, (word, cells) in enumerate(zip(dialect.names, columns, strict=True))
    ]
    try:
        names = named_by_units(dialect, names)
        chosen, sentences = choose(names, units, [bool(cells) for cells in columns], stated.entries)
    except InputError as error:
        raise placed(error, f"{where}, ") from None
    if not {"current_A", "power_W"} & (chosen.keys() | stated.entries.keys()):
        taken = {column.index for column in chosen.values()}
        raise placed(nothing_to_integrate(dialect, units, taken), f"{where}: ")
    _check_one_meter(dialect, columns, name)
    chosen |= _signs_by_name(dialect, stated, stated_plans)
    plans = [ColumnPlan(q, taken.index, taken.unit, minus=taken.into) for q, taken in chosen.items()]
    by_quantity = {plan.quantity: plan for plan in [*plans, *stated_plans]}
    plans = list(by_quantity.values())
    # What --reverse-sign turns needs no turning here: the person has read the same name.
    if stated.reverse_sign:
        return plans, sentences
    for plan in plans:
        if plan.quantity in ("current_A", "power_W") and plan.quantity in chosen and chosen[plan.quantity].charging:
            from ..questions.signs import charging_alone

            raise charging_alone(named(dialect, plan), plan.quantity).at(f"{where}, ")
    turned = {quantity for quantity, taken in chosen.items() if taken.turned}
    sentences += [
        f"{quoted(dialect.names[p.index])} says that charging is positive, so its sign is turned"
        for p in plans
        if p.quantity in turned
    ]
    return [turned_sign(plan) if plan.quantity in turned else plan for plan in plans], sentences


def _signs_by_name(dialect: Dialect, stated: Stated, plans: list[ColumnPlan]) -> dict[str, TakenColumn]:
    """Return stated columns of which nothing is stated about their sign, with what their names say of it."""
    taken = {}
    for plan in plans:
        if {"sign", "direction", "minus"} & _stated_keys(stated, plan.quantity):
            continue
        what = meaning_of_stated(dialect.names[plan.index], dialect.units[plan.index] if dialect.units else "")
        if what is not None and what.quantity == plan.quantity:
            taken[plan.quantity] = taken_alone(plan.index, dialect.names[plan.index], what)
    return taken


def _check_one_meter(dialect: Dialect, columns: Sequence[Sequence[str]], name: str) -> None:
    """Refuse rows of several meters in turns: together they are no log."""
    for word, cells in zip(dialect.names, columns, strict=True):
        turns = sum(one != other for one, other in pairwise(cells))
        if word.lower() in _METERS and 1 < len(set(cells)) < 50 and turns > 2 * len(set(cells)):
            raise InputError(
                f"{name}: column {quoted(word)} names {len(set(cells))} of them in turns, but a log holds one meter; "
                "export each alone, or name the columns in a profile if this is none"
            )


def _naming_one_meter(dialect: Dialect, used: set[int]) -> list[WatchedColumn]:
    """Return the columns that name the meter: where they name another than at first, its rows are of another log."""
    named = [k for k, word in enumerate(dialect.names) if word.lower() in _METERS and k not in used]
    return [
        WatchedColumn(k, frozenset({dialect.column(k)[0].lower()}), dialect.names[k], _NOBODY, named=False, meter=True)
        for k in named
        if dialect.column(k)
    ]


def _check_one_kind(dialect: Dialect, time: TimePlan, name: str) -> None:
    """Refuse rows of several kinds for the same instants, such as lowest, mean and highest: each is a log."""
    stamps = [tuple(row[k] for k in time.indices) for row in dialect.sample]
    twins = [(one, other) for one, other in pairwise(range(len(stamps))) if stamps[one] == stamps[other]]
    if len(twins) < _FEW_TWINS:
        return
    for index, word in enumerate(dialect.names):
        cells = [row[index] for row in dialect.sample]
        kinds = {cell for cell in cells if cell}
        differ = sum(cells[one] != cells[other] for one, other in twins)
        if index in time.indices or not all(cells) or not 1 < len(kinds) <= _MOST_KINDS or differ < len(twins):
            continue
        if not any(c.isdigit() for kind in kinds for c in kind):
            shown = ", ".join(quoted(kind) for kind in sorted(kinds))
            raise InputError(
                f"{name}: column {quoted(word)} names rows of several kinds ({shown}) for the same instants, but a log "
                "holds one reading for each; export one kind alone, or name the columns in a profile (--profile) if "
                "they are none"
            )


def _stated(dialect: Dialect, quantity: str, entry: ColumnEntry, name: str) -> ColumnPlan:
    index = find_column(dialect, entry.column, f"quantities.{quantity}.column", name)
    directions = minus = None
    if entry.direction is not None:
        at = find_column(dialect, entry.direction.column, f"quantities.{quantity}.direction.column", name)
        directions = Directions(
            at, frozenset(entry.direction.draw), frozenset(entry.direction.returned), frozenset(entry.direction.none)
        )
    if entry.minus is not None:
        minus = find_column(dialect, entry.minus, f"quantities.{quantity}.minus", name)
    try:
        unit = _unit_for(dialect, quantity, index, entry.unit)
    except InputError as error:
        raise InputError(f"{name}, {error}") from None
    turned = entry.sign == "return_positive"
    sign = -1.0 if turned else 1.0
    return ColumnPlan(
        quantity,
        index,
        unit,
        scale=entry.scale * sign,
        offset=entry.offset * sign,
        turned=turned,
        directions=directions,
        minus=minus,
    )


def _unit_for(dialect: Dialect, quantity: str, index: int, stated: str | None) -> Unit:
    """Return the stated unit, else the one in the column's own name or the units row, else the quantity's."""
    if stated is not None:
        return unit_of(quantity, stated, column=dialect.names[index])
    column = meaning(dialect.names[index], dialect.units[index] if dialect.units else "")
    return column.unit if column is not None and column.quantity == quantity else unit_of(quantity, None, column="")


def _with_forms(
    dialect: Dialect, columns: list[ColumnPlan], time: TimePlan, stated: str | None, name: str
) -> list[ColumnPlan]:
    """Add how each column writes its numbers, and the unit that its cells may carry."""
    mark = {"comma": ",", "point": "."}.get(stated or "")
    others = [cell for k in range(len(dialect.names)) if k not in time.indices for cell in dialect.column(k)]
    ready = []
    for plan in columns:
        cells = dialect.column(plan.index) + (dialect.column(plan.minus) if plan.minus is not None else [])
        try:
            form = find_form(
                cells,
                others,
                column=dialect.names[plan.index],
                stated=mark,
                stays_large=_may_stay_large(dialect, plan),
                # Who groups by points writes decimal commas, and so seldom puts commas between columns.
                points_group=dialect.delimiter != ",",
                unit="" if plan.unit.dimension == "ratio" else plan.unit.symbol,
            )
            unit = _with_suffix(plan, form.suffix, dialect.names[plan.index])
        except InputError as error:
            raise placed(error, f"{name}, ") from None
        ready.append(replace(plan, form=form, unit=unit))
    return ready


def _may_stay_large(dialect: Dialect, plan: ColumnPlan) -> bool:
    """Tell whether readings could all be above a thousand of the column's unit: no amps, volts or kilowatts are."""
    stated = unit_in_header(dialect, plan.index)
    return stated is None or stated.multiply / stated.divide < (1000.0 if stated.dimension == "power" else 1.0)


def _with_suffix(plan: ColumnPlan, suffix: str, column: str) -> Unit:
    if not suffix:
        return plan.unit
    unit = unit_of(plan.quantity, suffix, column=column)
    if plan.unit not in (unit, unit_of(plan.quantity, None, column=column)):
        raise InputError(f"column {quoted(column)}: is in {plan.unit.symbol} by its name, but its cells say {suffix}")
    return unit
