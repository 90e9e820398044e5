"""Results as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .words import amount, clock, duration, plus_minus, zone_of

if TYPE_CHECKING:
    from ...analysis.charge import Amounts, Charge, Span
    from ...analysis.report import LogFacts


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> list[str]:
    """Return rows as aligned lines; columns in `right` are aligned to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return lines


def span_lines(facts: LogFacts, span: Span) -> list[str]:
    """Return in words what time was measured, and what was not."""
    zone = "" if facts.undated else f" ({zone_of(facts)[0]}{', assumed' if facts.zone_assumed else ''})"
    lines = [
        f"from {clock(span.start_us, facts)} to {clock(span.stop_us, facts, near_us=span.start_us)}{zone}: "
        f"{duration(span.covered_s)} measured, {span.readings:,} readings"
    ]
    if span.gaps:
        gaps = "1 gap" if len(span.gaps) == 1 else f"{len(span.gaps)} gaps"
        lines.append(f"not measured: {duration(span.uncovered_s)} in {gaps}; nothing is counted for it")
    return lines


def charge_lines(facts: LogFacts, charge: Charge) -> list[str]:
    """Return charge and energy as a small table with what they rest on."""
    lines = [f"{facts.name}: {facts.meter or 'a meter'} on side {facts.side}", *span_lines(facts, charge.span), ""]
    rows = [["", *(["charge"] if charge.charge else []), *(["energy"] if charge.energy else [])]]
    for word, meaning in (("drawn", "out of the bank"), ("returned", "into the bank"), ("net", "")):
        row = [f"{word} {'' if facts.side == 'ac' else meaning}".rstrip()]
        row += [_cell(charge.charge, word, "Ah")] if charge.charge else []
        row += [_cell(charge.energy, word, "Wh")] if charge.energy else []
        rows.append(row)
    lines += table(rows, right=(1, 2))
    lines.append("")
    if charge.charge is None and facts.side == "ac":
        lines.append("behind an inverter: amps there are no charge out of the bank, so energy only")
    if charge.energy is None:
        lines.append("no energy: the log has neither volts nor watts")
    else:
        lines.append(f"energy from {charge.energy_by}" + _of_means(facts, charge))
    if charge.counter is not None:
        counter = charge.counter
        lines.append(
            f"the meter's own counter says {amount(counter.charge_Ah, 'Ah')} ({counter.against}); "
            f"ours differs by {amount(counter.difference_Ah, 'Ah')}"
        )
    return lines


def _of_means(facts: LogFacts, charge: Charge) -> str:
    if facts.sampling == "mean" and charge.energy_by == "volts x amps":
        return " (of means: what switched within a reading makes it a little wrong)"
    return ""


def _cell(amounts: Amounts | None, word: str, unit: str) -> str:
    if amounts is None:
        return ""
    return plus_minus(getattr(amounts, word), getattr(amounts, f"{word}_u95"), unit)
