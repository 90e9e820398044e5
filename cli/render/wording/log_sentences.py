"""What a log shows, in plain sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....analysis.health.bursts import Bursts, bursts_of
from ....analysis.health.finding import is_swapped, withheld
from ....analysis.not_known import Missing
from . import clock, numbers
from .checks import not_judged
from .sureness import net_sentence

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts
    from ....analysis.cycles.cycle import Cycles
    from ....analysis.health.finding import Finding, Severity
    from ....analysis.one_log.log_report import CloseUp, LogReport
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.several_logs.report import PairedLogs, Report

#: An hour's log lacks an interval of its readings, or a little more. [us]
_ABOUT_AN_HOUR_US = 57 * 60 * 1_000_000
#: A draw that falls by less within a run is said to stay. [1]
_FALLS = 0.005


def log_title(facts: LogFacts) -> str:
    """Return what a log is called in a heading: its own title, else its file's name without the ending."""
    if facts.title:
        return numbers.shortened(facts.title)
    return numbers.shortened(facts.name.removesuffix(".parquet").replace("_", " ") or facts.name)


def load_name(log: LogReport) -> str:
    """Return the name of the load whose runs were looked for, with its article."""
    named = named_load(log)
    return f"the {numbers.shortened(named)}" if named else "the largest load"


def load_and_title(log: LogReport) -> str:
    """Return whose runs a log shows, and what the log is called: a file's name alone is no load's.

    For instance ``The largest load, log barn``; ``Log barn`` where no run was seen, or its sign seems wrong.
    """
    title = log_title(log.facts)
    if not log.cycles.cycles or is_swapped(log.findings):
        return f"Log {title}"
    return f"{numbers.capital(load_name(log))}, log {title}"


def named_load(log: LogReport) -> str | None:
    """Return the load that was looked for, as its site file calls it; None where none was named."""
    return log.cycles.named_load


def when(log: LogReport) -> str:
    """Say from when to when the log runs, and how much of that was measured."""
    span, facts = log.charge.span, log.facts
    if span.start_us is None or span.stop_us is None:
        return "The log holds no readings."
    text = f"From {clock.from_to(span.start_us, span.stop_us, facts)} ({clock.in_zone(facts)})"
    text += f": {numbers.duration(span.covered_s)} of readings"
    if span.gaps:
        text += f", and {numbers.duration(span.uncovered_s)} without any in {numbers.counted(len(span.gaps), 'gap')}"
    return f"{text}."


def times(log: LogReport) -> tuple[tuple[str, str], ...]:
    """Return the instants that `when` names, each in ISO 8601 and as it stands there; none without dates."""
    span, facts = log.charge.span, log.facts
    if span.start_us is None or span.stop_us is None or facts.undated:
        return ()
    shown = (clock.clock(span.start_us, facts), clock.clock(span.stop_us, facts, near_us=span.start_us))
    return tuple(
        (clock.moment_of(us).isoformat(), text) for us, text in zip((span.start_us, span.stop_us), shown, strict=True)
    )


def took(log: LogReport) -> str:
    """Say what went out of the bank and what came back."""
    charge, energy, facts = log.charge.charge, log.charge.energy, log.facts
    both = [_drawn(x, unit) for x, unit in ((charge, "Ah"), (energy, "Wh")) if x is not None]
    back = [_returned(x, unit) for x, unit in ((charge, "Ah"), (energy, "Wh")) if x is not None and x.returned]
    if not both:
        return "Too little was measured to tell what was drawn: no readings that stand close enough together to add up."
    # The hours of what stands first in the sentence: energy may have been measured for fewer than charge.
    span = log.charge.span if charge is not None else log.charge.energy_span or log.charge.span
    measured = f"In {numbers.duration(span.covered_s)} of readings"
    if facts.side == "ac":
        return (
            f"{measured} the loads behind the inverter took {_beside(both)}. Amps behind an inverter "
            f"are no charge of the bank, so no amp-hours are given."
        )
    text = f"{measured} the bank gave {_beside(both)} and took {_beside(back) if back else 'nothing'} back."
    if energy is None and log.envelopes.keys() & {"voltage_V", "power_W"}:
        text += " Of volts and watts too little was measured to tell the energy."
    return text


def _drawn(x: Amounts, unit: str) -> str:
    return numbers.plus_minus(x.drawn, x.drawn_u95, unit)


def _returned(x: Amounts, unit: str) -> str:
    return numbers.plus_minus(x.returned, x.returned_u95, unit)


def _beside(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{parts[0]} ({parts[1]})"


def ran(log: LogReport) -> str:
    """Say how often the load started and how long it ran."""
    summary, name = log.cycles.summary, load_name(log)
    if not summary.count:
        return _not_seen(log)
    if log.cycles.two_kinds is not None and log.cycles.two_kinds.own is None:
        name += ", or another load of like draw,"
    if summary.too_brief:
        starts = numbers.counted(summary.count + summary.too_brief, "time")
        return f"{numbers.capital(name)} started at least {starts}; {summary.count:,} of these runs could be measured."
    text = f"{name[0].upper()}{name[1:]} started {numbers.counted(summary.count, 'time')}"
    text += f", {often}" if (often := starts_an_hour(log)) else ""
    if summary.duty_cycle is not None:
        text += f", and ran {numbers.percent(summary.duty_cycle)} of the measured time"
    if summary.median_run_s is not None:
        text += f"; a usual run lasted {numbers.duration(summary.median_run_s)}"
    of_bursts = bursts(log)
    if summary.median_off_s is not None and not of_bursts:
        text += f", the rest between two runs {numbers.duration(summary.median_off_s)}"
    return " ".join(part for part in (f"{text}.", of_bursts, two_kinds(log)) if part)


def usual_bursts(log: LogReport) -> Bursts | None:
    """Return the bursts that a load's starts come in; None where they do not."""
    return bursts_of([run.off_before_s for run in log.cycles.cycles if run.off_before_s is not None])


def bursts(log: LogReport) -> str:
    """Say that the starts come in bursts, with both kinds of rests; empty where they do not."""
    usual = usual_bursts(log)
    if usual is None:
        return ""
    return (
        f"It starts in bursts: about {usual.starts:.0f} runs with rests of {numbers.duration(usual.within_s)}, then "
        f"{_quiet(usual)} of quiet."
    )


def usual_rest(log: LogReport) -> str:
    """Return the usual rest before a run; of starts in bursts both kinds, as one would hide the other."""
    usual = usual_bursts(log)
    if usual is None:
        return numbers.duration(log.cycles.summary.median_off_s)
    return f"{numbers.duration(usual.within_s)} within a burst, then {_quiet(usual)}"


def _quiet(usual: Bursts) -> str:
    return " to ".join(dict.fromkeys(numbers.duration(rest_s) for rest_s in usual.between_s))


def starts_an_hour(log: LogReport) -> str:
    """Return how often the load started, such as ``16.1 an hour``; empty where the log holds no hour to speak of."""
    rate = log.cycles.summary.starts_per_hour
    return f"{numbers.number(rate)} an hour" if rate is not None and holds_an_hour(log) else ""


def holds_an_hour(log: LogReport) -> bool:
    """Tell whether a log is about as long as an hour, or longer: only then is a rate of an hour more than a sum."""
    span = log.charge.span
    return span.start_us is not None and span.stop_us is not None and span.stop_us - span.start_us >= _ABOUT_AN_HOUR_US


def two_kinds(log: LogReport) -> str:
    """Say that there are two kinds of runs of like draw, and which are the load's; empty where there are not."""
    two, name = log.cycles.two_kinds, load_name(log)
    if two is None:
        return ""
    # As the kinds were told apart: by watts where there are any.
    unit = "W" if any(cycle.run_W is not None for cycle in log.cycles.cycles) else "A"
    kinds = [
        f"{kind.count} of about {numbers.duration(kind.run_s)} at {numbers.amount(kind.draw, unit)} "
        + (f"that falls by {numbers.percent(kind.falls)}" if kind.falls >= _FALLS else "that stays")
        for kind in two.kinds
    ]
    which = (
        f"which of them are those of {name} the log does not tell, so neither is judged."
        if two.own is None
        else f"the {'latter' if two.own else 'former'} are taken for those of {name}."
    )
    return f"Two kinds of runs of like draw were seen: {kinds[0]}, and {kinds[1]}; {which}"


def other_loads(cycles: Cycles) -> str:
    """Return whose the other runs of a log may be."""
    return "other loads or clouds" if cycles.in_clouds else "other loads"


def _not_seen(log: LogReport) -> str:
    """Say that no run of the load was seen, and what there was instead."""
    cycles, others = log.cycles, log.cycles.summary.other_runs
    clouds = " Clouds may hide it: log it behind its inverter, or at night." if cycles.in_clouds else ""
    if named_load(log) is None:
        return f"No load was seen to start and stop.{clouds}"
    text = f"No run of {load_name(log)} was seen"
    if cycles.expected is not None:
        # Two digits: a plate says no more of what a load draws in use.
        about, unit = float(f"{cycles.expected:.2g}"), cycles.signal.rsplit("_", 1)[-1]
        text = f"No run like {load_name(log)}'s was seen (its plate says about {about:,g} {unit})"
    if others:
        text += f"; {numbers.counted(others, 'run')} of {other_loads(cycles)} {'was' if others == 1 else 'were'}"
    return f"{text}.{clouds}"


def verdict(log: LogReport) -> tuple[str, list[Finding]]:
    """Say what asks for action, or that nothing does; and return the findings whose titles are to follow."""
    act, watch = _of(log, "act"), _of(log, "watch")
    if act:
        return f"{numbers.counted(len(act), 'thing')} {'asks' if len(act) == 1 else 'ask'} for action:", act
    if watch:
        verb = "wants" if len(watch) == 1 else "want"
        return f"Nothing asks for action, but {numbers.counted(len(watch), 'thing')} {verb} watching:", watch
    if not log.cycles.cycles:
        return "Without a run there is nothing to judge a load's health by.", []
    if left := not_judged(withheld(log.checks)):
        return f"Nothing that could be judged in this log asks for action ({left}).", []
    return "Nothing in this log asks for action.", []


def _of(log: LogReport, severity: Severity) -> list[Finding]:
    return [finding for finding in log.findings if finding.severity == severity]


def balance(log: LogReport) -> str | None:
    """Say whether more went out of the bank than came back; None where that is not known."""
    charge, energy = log.charge.charge, log.charge.energy
    if charge is None or log.facts.side != "dc" or not charge.returned:
        return None
    both = [
        numbers.plus_minus(abs(x.net), x.net_u95, unit) for x, unit in ((charge, "Ah"), (energy, "Wh")) if x is not None
    ]
    return net_sentence(charge, _beside(both))


def rows_kept(log: LogReport) -> str:
    """Say how many rows of the log were kept, how they are spaced, and what is missing."""
    facts, span = log.facts, log.charge.span
    every = numbers.duration(facts.usual_interval_s)
    spaced = "" if every == numbers.UNKNOWN else f", usually one every {every}"
    missing = (
        f"{numbers.duration(span.uncovered_s)} in {numbers.counted(len(span.gaps), 'gap')} is not measured"
        if span.gaps
        else "there is no gap"
    )
    rejected = f", {facts.rows_rejected:,} could not be read" if facts.rows_rejected else ""
    return f"{facts.rows_kept:,} of {facts.rows_read:,} rows were kept{spaced}{rejected}; {missing}."


def by_severity(log: LogReport) -> list[Finding]:
    """Return the findings, those that ask for action first."""
    # Sorting keeps the order of findings of one severity, which is that of the checks.
    order = {"act": 0, "watch": 1, "note": 2}
    return sorted(log.findings, key=lambda finding: order[finding.severity])


def sampling(facts: LogFacts) -> str:
    """Say what one reading stands for."""
    return numbers.SAMPLING[facts.sampling]


def surge(close_up: CloseUp, facts: LogFacts) -> str:
    """Say how far the surge can be trusted."""
    cycle = close_up.cycle
    highest = numbers.amount(cycle.surge_A, "A") if cycle.surge_A is not None else numbers.amount(cycle.peak_W, "W")
    if highest == numbers.UNKNOWN:
        return "The highest draw of this start is not known."
    if cycle.surge_resolved:
        return f"The start rose to {highest} above what was drawn before it."
    every = numbers.duration(facts.usual_interval_s)
    # Without a usual interval readings came when they liked: no spacing to name.
    every = "too far apart" if every == numbers.UNKNOWN else f"every {every}"
    return (
        f"Readings came {every}, and a start can rise and fall between two of them. The highest seen, {highest} above "
        f"what was drawn before, is a lower bound: the true surge may have been higher."
    )


def start_as_read(close_up: CloseUp, facts: LogFacts, before: str) -> str:
    """Say what the picture of a start shows; `before` is what was read before it, with its unit, or ``unknown``."""
    text = f"This start was at {clock.clock(close_up.cycle.start_us, facts)}. Each dot is a reading, as read"
    if before == numbers.UNKNOWN:
        return f"{text}; the table counts from what was read before the start."
    return f"{text}: before the start that was {before}, and the table counts from there."


def both_sides(report: Report, log: LogReport) -> tuple[str, ...]:
    """Say what this log at the bank and those behind an inverter tell together; empty where there is no such pair."""
    sentences: list[str] = []
    for pair in report.paired:
        if pair.at_bank == log.facts.name:
            sentences += _both_sides(pair)
    return tuple(sentences)


def _both_sides(pair: PairedLogs) -> list[str]:
    other, measured = numbers.shortened(pair.behind.removesuffix(".parquet")), pair.measured
    if measured is None:
        return [f"The log {other}, behind an inverter, could not be set beside this one: {pair.why_not}."]
    share = measured.efficiency
    text = (
        f"Together with the log {other} behind the inverter: at {numbers.amount(measured.load_W, 'W')} of load "
        f"{numbers.percent(share.value)} of what the inverter takes comes out (95 % interval {100 * share.low:.1f} to "
        f"{100 * share.high:.1f} %), its idle draw apart."
    )
    idle = measured.idle_W
    if isinstance(idle, Missing):
        return [text, idle.sentence, *measured.sentences]
    # The longer side: ± must not claim more than the lopsided interval does.
    half_W = max(idle.high - idle.value, idle.value - idle.low)
    rest = (
        f"With nothing running it drew {numbers.plus_minus(idle.value, half_W, 'W')}, with whatever else drew steadily."
    )
    return [text, rest, *measured.sentences]


def counter(log: LogReport) -> str | None:
    """Say how the meter's own counter compares; None where it has none."""
    compared = log.charge.counter
    if compared is None:
        return None
    more = "more" if compared.difference_Ah >= 0 else "less"
    what = "net" if compared.against == "net" else "drawn and returned together"
    text = f"The meter's own counter moved by {numbers.amount(compared.charge_Ah, 'Ah')}; our sum ({what}) is "
    text += f"{numbers.amount(abs(compared.difference_Ah), 'Ah')} {more}"
    if compared.resets:
        text += f"; the counter was set back {numbers.counted(compared.resets, 'time')} on the way"
    return f"{text}."


def drawn(x: Amounts | None, unit: str) -> str:
    """Return what was drawn, with its interval where that is known."""
    return numbers.UNKNOWN if x is None else numbers.plus_minus(x.drawn, x.drawn_u95, unit)
