"""The page's words on how sure the amounts are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import words
from .charge_words import in_gaps_lines, sureness_lines
from .tables import Table

if TYPE_CHECKING:
    from ...analysis.report import LogReport


def budget(log: LogReport) -> Table | None:
    """Return where the uncertainty of what was drawn comes from; None where nothing is known of it."""
    charge, energy = log.charge.charge, log.charge.energy
    leading = charge or energy
    if leading is None or leading.sure is None:
        return None
    sure = leading.sure.drawn
    in_Ah, in_Wh = ({p.source: p.u for p in x.sure.drawn.components} if x and x.sure else {} for x in (charge, energy))
    reasons = {p.source: p.reason for x in (charge, energy) if x and x.sure for p in x.sure.drawn.components}
    shares = {p.source: sure.share(p) for p in sure.components}
    rows = tuple(
        (
            source,
            words.amount(in_Ah[source], "Ah") if source in in_Ah else "none",
            words.amount(in_Wh[source], "Wh") if source in in_Wh else "none",
            words.percent(shares[source]) if source in shares else "none",
            reason,
        )
        for source, reason in reasons.items()
    )
    of = "charge" if charge is not None else "energy"
    head = ("Source", "Of Ah", "Of Wh", "Share", "Why")
    return Table(f"Where ± comes from: the standard uncertainty of the {of} drawn, by source", head, rows, prose=True)


def leading(log: LogReport) -> str | None:
    """Say which source of error the ± of what was drawn comes from most; None where nothing is known of it."""
    amounts = log.charge.charge or log.charge.energy
    if amounts is None or amounts.sure is None or not amounts.sure.drawn.components:
        return None
    sure = amounts.sure.drawn
    first = max(sure.components, key=sure.share)
    return f"Of what makes up the ±, {first.source} is the most: {words.percent(sure.share(first))}."


def remarks(log: LogReport) -> tuple[str, ...]:
    """Return in sentences what was assumed of the meter, what was corrected, and what gaps may have held."""
    lines = [*in_gaps_lines(log.charge), *sureness_lines(log.charge, log.figures, starts_known=log.starts_known)]
    return tuple(line for line in lines if not line.startswith("where ± comes from"))
