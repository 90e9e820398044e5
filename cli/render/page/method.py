"""How the page's figures were computed, in words and formulas enough to do it again by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ..wording import clock, log_sentences, numbers
from .log_tables import Table, by_log

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ....analysis.sureness.meter_figures import Accuracy

_CHARGE = {
    "instant": "Between two readings i0 and i1, dt seconds apart, the current is taken to run in a straight line: "
    "(i0 + i1) / 2 × dt / 3600 amp-hours. Where the line crosses zero it is cut there: what lies above was drawn, "
    "what lies below was returned.",
    "mean": "A reading i is the average of the dt seconds since the one before it: i × dt / 3600 amp-hours. The first "
    "reading, and one after a gap, stands for one usual interval.",
    "held": "A reading i stands until the next one, dt seconds later: i × dt / 3600 amp-hours.",
}

_PRODUCT = {
    "instant": "Volts and amps both run in straight lines between readings, so the energy of an interval is "
    "dt / 6 × (2 v0 i0 + v0 i1 + v1 i0 + 2 v1 i1) / 3600 watt-hours (Simpson's rule, exact for such a product).",
    "mean": "v × i × dt / 3600 watt-hours. The product of two averages is not the average of the product: where a load "
    "switches within an interval the true figure differs.",
    "held": "v × i × dt / 3600 watt-hours.",
}

Terms = tuple[tuple[str, tuple[str, ...]], ...]

"""Terms, and the explanations of each."""


def rules(report: Report) -> Terms:
    """Return what was done, each a term and its explanations."""
    logs = report.logs
    entries = [("Signs", _SIGNS)]
    # What no log has is not explained.
    of_charge = [log for log in logs if log.charge.charge is not None]
    entries += _by_log("Charge", of_charge, logs, lambda log: _CHARGE[log.facts.sampling])
    if any(log.facts.side == "ac" for log in logs):
        text = "Behind an inverter amps have no direction and volts × amps is VA, not W; so there is energy only."
        entries.append(("Behind an inverter", text))
    entries += _by_log("Energy", [log for log in logs if log.charge.energy_by], logs, _energy)
    entries.append(
        ("Gaps", "Readings further apart than the gap limit are a gap. Nothing is added for it; its time is stated.")
    )
    if any(_has_interval(log) for log in logs):
        entries.append(("After ±", _INTERVAL))
    entries += _RUNS
    if any(log.plate for log in logs):
        entries.append(("Nameplate", _NAMEPLATE))
    if any(pair.measured for pair in report.paired):
        entries.append(("Both sides of the inverter", _BOTH_SIDES))
    if any(log.by_site for log in logs):
        entries += _SYSTEM
    return tuple((term, (text,)) for term, text in entries)


def sums(report: Report) -> Terms:
    """Return for each log sums that a reader can check with a pocket calculator."""
    of_logs = [(_of("By hand", [log], report.logs), tuple(_by_hand(log))) for log in report.logs]
    return tuple((term, texts) for term, texts in of_logs if texts)


_INTERVAL = (
    f"{numbers.PLUS_MINUS_MEANS} It is half of that interval, gaps left out. Each source of error is a "
    "standard uncertainty u (a limit a from a data sheet is a / √3; a step within dt seconds is step × dt / √12). What "
    "is one and the same error in all readings (gain, zero) counts as one. The whole is √(u1² + u2² + …); the interval "
    "comes from the parts' distributions convolved (JCGM 100 and 101), not from a fixed factor."
)

_SIGNS = "Current out of the bank is positive (drawn), into it negative (returned). Net is drawn less returned."

_RUNS = [
    (
        "Runs",
        "A step up in the draw is matched with the step down of like size that ends it (steady-state transitions, Hart "
        "1992), so other loads do not hide a run. Everything said of a run is above what was drawn just before it.",
    ),
    (
        "Of each run",
        "Settled: the median while it runs after the start. Highest at start: the highest reading of the start. Start "
        "over settled: one divided by the other. Voltage sag: volts before the start less the lowest during the run.",
    ),
    ("How often", "Starts an hour: starts / hours measured. Running: time run / time measured. Usual: the median."),
]

_NAMEPLATE = (
    "On paper: plate watts (or volts × amps) × hours, as people do the sum. The estimate goes on from there: volts × "
    "amps is VA; × power factor is W; / the inverter's efficiency is W at the bank; / the bank's volts is A; × hours "
    "is Ah. Each step stands in its table with where it comes from. What lies between two sums is divided among their "
    "factors so that the parts add up to it exactly: a factor that goes from x to x′ while the sum of its term goes "
    "from V to V′ makes (V′ − V) × ln(x′ / x) / ln(V′ / V) of it (log-mean Divisia index, Ang 2004); a factor that "
    "agrees makes nothing. Parts of opposite sign cancel, so a share may be above 100 % or below 0."
)

_BOTH_SIDES = (
    "The clocks of the two logs are set beside each other by the starts and stops that both show: the offset at which "
    "most of them fall together, and a straight line through their instants. The efficiency is the step behind the "
    "inverter over the same step at the bank, the mean of all; so other loads and the sun do not count in it."
)

_SYSTEM = [
    (
        "Inverter",
        "The volt-amperes of all its loads, and the greatest start on top, against its ratings as entered. It holds "
        "where even the upper end stays within the rating, fails where even the lower end does not, else is doubtful. "
        "What was seen in watts goes through the power factor.",
    ),
    (
        "Bank at a start",
        "Internal resistance: the sag of each start over the amps it rose by; the middle of the means of all pairs of "
        "them (Hodges and Lehmann 1963). Lowest voltage at the next start: that of the starts seen, with Student's "
        "interval for one more; where readings show a part of each start, the lowest of them and how they thin out "
        "towards it (Robson and Whitlock 1964, from memory). No plate stands in for starts that were seen.",
    ),
    (
        "Bank",
        "What is asked of it, running and at a start, against what its protection lets out (max_discharge_A), and "
        "lead-acid against its size in Ah (common practice, no source); what is put in against max_charge_A. Where "
        "what decides is not given it is not judged, and the system holds by its ratings alone.",
    ),
    (
        "State of charge",
        "Counted: state at the start − 100 × (drawn − charge efficiency × returned) / rated Ah. Lasts, by counting: "
        "(state − floor) / 100 × rated Ah / amps. A full bank by Peukert's law: H × (C / (I × H))^k hours, with C the "
        "Ah rated over H hours, I the amps and k the exponent; what is left of it in the same share.",
    ),
    (
        "Full again",
        "Owed: what was taken out / charge efficiency, × the charging voltage for Wh. Hours of good sun: owed Ah / the "
        "amps the array gives at that voltage. A usual day of the array: peak watts × hours of full sun × performance "
        "ratio. All loads in a day: 24 × the mean amps in the dark beside the runs found, + the Ah of these runs in a "
        "day, × the bank's volts. Days: owed Wh / (a usual day of the array − all loads). A demo is paid back when the "
        "bank is as full as it was when the demo began.",
    ),
    (
        "Water",
        "Drawdown D of the tank by Boyle's law: volume × (p0 / p1 − p0 / p2), absolute pressures of pre-charge, cut-in "
        "and cut-out. Shortest run: 60 × D / Q seconds, with Q the pump's L/min; shortest from start to start: 4 times "
        "that. Drawdown as seen: Q / 60 × run × rest / (run + rest). Energy for the water: Wh of a run / its water.",
    ),
    (
        "Conductors",
        "Volts lost: 2 × one way in metres × ohms a metre × amps. A fuse fails where it is above what the table "
        "allows its conductor; both are compared with 125 % of the greatest current. The "
        "tables stand beside each comparison.",
    ),
]


def _by_log(
    term: str, having: Sequence[LogReport], logs: Sequence[LogReport], explain: Callable[[LogReport], str]
) -> list[tuple[str, str]]:
    """Return each explanation once; where there are several, its term says which logs it is for."""
    # Logs read in one way share an explanation.
    grouped: dict[str, list[LogReport]] = {}
    for log in having:
        grouped.setdefault(explain(log), []).append(log)
    if len(grouped) == 1:
        return [(term, text) for text in grouped]
    return [(_of(term, group, logs), text) for text, group in grouped.items()]


def _of(term: str, some: Sequence[LogReport], logs: Sequence[LogReport]) -> str:
    """Return a term with the logs it is for; alone where there is no other log."""
    return term if len(logs) == 1 else f"{term}: {', '.join(log_sentences.log_title(log.facts) for log in some)}"


def _energy(log: LogReport) -> str:
    by = log.charge.energy_by or ""
    # Told apart by the words of `Charge.energy_by`, which say from which columns it was computed.
    if by.startswith("the power column"):
        return "From the meter's power readings, by the same rule as charge, with watts in the place of amps."
    if "power factor" in by:
        return "volts × amps × power factor gives watts, added up over time as charge is."
    return _PRODUCT[log.facts.sampling]


def _has_interval(log: LogReport) -> bool:
    parts = (log.charge.charge, log.charge.energy)
    return any(x is not None and x.drawn_u95 is not None for x in parts)


def _by_hand(log: LogReport) -> list[str]:
    """Return sums that a reader can check with a pocket calculator."""
    sentences, hours, charge, energy = [], log.charge.span.covered_s / 3600, log.charge.charge, log.charge.energy
    if charge is not None and hours:
        ah, amps = numbers.amount(charge.net, "Ah"), numbers.amount(charge.net / hours, "A")
        sentences.append(f"{ah} net / {numbers.amount(hours, 'h')} measured = {amps} on average.")
    # Volts from Wh / Ah hold only where both are of the same hours.
    same_time = log.charge.energy_span is None or log.charge.energy_span.covered_s == log.charge.span.covered_s
    if charge is not None and energy is not None and charge.drawn > 0 and same_time:
        volts = numbers.amount(energy.drawn / charge.drawn, "V")
        drawn = f"{numbers.amount(energy.drawn, 'Wh')} / {numbers.amount(charge.drawn, 'Ah')} drawn"
        sentences.append(f"{drawn} = {volts}, the bank's voltage while it gave.")
    for cycle in log.cycles.cycles:
        if cycle.complete and cycle.run_A and cycle.run_s and cycle.charge_Ah:
            settled, product = numbers.amount(cycle.run_A, "A"), numbers.amount(cycle.run_A * cycle.run_s / 3600, "Ah")
            sentences.append(
                f"The first whole run: {settled} settled × {numbers.number(cycle.run_s)} s / 3600 = {product}; summed "
                f"reading by reading it is {numbers.amount(cycle.charge_Ah, 'Ah')}. The start and the edges make "
                f"the difference."
            )
            break
    return sentences


_SIDE = {"dc": "at the bank", "ac": "behind an inverter"}


def settings(report: Report) -> Table:
    """Return version, site file, and what each log was read with."""
    lines: tuple[tuple[str, Callable[[LogReport], str]], ...] = (
        ("shuntbook", lambda _: report.version),
        ("Site file", lambda _: "none" if report.site is None else numbers.shortened(report.site.name)),
        ("Load looked for", lambda log: numbers.shortened(log_sentences.named_load(log) or "the largest")),
        ("Meter", lambda log: f"{numbers.shortened(log.facts.meter or numbers.UNKNOWN)}, {_SIDE[log.facts.side]}"),
        ("A reading", lambda log: log_sentences.sampling(log.facts)),
        ("Gap limit", lambda log: numbers.duration(log.facts.gap_limit_s) if log.facts.has_gaps else "none"),
        ("Zone", lambda log: "no dates" if log.facts.undated else clock.zone_of(log.facts)[0]),
        ("Amps may be off by", lambda log: _accuracy(log.figures.current, "A")),
        ("Volts may be off by", lambda log: _accuracy(log.figures.voltage, "V")),
        (
            "Watts may be off by",
            lambda log: _accuracy(log.figures.power, "W") if log.figures.power else "as volts × amps",
        ),
        ("Clock may be off by", lambda log: f"{numbers.number(log.figures.clock_ppm)} millionths"),
        ("Zero taken off", _zero),
    )
    return by_log("Settings", lines, report)


def _accuracy(stated: Accuracy, unit: str) -> str:
    """Return limits of error as a data sheet writes them; parts of nothing are left out."""
    of_range = "the highest reading" if stated.full_scale is None else numbers.amount(stated.full_scale, unit)
    parts = (
        (stated.reading_pct, f"{stated.reading_pct:g} % of reading"),
        (stated.class_pct, f"{stated.class_pct:g} % for its shunt or transformer"),
        (stated.range_pct, f"{stated.range_pct:g} % of {of_range}"),
        (stated.zero, f"{numbers.amount(stated.zero, unit)} at zero"),
        (stated.resolution, f"a last digit of {stated.resolution:g} {unit}"),
    )
    return ", ".join(text for size, text in parts if size) or "nothing"


def _zero(log: LogReport) -> str:
    check = log.figures.zero_check
    return "nothing" if check is None else numbers.plus_minus(check.offset_A, 2 * check.u_A, "A")
