"""A profile of what was answered and recognised, so that the next export of a meter is read without an option."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import TYPE_CHECKING, Final, get_args

from ..errors import InputError
from ..profiles.kept import Table, profile_text
from ..profiles.model import Profile
from ..quantities import SIGNED
from .delimited.layout import find_layout
from .delimited.plan import ColumnPlan, Directions, Layout, TimePlan, unit_in_header
from .delimited.stated import Stated
from .times.stamps import SHEET_ZEROS, TimeStyle

if TYPE_CHECKING:
    from .adapter import Export
    from .intake import Intake

_REMARK: Final = """Written by shuntbook convert --keep-profile: how the exports of this meter are read.
    shuntbook convert EXPORT --profile THIS_FILE --out LOG"""


def kept_profile(intake: Intake, stated: Stated) -> str:
    """Return the profile by which an export would be read as it was with all that was stated, in TOML.

    Raises
    ------
    InputError
        If a profile cannot say how it was read.
    """
    export, meta, own = intake.export, intake.meta, stated.profile
    layout = export.layouts[0]
    name = export.sources[0].name
    if not isinstance(layout, Layout):
        raise InputError(f"--keep-profile: {name} has no columns that a profile could name")
    gap = own.gap if own is not None and stated.gap_s is None else stated.gap_s and f"{stated.gap_s:.12g}s"
    top: Table = {
        "name": own.name if own is not None else None,
        "side": meta.side,
        "sampling": meta.sampling,
        "counter": own.counter if own is not None else None,
        "zone": stated.zone or (own.zone if own is not None else None),
        "gap": gap or None,
    }
    tables = {"file": _file(layout, stated), "time": _time(layout)} | _quantities(layout, stated)
    text = profile_text(top, tables, remark=_REMARK)
    _check(text, export, layout, reverse=stated.reverse_sign)
    return text


def _file(layout: Layout, stated: Stated) -> Table:
    file = stated.profile.file if stated.profile is not None else None
    stated_before = dict(file.model_dump()) if file is not None else {}
    marks = {plan.decimal for plan in layout.columns if _shows_mark(layout, plan)}
    recognised = {",": "comma", ".": "point"}[marks.pop()] if len(marks) == 1 else None
    # What the person stated goes before what the cells show, as it did when they were read.
    decimal = stated.decimal or stated_before.get("decimal") or recognised
    return {**stated_before, "decimal": decimal, "sheet": stated.sheet or stated_before.get("sheet")}


def _shows_mark(layout: Layout, plan: ColumnPlan) -> bool:
    """Tell whether a column's cells hold its decimal mark: whole numbers leave it open for the next export."""
    return any(plan.decimal in cell for cell in layout.dialect.column(plan.index))


def _time(layout: Layout) -> Table:
    indices, style = layout.time.indices, layout.time.style
    keys = {1: ("column",), 2: ("date", "clock")}.get(len(indices), ())
    word = style.order or "" if style.kind == "calendar" else f"{style.kind} {style.unit}"
    word = f"sheet {style.unit}" if style.unit in SHEET_ZEROS and style.kind == "calendar" else word
    if not keys or word not in get_args(TimeStyle):
        return {}  # found again as it was found now, which is checked below
    return {**{key: _place(layout, k) for key, k in zip(keys, indices, strict=True)}, "style": word}


def _quantities(layout: Layout, stated: Stated) -> dict[str, Table]:
    tables: dict[str, Table] = {}
    for plan in _turned(layout, reverse=stated.reverse_sign):
        header = f"quantities.{plan.quantity}"
        sign = -1.0 if plan.turned else 1.0
        # A unit that the header or the cells say is read there again: they may change it, and then they are right.
        is_told = bool(plan.form.suffix) or unit_in_header(layout.dialect, plan.index) == plan.unit
        tables[header] = {
            "column": _place(layout, plan.index),
            "minus": _place(layout, plan.minus) if plan.minus is not None else None,
            "unit": None if is_told else plan.unit.symbol,
            "scale": plan.scale * sign if plan.scale * sign != 1.0 else None,
            "offset": plan.offset * sign or None,
            "sign": "return_positive" if plan.turned else _as_stated(plan, stated),
        }
        if (ways := plan.directions) is not None:
            tables[f"{header}.direction"] = {
                "column": _place(layout, ways.index),
                "draw": sorted(ways.draw),
                "return": sorted(ways.returned),
                "none": sorted(ways.none),
            }
    return tables


def _as_stated(plan: ColumnPlan, stated: Stated) -> str | None:
    """Return that draw is positive where a person said it, so that nobody is asked again."""
    entry = stated.entries.get(plan.quantity)
    return entry.sign if entry is not None and not stated.reverse_sign and "sign" in entry.model_fields_set else None


def _place(layout: Layout, index: int) -> str | int:
    """Return a column's name; its number, counted from 1, where it has none or another is called so, too."""
    names = [word.strip() for word in layout.dialect.names]
    alike = [word for word in names if word.lower() == names[index].lower()]
    return names[index] if layout.dialect.header_line and names[index] and len(alike) == 1 else index + 1


def _check(text: str, export: Export, layout: Layout, *, reverse: bool) -> None:
    """Stop where the export would be read otherwise by its profile: some ways of writing no profile can say."""
    no_way = InputError(
        f"--keep-profile: {layout.name} is written in a way that no profile can say; leave --keep-profile out"
    )
    try:
        profile = Profile.model_validate(tomllib.loads(text))
    except ValueError:
        raise no_way from None
    again = find_layout(export.sources[0], Stated(profile=profile).filled()).with_words_of(layout)
    time = again.time
    if time.style.order is None:  # decided from all rows of the export, as it was the first time
        time = TimePlan(time.indices, replace(time.style, order=layout.time.style.order))
    if time != layout.time or _turned(again, reverse=False) != _turned(layout, reverse=reverse):
        raise no_way


def _turned(layout: Layout, *, reverse: bool) -> list[ColumnPlan]:
    """Return how the columns are read, draw and return changed where that was asked for.

    That commas group thousands, or that no mark was seen, is left out: a stated mark settles it, a sample may not.
    """
    by_quantity = sorted(layout.columns, key=lambda plan: plan.quantity)
    plans = [
        replace(p, form=replace(p.form, grouped=False, open=False), directions=_as_written(layout, p.directions))
        for p in by_quantity
    ]
    return [_other_way(plan) if reverse and plan.quantity in SIGNED else plan for plan in plans]


def _as_written(layout: Layout, ways: Directions | None) -> Directions | None:
    """Return words of a way that were known as they stand in the sample: a profile knows no others."""
    if ways is None or not ways.recognised:
        return ways
    cells = {row[ways.index] for row in layout.dialect.sample}
    draw, returned, none = (
        frozenset(cell for cell in cells if cell.lower() in words) for words in (ways.draw, ways.returned, ways.none)
    )
    return Directions(ways.index, draw, returned, none)


def _other_way(plan: ColumnPlan) -> ColumnPlan:
    # A column of directions gives the sign whatever the reading's own is, so its words change places.
    if (ways := plan.directions) is not None:
        return replace(plan, directions=replace(ways, draw=ways.returned, returned=ways.draw))
    return replace(plan, scale=-plan.scale, offset=0.0 - plan.offset, turned=not plan.turned)
