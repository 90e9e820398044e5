"""What a site file comes to: whether it can be right, what fails, and what could be added to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ..wording.numbers import counted, shortened
from .answer import Reply

if TYPE_CHECKING:
    from ....analysis.site.site import Site


def site_answer(site: Site, meaning: Sequence[str], warnings: Sequence[str]) -> Reply:
    """Return whether a site file can be right, and what to add; `meaning` says what it means, sentence by sentence."""
    name = shortened(site.name)
    head = f"{name}: look again at {counted(len(warnings), 'thing')} in it."
    # What may not be left unread is that something fails: the sentences on it have their place before all others.
    fails = [sentence for sentence in meaning if " fails" in sentence or "doubtful" in sentence]
    word = [sentence for sentence in meaning if sentence.startswith("With all loads")]
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
