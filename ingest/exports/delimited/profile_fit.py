"""Whether a profile still fits an export: columns that it names and the header does not have, line by line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ...errors import InputError
from .dialect import Dialect
from .time_columns import find_column

if TYPE_CHECKING:
    from ...profiles.columns import Place
    from ...profiles.model import Profile


def check_fits(dialect: Dialect, profile: Profile, name: str) -> None:
    """Stop where an export lacks columns that its profile names.

    Raises
    ------
    InputError
        With a line for each of the profile's lines that do not fit, not the first alone.
    """
    misfits: list[str] = []
    for where, place in _places(profile):
        try:
            find_column(dialect, place, ".".join(where), name)
        except InputError as error:
            # The header once is enough: the others are told by their line and what it says.
            words = f": {error}" if not misfits else f": nor does {'.'.join(where)} = {place!r} fit"
            misfits.append(f"{profile.line_of(*where)}{words}")
    if misfits:
        raise InputError(*misfits)


def _places(profile: Profile) -> Iterator[tuple[tuple[str, ...], Place]]:
    """Yield every place of a column that a profile names, with its key."""
    if (time := profile.time) is not None:
        for key, place in (("column", time.column), ("date", time.date), ("clock", time.clock)):
            if place is not None:
                yield ("time", key), place
    for quantity, entry in profile.quantities.items():
        yield ("quantities", quantity, "column"), entry.column
        if entry.minus is not None:
            yield ("quantities", quantity, "minus"), entry.minus
        if entry.direction is not None:
            yield ("quantities", quantity, "direction", "column"), entry.direction.column
