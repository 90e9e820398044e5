"""Set a log at the bank and one behind an inverter beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import hypot

from ...analysis.inverter_sides.log_steps import LogStep, steps_of
from ...analysis.inverter_sides.paired_logs import InverterMeasured, inverter_measured, same_runs_W, set_beside
from ...analysis.inverter_sides.stretch_means import Stretch, StretchMeansFold
from ...analysis.nameplate.plate_check import check_plate
from ...analysis.not_known import Refusal
from ...analysis.one_log.log_report import LogReport
from ...analysis.readings.measured_span import Span
from ...analysis.several_logs.report import PairedLogs
from ...analysis.signal_levels.steps import StepFold
from ...analysis.site.site import Site
from ...analysis.sureness.meter_figures import Accuracy
from ..opening.prepared_log import Prepared


def paired(
    logs: Sequence[Prepared], reports: Sequence[LogReport], site: Site | None
) -> tuple[tuple[LogReport, ...], tuple[PairedLogs, ...]]:
    """Return the reports, those at the bank completed by what logs behind an inverter add, and what the pairs say."""
    done, pairs = list(reports), []
    for k, report in enumerate(reports):
        for log, other in zip(logs, reports, strict=True):
            if report.facts.side == "dc" and other.facts.side == "ac" and _may_belong(report, other, reports):
                pair = _pair(logs[k], report, log, other)
                pairs.append(pair)
                done[k] = _completed(done[k], other, pair, site)
    return tuple(done), tuple(pairs)


def _may_belong(bank: LogReport, behind: LogReport, reports: Sequence[LogReport]) -> bool:
    """Tell whether two logs may be of the same time: there is no other at the bank, or they overlap by their clocks."""
    # Clocks may be days apart, so a lone log at the bank is tried against every other; with several at the bank only
    # the clocks tell which of them a log behind an inverter belongs to.
    if sum(report.facts.side == "dc" for report in reports) == 1:
        return True
    a, b = bank.charge.span, behind.charge.span
    return (a.start_us or 0) < (b.stop_us or 0) and (b.start_us or 0) < (a.stop_us or 0)


def _pair(bank_log: Prepared, bank: LogReport, behind_log: Prepared, behind: LogReport) -> PairedLogs:
    try:
        measured = _measured(bank_log, bank, behind_log, behind)
    except (Refusal, ValueError) as why:
        return PairedLogs(bank.facts.name, behind.facts.name, None, str(why))
    return PairedLogs(bank.facts.name, behind.facts.name, measured)


def _measured(bank_log: Prepared, bank: LogReport, behind_log: Prepared, behind: LogReport) -> InverterMeasured:
    """Return what two logs say together: one pass over each for the steps, and one for the means between them."""
    ours, theirs = _steps(bank_log), _steps(behind_log)
    span = behind.charge.span
    clocks, levels = set_beside(ours, theirs, _stretches(bank.charge.span), (span.start_us or 0, span.stop_us or 0))
    bank_W = StretchMeansFold(bank_log.how, bank_log.quantities, levels.at_bank)
    behind_W = StretchMeansFold(behind_log.how, behind_log.quantities, levels.behind)
    bank_log.feed(bank_W)
    behind_log.feed(behind_W)
    ours_pct, zero_W = _limits(bank)
    theirs_pct, _ = _limits(behind)
    return inverter_measured(
        ours,
        theirs,
        clocks,
        levels,
        bank_W.result()[0],
        behind_W.result()[0],
        bank_gain_pct=ours_pct,
        behind_gain_pct=theirs_pct,
        bank_zero_W=zero_W,
    )


def _steps(log: Prepared) -> tuple[LogStep, ...]:
    fold = StepFold(log.how, log.quantities)
    log.feed(fold)
    return steps_of(fold.result(), log.how.sampling)


def _stretches(span: Span) -> list[Stretch]:
    """Return the stretches that were measured, between the gaps. [us]."""
    if span.start_us is None or span.stop_us is None:
        return []
    starts = [span.start_us, *(gap.stop_us for gap in span.gaps)]
    return list(zip(starts, [*(gap.start_us for gap in span.gaps), span.stop_us], strict=True))


def _limits(report: LogReport) -> tuple[float, float]:
    """Return the limits of error of a meter's watts: of their size [%], and of their zero [W]."""
    figures = report.figures
    # A power meter states watts, which are taken before those of its volts and amps.
    own = figures.power or (Accuracy() if report.facts.side == "ac" else None)
    if own is not None:
        return own.reading_pct + own.class_pct, own.zero
    current, volts = figures.current, figures.voltage
    # Watts at the bank are volts x amps: the errors of both are independent, so their squares add.
    gain_pct = hypot(current.reading_pct, current.class_pct, volts.reading_pct)
    highest_A = _highest(report, "current_A")
    return gain_pct, (current.zero + current.range_offset(highest_A)) * _highest(report, "voltage_V")


def _highest(report: LogReport, name: str) -> float:
    envelope = report.envelopes.get(name)
    if envelope is None or not len(envelope.high):
        return 0.0
    return float(max(abs(envelope.high.max()), abs(envelope.low.min())))


def _completed(bank: LogReport, behind: LogReport, pair: PairedLogs, site: Site | None) -> LogReport:
    """Return the report at the bank with load and inverter told apart beside the nameplate, where that can be."""
    if pair.measured is None or bank.plate is None or site is None or not _same_inverter(bank, behind, site):
        return bank
    # Two meters see one start up to a spacing of each apart.
    within_s = (bank.facts.usual_interval_s or 1.0) + (behind.facts.usual_interval_s or 1.0)
    load_W = same_runs_W(bank.cycles.cycles, behind.cycles.cycles, pair.measured.clocks, within_s)
    if load_W is None:
        return bank
    load, covered_s = bank.plate.estimate.load, bank.charge.span.covered_s
    return replace(bank, plate=check_plate(site, load, bank.cycles, covered_s=covered_s, load_ac_W=load_W))


def _same_inverter(bank: LogReport, behind: LogReport, site: Site) -> bool:
    """Tell whether the meter behind an inverter sits behind that of the load; where nothing says so, it is believed."""
    assert bank.plate is not None
    meter = next((meter for meter in site.meters if meter.name == behind.facts.meter), None)
    return meter is None or meter.inverter is None or meter.inverter == site.load(bank.plate.estimate.load).inverter
