"""Charge and energy in words: the amounts, how sure they are, and what they rest on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

from ....analysis.cycles.noted_runs import event_in
from ..wording.clock import clock, from_to
from ..wording.numbers import PLUS_MINUS_MEANS, amount, counted, duration, plus_minus, shortened, with_ends
from ..wording.sureness import in_gaps_lines, sureness_lines
from .answer import Reply
from .columns import Columns
from .span import span_in_short, span_lines

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts, Charge
    from ....analysis.charge.between_notes import MarkedStretch
    from ....analysis.cycles.cycle import Cycles
    from ....analysis.quality.sign_check import SignCheck
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.sureness.meter_figures import MeterFigures


_NOTHING: Final = "nothing"


class CutRun(NamedTuple):
    """A run that was going at an end of the stretch that was asked for, or at both.

    ``wider`` is what to give for the options that move these ends so that they hold the whole run.
    """

    length_s: float
    ends_us: tuple[int, ...]
    wider: Mapping[str, str]


class WholeRuns(NamedTuple):
    """The runs that the ends of a stretch cut, and what it comes to where it holds them whole."""

    cut: tuple[CutRun, ...]
    charge: Charge


def charge_answer(
    facts: LogFacts,
    charge: Charge,
    figures: MeterFigures,
    sign: SignCheck | None = None,
    marked: Sequence[MarkedStretch] = (),
    *,
    starts_known: bool = False,
    by_sun: bool = False,
    runs: Cycles | None = None,
    whole: WholeRuns | None = None,
) -> Reply:
    """Return charge and energy in a sentence and as a small table, how sure they are and what they rest on.

    `sign` is what the volts say about the sign of the amps; `marked` is what was drawn between notes; `starts_known`
    tells whether surges that readings miss were looked for; `by_sun` that nothing but the sun charges the bank. Of a
    stretch of the log `runs` are those of its load, and `whole` what it comes to with the runs that its ends cut.
    """
    swapped = wrong_sign_lines(facts, sign)
    warnings = [
        *swapped,
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
            # Of a log that is the wrong way round it would be a wrong figure told large, and its rests be its runs.
            *([] if swapped else [_took(facts, charge, figures, by_sun=by_sun), *_of_runs(facts, charge, runs, whole)]),
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


def _took(facts: LogFacts, charge: Charge, figures: MeterFigures, *, by_sun: bool) -> str:
    """Say in a sentence what all loads took out of the bank, what came back, and by how much that was more."""
    span = charge.span if charge.charge is not None else charge.energy_span or charge.span
    goes = f"From {from_to(span.start_us, span.stop_us, facts)}"
    drawn, returned = (_in_both(charge, word) for word in ("drawn", "returned"))
    if facts.side == "ac":
        sentence = f"{goes} the loads behind the inverter took {drawn}"
    else:
        back = f"the sun put {returned} back" if by_sun and returned != _NOTHING else f"{returned} came back"
        sentence = f"{goes} all loads took {drawn} out of the bank, and {back}{_into_bank(charge)}"
    assumed = "; the ± assumes a usual meter, since none is stated" if figures.is_assumed and _is_sure(charge) else ""
    return f"{sentence}{assumed}."


def _into_bank(charge: Charge) -> str:
    """Say by how much more came back than went out, as it goes on in a sentence; nothing where that is not sure."""
    return f", net {_in_both(charge, 'net')} into the bank" if _way_of_net(charge) == "into the bank" else ""


def _of_runs(facts: LogFacts, charge: Charge, runs: Cycles | None, whole: WholeRuns | None) -> list[str]:
    """Say what of a stretch the load by itself took, and what it comes to with the runs whole that its ends cut."""
    span, lines = charge.span, [] if whole is None else [_cut_line(facts, charge, whole)]
    if runs is None or span.start_us is None or span.stop_us is None:
        return lines
    from ..wording.answer import load_between  # of a whole log `cycles` tells it

    taken = load_between(runs, span.start_us, span.stop_us)
    name = f"The {shortened(runs.named_load or 'largest load')}"
    return [*lines, *([f"{name} by itself: {taken}."] if taken else [])]


def _cut_line(facts: LogFacts, charge: Charge, whole: WholeRuns) -> str:
    """Say which runs were going at an end of the stretch, and what is taken between the ends that hold them whole."""
    # Its date stands in the sentence above.
    near_us = charge.span.start_us
    going = " and ".join(
        f"{'one' if k else 'A run'} of {duration(run.length_s)} {'' if k else 'was going '}"
        + (f"at {clock(run.ends_us[0], facts, near_us=near_us)}" if len(run.ends_us) == 1 else "all through it")
        for k, run in enumerate(whole.cut)
    )
    wider = " ".join(f"{option} {end}" for run in whole.cut for option, end in run.wider.items())
    out = "" if facts.side == "ac" else " out of the bank"
    return f"{going}; with whole runs ({wider}) it would be {_in_both(whole.charge, 'drawn')}{out}."


def _way_of_net(charge: Charge) -> str:
    """Return which way more flowed; nothing where the net's own interval could turn it round."""
    amounts = charge.charge or charge.energy
    if amounts is None or abs(amounts.net) <= (amounts.net_u95 or 0.0):
        return ""
    return "out of the bank" if amounts.net > 0 else "into the bank"


def _in_both(charge: Charge, word: str) -> str:
    """Return a figure in Ah, and in Wh behind it; in the one that is known."""
    both = [amounts for amounts in (charge.charge, charge.energy) if amounts is not None]
    if not any(getattr(amounts, word) for amounts in both):
        return _NOTHING
    known = [_cell(charge, amounts, word) for amounts in both]
    return known[0] if len(known) == 1 else f"{known[0]} ({known[1]})"


def _rows(facts: LogFacts, charge: Charge) -> list[list[str]]:
    """Return a row each for what was drawn, returned and net; a column each for what is known of them."""
    meanings = (("drawn", "out of the bank"), ("returned", "into the bank"), ("net", _way_of_net(charge)))
    return [
        [
            f"{word} {'' if facts.side == 'ac' else meaning}".rstrip(),
            *(_cell(charge, amounts, word) for amounts in (charge.charge, charge.energy) if amounts is not None),
        ]
        for word, meaning in meanings
    ]


def _is_sure(charge: Charge) -> bool:
    return any(amounts is not None and amounts.sure is not None for amounts in (charge.charge, charge.energy))


def _cell(charge: Charge, amounts: Amounts, word: str) -> str:
    """Return an amount with its 95 % interval; where that is lopsided in either unit, with both of its ends.

    What was drawn, or returned, cannot be less than nothing; the net can, and has its size and the way it flowed.
    """
    unit = "Ah" if amounts is charge.charge else "Wh"
    way = -1.0 if word == "net" and _way_of_net(charge) == "into the bank" else 1.0
    value, sure = way * getattr(amounts, word), getattr(amounts.sure, word) if amounts.sure else None
    # ± would hide that one side is longer; a figure's two units side by side have one form.
    if sure is None or sure.u95 <= 0 or not _is_lopsided(charge, word):
        return plus_minus(value, sure.u95 if sure else None, unit)
    low, high = sorted((way * sure.low, way * sure.high))
    # Cut off at nought for the words alone; --json has the end as it was reckoned.
    return with_ends(value, low if word == "net" else max(low, 0.0), high, unit)


def _is_lopsided(charge: Charge, word: str) -> bool:
    """Tell whether the interval of a figure is lopsided, in Ah or in Wh."""
    both = [amounts.sure for amounts in (charge.charge, charge.energy) if amounts is not None and amounts.sure]
    return any(sure.u95 > 0 and sure.lopsided for sure in (getattr(each, word) for each in both))


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
