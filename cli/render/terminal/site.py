"""What a site file comes to: whether it can be right, what fails of it, what could be added; its cables in full."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ....analysis.equipment.protection import MAINS_SIDE
from ....analysis.not_known import Missing
from ..wording.numbers import counted, shortened, uncapital
from .answer import Reply

if TYPE_CHECKING:
    from ....analysis.equipment.conductor import ConductorCheck
    from ....analysis.forecast.forecast import Forecast
    from ....analysis.site.site import Site


def site_answer(site: Site, meaning: Sequence[str], warnings: Sequence[str]) -> Reply:
    """Return whether a site file can be right, and what to add; `meaning` says what it means, sentence by sentence."""
    name = shortened(site.name)
    head = f"{name}: look again at {counted(len(warnings), 'thing')} in it."
    # What may not be left unread is that something fails: the sentences on it have their place before all others.
    fails = [sentence for sentence in meaning if " fails" in sentence or "doubtful" in sentence]
    word = [sentence for sentence in meaning if sentence.startswith("With all loads") or sentence == MAINS_SIDE]
    return Reply(
        [
            head if warnings else f"{name}: nothing in it contradicts itself.",
            *(f"Look again: {sentence}" for sentence in warnings),
            *dict.fromkeys([*fails, *word]),
            meaning[1],
            *_to_add(site),
        ],
        [*meaning, *([] if warnings else ["Nothing in it contradicts itself."])],
        "what each table of it means",
    )


def _to_add(site: Site) -> Iterator[str]:
    """Yield what the file has not, and what it would be good for."""
    tables = (
        (site.loads, "loads (what runs, by its plate)"),
        (site.inverters, "inverters (whether they carry the loads)"),
        (site.conductors, "conductors (whether cables and fuses do)"),
        (site.array or site.chargers, "array (when the sun has paid a load back)"),
        (site.meters, "meters (how sure the figures are)"),
        (site.water, "water (whether the tank is sound)"),
    )
    lacking = [words for table, words in tables if not table]
    if lacking:
        yield f"It says nothing of {'; '.join(lacking)}."


def conductor_lines(checks: tuple[ConductorCheck, ...]) -> list[str]:
    """Return the word on each conductor and every comparison behind it."""
    if not checks:
        return ["", "conductors and fuses: not judged, the site file has none (conductors)"]
    lines = []
    for check in checks:
        lines += ["", f"conductor '{shortened(check.conductor)}': {check.verdict}"]
        lines += [f"  {each.verdict}: {uncapital(each.sentence)}" for each in check.screened]
        unknown = (*check.missing, *([check.breaking] if isinstance(check.breaking, Missing) else []))
        lines += [f"  {each.sentence}" for each in unknown]
    return lines


def mains_side(forecast: Forecast) -> list[str]:
    """Say that cables behind an inverter were not judged, where others were."""
    return [MAINS_SIDE] if forecast.conductors and forecast.inverter is not None else []
