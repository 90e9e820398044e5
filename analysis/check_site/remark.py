"""What is said of a site file, and the keys that it is about."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..site.site import Site
from ..site.strict_table import StrictTable

#: The path of a key in the file: ``("loads", 0, "hp")``.
Place = tuple[str | int, ...]


@dataclass(frozen=True)
class Oddity:
    """A sentence on figures that do not go together, and the tables and keys in which they stand."""

    sentence: str
    about: tuple[tuple[StrictTable, str], ...] = ()


@dataclass(frozen=True)
class SiteRemark:
    """A sentence on a site file, and the paths of the keys that it is about."""

    sentence: str
    about: tuple[Place, ...]


def odd(sentence: str, *about: tuple[StrictTable | None, str | Iterable[str]]) -> Oddity:
    """Return a sentence about keys of tables, in one text or one by one; a table that is not there is left out."""
    keys = [
        (table, key)
        for table, names in about
        if table is not None
        for key in (names.split() if isinstance(names, str) else names)
    ]
    return Oddity(sentence, tuple(keys))


def given(table: StrictTable, *beginnings: str) -> tuple[str, ...]:
    """Return the keys of a table that were given, of those that begin so: ``cut_in`` in whichever unit."""
    return tuple(
        key for key in type(table).model_fields if key in table.model_fields_set and key.startswith(beginnings)
    )


def placed(oddities: Iterable[Oddity], site: Site) -> list[SiteRemark]:
    """Return sentences with the paths of what they are about; of a key that is not given the path all the same."""
    # By identity: two loads may say the same, and to compare each with each would take longer than the checks.
    paths: dict[int, Place] = {}
    for name in type(site).model_fields:
        held = getattr(site, name)
        for place, table in enumerate(held) if isinstance(held, tuple) else [(None, held)]:
            if isinstance(table, StrictTable):
                paths[id(table)] = (name,) if place is None else (name, place)
    return [
        SiteRemark(each.sentence, tuple((*paths[id(table)], key) for table, key in each.about if id(table) in paths))
        for each in oddities
    ]
