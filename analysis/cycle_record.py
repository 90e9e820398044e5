"""What is known of one cycle, and the summary over many."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Cycle:
    """One run of a load: start, surge, settled running, stop.

    All amps, watts, charge and energy are above the baseline before the start. What is unknown, or cut by a gap or the
    log's end, is None and ``complete`` is false. ``surge_A`` is the highest reading of the start: a lower bound where
    ``surge_resolved`` is false. ``sag_V`` is the voltage before the start minus the lowest during the run.
    """

    load: str | None
    start_us: int
    stop_us: int | None
    run_s: float | None
    off_before_s: float | None
    surge_A: float | None
    surge_ratio: float | None
    surge_resolved: bool
    run_A: float | None
    peak_W: float | None
    run_W: float | None
    charge_Ah: float | None
    energy_Wh: float | None
    sag_V: float | None
    complete: bool


@dataclass(frozen=True)
class CycleSummary:
    """Cycles counted and their usual shape; None where the log cannot say.

    ``duty_cycle`` is running time over measured time. ``other_runs`` counts runs of other loads that were seen.
    """

    count: int
    starts_per_hour: float | None
    duty_cycle: float | None
    median_run_s: float | None
    median_off_s: float | None
    other_runs: int = 0


@dataclass(frozen=True)
class Cycles:
    """The cycles of the load that was asked for, or of the one that draws most.

    ``signal`` is the quantity they were sought in; ``load`` and ``expected`` are the load that was asked for and its
    draw by the plate, in the unit of the signal; None where none was.
    """

    cycles: tuple[Cycle, ...]
    summary: CycleSummary
    signal: str
    load: str | None = None
    expected: float | None = None
