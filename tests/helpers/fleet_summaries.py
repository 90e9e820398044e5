"""Summaries of made-up logs, one of each rank."""

from dataclasses import replace

from shuntbook.analysis.health.finding import Finding
from shuntbook.analysis.several_logs.fleet import LogSummary


def found(code, severity):
    """A finding of which only code and severity matter."""
    return Finding(code, severity, f"{code} was seen", "evidence", "limit", "source")


def log(name, *findings, **changes):
    """A log with these findings."""
    severities = [finding.severity for finding in findings]
    count = {"acts": severities.count("act"), "watches": severities.count("watch")}
    return replace(LogSummary(name, findings=findings, **count), **changes)


ORDER = [
    log("z-dry", found("prime_lost", "act")),
    log("y-short-twice", found("short_cycling", "act"), found("air_charge_lost", "act")),
    log("x-short-often", found("short_cycling", "act"), busiest_hour=40),
    log("w-short", found("short_cycling", "act"), found("low_voltage", "watch")),
    log("v-short", found("short_cycling", "act"), busiest_hour=60),
    log("u-low", found("low_voltage", "watch")),
    log("t-drift", found("draw_drift", "watch")),
    log("b-torn", status="not read", reason="is damaged"),
    log("c-running", status="unfinished", reason="still captured"),
    log("a-noted", found("sampling_too_slow", "note")),
    log("d-sound", busiest_hour=0),
]
