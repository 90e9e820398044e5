"""What of a system cannot be judged by its site file as it stands, with the keys that would let it be judged."""

from __future__ import annotations

import re
from collections.abc import Iterator

from ..equipment.conductor import check_conductors
from ..equipment.inverter_check import check_inverter
from ..equipment.motor_start import torque_known
from ..equipment.solar import performance_ratio_of
from ..equipment.water import tank_plan
from ..forecast.bank_check import bank_by_plates
from ..not_known import Missing
from ..site.motor_kinds import turns
from ..site.site import Site
from .remark import Place, SiteRemark


def unjudged(site: Site) -> list[SiteRemark]:
    """Return a sentence for each part that was not judged, with the paths of the keys that are missing."""
    places: dict[tuple[str, str], Place] = {
        (table, each.name): (table, n)
        for table in ("inverters", "loads", "conductors")
        for n, each in enumerate(getattr(site, table))
    }
    remarks = {each.sentence: SiteRemark(each.sentence, _paths(each, places)) for each in _missing(site)}
    return list(remarks.values())


def _missing(site: Site) -> Iterator[Missing]:
    if site.loads:
        yield from bank_by_plates(site, site.loads).not_judged
    for load in site.loads:
        if load.start == "soft" and load.inverter is not None and turns(load) and (torque := torque_known(load)):
            yield torque
    for inverter in site.inverters:
        check = check_inverter(inverter, site)
        # Without its running draw a start is not known either: that is one thing to mend.
        first = next((each for each in (check.running, check.starting) if isinstance(each, Missing)), None)
        yield from ([first] if first else [])
        yield from check.left_out
    for conductor in check_conductors(site):
        yield from conductor.missing
    if site.water is not None and isinstance(plan := tank_plan(site.water), Missing):
        yield plan
    if site.array is not None:
        if site.array.sun_hours_h is None:
            yield Missing("yield of the array", ("array.sun_hours_h",))
        if isinstance(ratio := performance_ratio_of(site.array), Missing):
            yield ratio


def _paths(missing: Missing, places: dict[tuple[str, str], Place]) -> tuple[Place, ...]:
    """Return the paths of the keys to add; of a list of tables the item that the sentence names."""
    named = re.findall(r"'([^']*)'", missing.what)
    paths: list[Place] = []
    for key in missing.add:
        table, _, name = key.partition(".")
        items = [places[table, each] for each in named if (table, each) in places]
        several = table in ("inverters", "loads", "conductors")
        if name and (items or not several):
            paths += [(*(items[0] if items else (table,)), name)]
        elif table:
            paths.append((table,))
    return tuple(paths)
