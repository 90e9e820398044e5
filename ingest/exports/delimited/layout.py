"""What each column of an export is, and where its time is: dialect, header and profile brought together."""

from __future__ import annotations

import codecs
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from ...errors import InputError, quoted
from ...quantities import Unit, unit_of
from ..amounts.number_forms import find_form
from ..texts.decode import Source, find_encoding
from .borne_out import UNIT_NAMES, borne_out, named_by_units, refuse_signed_ways, sample_values, with_unit_columns
from .choice import choose, in_toml
from .dialect import DELIMITERS, Dialect, find_dialect
from .directions import turned_sign, with_directions
from .header import all_named, meaning, names_time, not_watts, words_of
from .plan import ColumnPlan, Directions, Layout, TimePlan, WatchedColumn, unit_in_header
from .remarks import question_above, remarks
from .side import ac_column
from .stated import Stated
from .time_columns import find_column, time_plan

if TYPE_CHECKING:
    from ...profiles.columns import ColumnEntry

#: What the lines of plain rows seldom hold: quotes or bars that they begin with, two blanks, a rule.
_UNUSUAL = re.compile(r'^[ \t]*["|+]|\S  +\S|--', re.MULTILINE)
#: So many rows of an instant that another row tells, too, show the kinds of rows, of which there may be so many: common
#: practice, no source.
_FEW_TWINS, _MOST_KINDS = 3, 12
_METERS = {
    "device", "device id", "device name", "meter", "meter id", "sensor", "sensor id", "channel", "node", "serial",
}  # fmt: skip


def find_layout(source: Source, stated: Stated) -> Layout:
    """Recognise an export from its beginning, as far as nothing else is stated.

    Raises
    ------
    InputError
        If there is no table, no time or no quantity in it, or a stated column is missing.
    """
    profile = stated.profile
    encoding, dialect = find_table(source, stated)
    sentences: list[str] = []
    if profile is not None:
        from .profile_fit import check_fits  # most exports are read without a profile

        check_fits(dialect, profile, source.name)
    if profile is not None and profile.quantities:
        columns = [_stated(dialect, quantity, entry, source.name) for quantity, entry in profile.quantities.items()]
        bare = [plan for plan in columns if profile.quantities[plan.quantity].unit is None]
        columns = [plan for plan in columns if plan not in bare] + with_unit_columns(dialect, bare, source.name)
    else:
        columns, sentences = _recognised(dialect, source.name, reverse=stated.reverse_sign)
        columns = with_unit_columns(dialect, columns, source.name)
    # The time before the forms of numbers: its cells hold marks that are none of a number's.
    time = time_plan(dialect, stated, source.name)
    columns = _with_forms(dialect, columns, time, stated.decimal, source.name)
    speaks_of_ac = ac_column(dialect.names, dialect.units, {plan.quantity: plan.index for plan in columns})
    # A profile is believed; of what was recognised the values are asked.
    if profile is None or not profile.quantities:
        columns, left_out = borne_out(
            dialect,
            columns,
            time,
            ac=stated.side == "ac" or (stated.side is None and speaks_of_ac is not None),
            reverse_sign=stated.reverse_sign,
            name=source.name,
        )
        sentences += left_out
    watched: list[WatchedColumn] = []
    recognised = profile is None or not profile.quantities
    if recognised:
        _check_one_kind(dialect, time, source.name)
        watched = _naming_one_meter(dialect, {*time.indices}.union(*(plan.indices for plan in columns)))
    if recognised and dialect.header_line > 1:
        above = _head_text(source.head(), encoding, source.name).split("\n")[: dialect.header_line - 1]
        if question := question_above(above, dialect, columns, reverse=stated.reverse_sign):
            raise InputError(f"{source.name}, {question}")
    if recognised and speaks_of_ac is None and stated.side != "ac":
        values = {p.quantity: sample_values(dialect, p) * (-1.0 if p.turned else 1.0) for p in columns}
        try:
            refuse_signed_ways(dialect, columns)
            columns, about_sign, ways = with_directions(
                dialect, columns, values, time.indices, reverse=stated.reverse_sign
            )
        except InputError as error:
            raise InputError(f"{source.name}, {error}") from None
        sentences += about_sign
        watched += ways
    sentences += [*source.remarks, *remarks(dialect, time, columns, stated, speaks_of_ac)]
    is_ac = speaks_of_ac is not None
    return Layout(source.name, encoding, dialect, time, tuple(columns), is_ac, tuple(sentences), tuple(watched))


def find_table(source: Source, stated: Stated) -> tuple[str, Dialect]:
    """Return a text's encoding and how its rows are laid out; the shape of its lines is noted in the source.

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


def _recognised(dialect: Dialect, name: str, *, reverse: bool) -> tuple[list[ColumnPlan], list[str]]:
    units = dialect.units or ("",) * len(dialect.names)
    if not dialect.header_line:
        raise InputError(
            f"{name}: has no header that says what its columns are; say so in a profile (--profile, see README)"
        )
    columns = [dialect.column(index) for index in range(len(dialect.names))]
    # a column of words is no reading, whatever its name; an empty one may be filled later
    names = [
        word if not cells or _are_numbers(cells) else "" for word, cells in zip(dialect.names, columns, strict=True)
    ]
    try:
        chosen, sentences = choose(named_by_units(dialect, names), units, [bool(cells) for cells in columns])
    except InputError as error:
        raise InputError(f"{name}, line {dialect.header_line}, {error}") from None
    if not {"current_A", "power_W"} & chosen.keys():
        taken = {column.index for column in chosen.values()}
        raise InputError(f"{name}, line {dialect.header_line}: {_nothing_to_integrate(dialect, units, taken)}")
    _check_one_meter(dialect, columns, name)
    plans = [ColumnPlan(quantity, taken.index, taken.unit, minus=taken.into) for quantity, taken in chosen.items()]
    # What --reverse-sign turns needs no turning here: the person has read the same name.
    if reverse:
        return plans, sentences
    for plan in plans:
        if plan.quantity in ("current_A", "power_W") and chosen[plan.quantity].charging:
            raise InputError(f"{name}, line {dialect.header_line}, {_charging_alone(dialect.names[plan.index], plan)}")
    turned = {plan.quantity for plan in plans if chosen[plan.quantity].turned}
    sentences += [
        f"{quoted(dialect.names[p.index])} says that charging is positive, so its sign is turned"
        for p in plans
        if p.quantity in turned
    ]
    return [turned_sign(plan) if plan.quantity in turned else plan for plan in plans], sentences


def _charging_alone(word: str, plan: ColumnPlan) -> str:
    return (
        f"column {quoted(word)} speaks of charging or of one way, so it may count into the bank as positive: then add "
        f"--reverse-sign, since draw is positive in a log; if draw is positive there, say so in a profile: "
        f'quantities.{plan.quantity} = {{column = {in_toml(word)}, sign = "draw_positive"}}'
    )


def _nothing_to_integrate(dialect: Dialect, units: Sequence[str], taken: set[int]) -> str:
    """Return why no amps and no watts are taken: columns that could be them by their numbers, or none."""
    for word, cell in zip(dialect.names, units, strict=True):
        if (kind := not_watts(word, cell)) is not None:
            return (
                f"column {quoted(word)} is {kind}, and {'VA' if kind.startswith('apparent') else 'var'} is not W; "
                "export a column of active power in W, or those of volts, amps and power factor"
            )
    names = dialect.names
    readings = [word for k, word in enumerate(names) if word and k not in taken and _could_be_read(dialect, k)]
    if readings:
        # Units by row are read without a word on them.
        unit = "" if any(words_of(word) & UNIT_NAMES for word in names) else ', unit = "A"'
        are, one = ("is", "column") if len(readings) == 1 else ("are", "columns")
        return (
            f"nothing says which column is the current or the power; {one} {all_named(readings)} {are} numbers of "
            f"which nothing is known: say in a profile (--profile, see README) what is meant, such as "
            f"quantities.current_A = {{column = {in_toml(readings[0])}{unit}}}"
        )
    if taken:
        words = all_named([names[k] for k in sorted(taken)])
        return (
            f"holds {words}, but neither amps nor watts, so nothing can be integrated; to keep it as a log all the "
            "same, name its columns in a profile (--profile, see README)"
        )
    return (
        f"none of the columns {all_named(names)} is a quantity I know; name them in a profile (--profile, see README)"
    )


def _could_be_read(dialect: Dialect, index: int) -> bool:
    """Tell whether a column holds numbers, and no times."""
    cells = dialect.column(index)
    times = sum(":" in cell for cell in cells) + names_time(dialect.names[index])
    return bool(cells) and _are_numbers(cells) and not times


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
        WatchedColumn(k, frozenset({dialect.column(k)[0].lower()}), dialect.names[k], "", named=False, meter=True)
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


def _are_numbers(cells: Sequence[str]) -> bool:
    return 2 * sum(any(c.isdigit() for c in cell) for cell in cells) >= len(cells)


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
            raise InputError(f"{name}, {error}") from None
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
