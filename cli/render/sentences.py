"""What a log shows, in plain sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import words

if TYPE_CHECKING:
    from ...analysis.charge import Amounts
    from ...analysis.finding import Finding, Severity
    from ...analysis.report import CloseUp, LogFacts, LogReport


def log_title(facts: LogFacts) -> str:
    """Return what a log is called in a heading: its file's name, without the ending."""
    return words.shortened(facts.name.removesuffix(".parquet").replace("_", " ") or facts.name)


def load_name(log: LogReport) -> str:
    """Return the name of the load whose runs were looked for, with its article."""
    named = next((cycle.load for cycle in log.cycles.cycles if cycle.load), None)
    return f"the {words.shortened(named)}" if named else "the largest load"


def when(log: LogReport) -> str:
    """Say from when to when the log runs, and how much of that was measured."""
    span, facts = log.charge.span, log.facts
    if span.start_us is None or span.stop_us is None:
        return "The log holds no readings."
    start = words.clock(span.start_us, facts)
    text = f"From {start} to {words.clock(span.stop_us, facts, near_us=span.start_us)}"
    text += " after the log's start" if facts.undated else f" ({words.zone_of(facts)[0]})"
    text += f": {words.duration(span.covered_s)} of readings"
    if span.gaps:
        text += f", and {words.duration(span.uncovered_s)} without any in {words.counted(len(span.gaps), 'gap')}"
    return f"{text}."


def took(log: LogReport) -> str:
    """Say what went out of the bank and what came back."""
    measured = f"In {words.duration(log.charge.span.covered_s)} of readings"
    charge, energy = log.charge.charge, log.charge.energy
    if log.facts.side == "ac":
        if energy is None:
            return "The meter sits behind an inverter and gave no power, so neither energy nor charge can be told."
        return (
            f"{measured} the loads behind the inverter took {_drawn(energy, 'Wh')}. Amps behind an inverter "
            f"are no charge of the bank, so no amp-hours are given."
        )
    both = [_drawn(x, unit) for x, unit in ((charge, "Ah"), (energy, "Wh")) if x is not None]
    back = [_returned(x, unit) for x, unit in ((charge, "Ah"), (energy, "Wh")) if x is not None and x.returned]
    if not both:
        return "The log holds neither current nor power, so nothing can be told of the bank."
    return f"{measured} the bank gave {_beside(both)} and took {_beside(back) if back else 'nothing'} back."


def _drawn(x: Amounts, unit: str) -> str:
    return words.plus_minus(x.drawn, x.drawn_u95, unit)


def _returned(x: Amounts, unit: str) -> str:
    return words.plus_minus(x.returned, x.returned_u95, unit)


def _beside(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{parts[0]} ({parts[1]})"


def ran(log: LogReport) -> str:
    """Say how often the load started and how long it ran."""
    summary, name = log.cycles.summary, load_name(log)
    if not summary.count:
        return "No load was seen to start and stop."
    text = f"{name[0].upper()}{name[1:]} started {words.counted(summary.count, 'time')}"
    if summary.starts_per_hour is not None:
        text += f", {words.number(summary.starts_per_hour)} an hour"
    if summary.duty_cycle is not None:
        text += f", and ran {words.percent(summary.duty_cycle)} of the measured time"
    if summary.median_run_s is not None:
        text += f"; a usual run lasted {words.duration(summary.median_run_s)}"
    if summary.median_off_s is not None:
        text += f", the rest between two runs {words.duration(summary.median_off_s)}"
    return f"{text}."


def verdict(log: LogReport) -> str:
    """Say what asks for action, or that nothing does."""
    act, watch = _titles(log, "act"), _titles(log, "watch")
    if act:
        verb = "asks" if len(act) == 1 else "ask"
        return f"{words.counted(len(act), 'thing')} {verb} for action: {'; '.join(act)}."
    if watch:
        verb = "wants" if len(watch) == 1 else "want"
        return f"Nothing asks for action, but {words.counted(len(watch), 'thing')} {verb} watching: {'; '.join(watch)}."
    return "Nothing in this log asks for action."


def _titles(log: LogReport, severity: Severity) -> list[str]:
    return [words.shortened(f.title, 120).rstrip(".") for f in log.findings if f.severity == severity]


def by_severity(log: LogReport) -> list[Finding]:
    """Return the findings, those that ask for action first."""
    order = {"act": 0, "watch": 1, "note": 2}
    return sorted(log.findings, key=lambda finding: order[finding.severity])


def sampling(facts: LogFacts) -> str:
    """Say what one reading stands for."""
    return words.SAMPLING[facts.sampling]


def surge(close_up: CloseUp, facts: LogFacts) -> str:
    """Say how far the surge can be trusted."""
    cycle = close_up.cycle
    highest = words.amount(cycle.surge_A, "A") if cycle.surge_A is not None else words.amount(cycle.peak_W, "W")
    if highest == words.UNKNOWN:
        return "The highest draw of this start is not known."
    if cycle.surge_resolved:
        return f"The start rose to {highest} above what was drawn before it."
    every = words.duration(facts.usual_interval_s)
    every = "too far apart" if every == words.UNKNOWN else f"every {every}"
    return (
        f"Readings came {every}, and a start can rise and fall between two of them. The highest seen, {highest} above "
        f"what was drawn before, is a lower bound: the true surge may have been higher."
    )


def counter(log: LogReport) -> str | None:
    """Say how the meter's own counter compares; None where it has none."""
    compared = log.charge.counter
    if compared is None:
        return None
    more = "more" if compared.difference_Ah >= 0 else "less"
    what = "net" if compared.against == "net" else "drawn and returned together"
    text = f"The meter's own counter moved by {words.amount(compared.charge_Ah, 'Ah')}; our sum ({what}) is "
    text += f"{words.amount(abs(compared.difference_Ah), 'Ah')} {more}"
    if compared.resets:
        text += f"; the counter was set back {words.counted(compared.resets, 'time')} on the way"
    return f"{text}."
