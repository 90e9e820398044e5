"""Charge and energy in words: the amounts, how sure they are, and what they rest on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ....analysis.cycles.noted_runs import event_in
from ..wording.clock import clock
from ..wording.numbers import PLUS_MINUS_MEANS, amount, counted, duration, number, plus_minus, shortened
from ..wording.sureness import in_gaps_lines, sureness_lines
from .answer import Reply
from .columns import Columns
from .span import span_in_short, span_lines

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts, Charge
    from ....analysis.charge.between_notes import MarkedStretch
    from ....analysis.quality.sign_check import SignCheck
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.sureness.meter_figures import MeterFigures


def charge_answer(
    facts: LogFacts,
    charge: Charge,
    figures: MeterFigures,
    sign: SignCheck | None = None,
    marked: Sequence[MarkedStretch] = (),
    *,
    starts_known: bool = False,
) -> Reply:
    """Return charge and energy as a small table, how sure they are and what they rest on.

    `sign` is what the volts say about the sign of the amps; `marked` is what was drawn between notes; `starts_known`
    tells whether surges that readings miss were looked for.
    """
    warnings = [
        *wrong_sign_lines(facts, sign),
        *(f"LOOK: {sentence}" for sentence in facts.moved),
        *doubt_lines(charge),
    ]
    about = f"{facts.name}: {facts.meter or 'a meter'} on side {facts.side}"
    spans = span_in_short(facts, charge.span)
    if charge.charge is None and charge.energy is None:
        too_little = "too little was measured: no two readings lie close enough together (see the gap limit)"
        return Reply([*warnings, too_little, *spans], [about, *span_lines(facts, charge.span)], "whose log it is")
    return Reply(
        [
            *warnings,
            Columns(_rows(facts, charge)),
            *_noted(facts, charge),
            *spans,
            *in_gaps_lines(charge),
            *_marked(facts, marked),
            *([PLUS_MINUS_MEANS] if _is_sure(charge) else []),
            *_limits(facts, charge),
        ],
        [
            about,
            *span_lines(facts, charge.span),
            *sureness_lines(charge, figures, starts_known=starts_known),
            *_rests_on(facts, charge),
        ],
        "the meter, where ± comes from, what was assumed",
    )


def _rows(facts: LogFacts, charge: Charge) -> list[list[str]]:
    """Return a row each for what was drawn, returned and net; a column each for what is known of them."""
    rows = []
    for word, meaning in (("drawn", "out of the bank"), ("returned", "into the bank"), ("net", "")):
        row = [f"{word} {'' if facts.side == 'ac' else meaning}".rstrip()]
        row += [_cell(charge.charge, word, "Ah")] if charge.charge else []
        row += [_cell(charge.energy, word, "Wh")] if charge.energy else []
        rows.append(row)
    return rows


def _is_sure(charge: Charge) -> bool:
    return any(amounts is not None and amounts.sure is not None for amounts in (charge.charge, charge.energy))


def _cell(amounts: Amounts | None, word: str, unit: str) -> str:
    """Return an amount with its 95 % interval; where that is lopsided, with both of its ends.

    What was drawn, or returned, cannot be less than nothing; the net can.
    """
    if amounts is None:
        return ""
    value, sure = getattr(amounts, word), getattr(amounts.sure, word) if amounts.sure else None
    # ± would hide that one side is longer.
    if sure is not None and sure.u95 > 0 and sure.lopsided:
        # Cut off at nought for the words alone; --json has the end as it was reckoned.
        low = sure.low if word == "net" else max(sure.low, 0.0)
        return f"{amount(value, unit)}, {number(low)} to {number(sure.high)}"
    return plus_minus(value, sure.u95 if sure else None, unit)


def doubt_lines(charge: Charge) -> list[str]:
    """Return both figures, and what to do, where the spacings allow two gap limits that are not alike."""
    other = charge.otherwise
    if other is None or not charge.doubtful:
        return []
    # The shorter limit leaves the pauses out, whichever of the two this log was read with.
    here_s, there_s = charge.how.gap_limit_s, other.how.gap_limit_s
    out, bridged = (charge, other) if here_s < there_s else (other, charge)
    done = "left out" if out is charge else "bridged"
    return [
        f"IN DOUBT: with the pauses left out {_figures(out)}; with them bridged {_figures(bridged)}. Here they are "
        f"{done}. Only you know which is right: convert again with --gap {out.how.gap_limit_s:.12g}s (left out) or "
        f"--gap {bridged.how.gap_limit_s:.12g}s (bridged)"
    ]


def _figures(charge: Charge) -> str:
    """Return in short what was drawn and returned."""
    amounts, unit = charge.charge or charge.energy, "Ah" if charge.charge is not None else "Wh"
    if amounts is None:
        return "nothing is measured"
    returned = f" and {amount(amounts.returned, unit)} returned" if amounts.returned > 0 else ""
    return f"{amount(amounts.drawn, unit)} drawn{returned}"


def _noted(facts: LogFacts, charge: Charge) -> list[str]:
    """Return what is to be known of a person's notes: what they leave open, and the starts they tell of."""
    if not charge.how.noted:
        return []
    # Notes tell of starts that readings by eye, minutes apart, cannot show.
    starts = [(at_us, text) for at_us, text in facts.markers if event_in(text) == "start"]
    listed = "; ".join(
        f"{shortened(text, 40)} at {clock(at_us, facts, near_us=charge.span.start_us)}" for at_us, text in starts
    )
    return [
        "by the notes: a reading stands until the next; what the load did in between is in neither figure nor ±",
        *([f"{counted(len(starts), 'start')} noted: {listed}"] if starts else []),
    ]


def _limits(facts: LogFacts, charge: Charge) -> list[str]:
    """Return what the amounts leave out."""
    lines = []
    if charge.charge is None and facts.side == "ac":
        lines.append("behind an inverter: amps there are no charge out of the bank, so energy only")
    if charge.energy is None:
        lines.append("no energy: volts and amps, or watts, were never read together")
    span = charge.energy_span
    # A second apart is rounding; more means that volts were missing for a while.
    if charge.charge is not None and span is not None and abs(span.covered_s - charge.span.covered_s) > 1.0:
        lines.append(
            f"amps and energy were not read for the same time: energy covers {duration(span.covered_s)}, "
            f"charge {duration(charge.span.covered_s)}"
        )
    return lines


def _rests_on(facts: LogFacts, charge: Charge) -> list[str]:
    """Return what the amounts were computed from, and what the meter itself says."""
    lines = [] if charge.energy is None else [f"energy from {charge.energy_by}{_of_means(facts, charge)}"]
    if (counter := charge.counter) is not None:
        lines.append(
            f"the meter's own counter says {amount(counter.charge_Ah, 'Ah')} ({counter.against}); "
            f"ours differs by {amount(counter.difference_Ah, 'Ah')}"
        )
    return lines


def _marked(facts: LogFacts, marked: Sequence[MarkedStretch]) -> list[Columns]:
    """Return what was drawn from each note to the next as a table."""
    rows = [
        [
            f"“{shortened(stretch.text, 40)}”",
            clock(stretch.start_us, facts, near_us=marked[0].start_us),
            duration((stretch.stop_us - stretch.start_us) / 1e6),
            *(
                "-" if part is None else plus_minus(part.drawn, part.drawn_u95, unit)
                for part, unit in ((stretch.charge, "Ah"), (stretch.energy, "Wh"))
            ),
        ]
        for stretch in marked
    ]
    return [Columns(rows, ["from the note", "at", "for", "drawn", ""])] if rows else []


def wrong_sign_lines(facts: LogFacts, sign: SignCheck | None) -> list[str]:
    """Return a warning where the log's own voltage says that draw and return are swapped."""
    # None is "cannot be told", which is no reason to warn.
    if sign is None or sign.plausible is not False:
        return []
    return [
        "WARNING: draw and return seem to be swapped (the voltage rises with the draw); turn them with "
        f"'shuntbook convert {facts.name} --reverse-sign --out OTHER'"
    ]


def _of_means(facts: LogFacts, charge: Charge) -> str:
    if facts.sampling == "mean" and charge.energy_by == "volts x amps":
        return " (of means: what switched within a reading makes it a little wrong)"
    return ""
