"""Logs and site files opened, a log's readings as they are to be fed, and how far its meter is to be trusted."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import click

from ...analysis.readings.chunk import Chunk, Sampling, Side
from ...analysis.readings.integral import bridged_s
from ...analysis.readings.log_facts import LogFacts
from ...analysis.readings.measured_span import CounterKind, HowRead
from ...analysis.sureness.meter_figures import MeterFigures, figures_of
from ...ingest.errors import InputError
from ..door import tell
from ..parallel.two_threads import Fed, feed

if TYPE_CHECKING:
    from ...analysis.charge.amounts import Charge
    from ...analysis.charge.instants import InstantsFold
    from ...analysis.quality.quality import QualityFold
    from ...analysis.site.site import Meter, Site
    from ...ingest.log.log import Log


def open_site(path: Path | None) -> Site | None:
    """Return the checked site file, if one is named."""
    return None if path is None else read_site(path)


def read_site(path: Path) -> Site:
    """Return the checked site file."""
    # The model of a site takes longer to load than the sums of a small log, and most commands are run without one.
    from ...analysis.site.site import Site
    from ...ingest.toml.toml_file import read_toml

    return read_toml(path, Site)


def meter_of(site: Site | None, name: str | None, side: str) -> Meter | None:
    """Return the site's table of a meter: by its name, else the only one on its side."""
    meters = site.meters if site is not None else ()
    named = [meter for meter in meters if meter.name == name]
    beside = [meter for meter in meters if meter.side == side]
    # With two meters on a side nothing says whose figures these are: better none than those of the other.
    return named[0] if named else beside[0] if len(beside) == 1 else None


def ends_of(log: Log) -> tuple[int, int]:
    """Return a log's first and last instant; both 0 for an empty one. [us]"""
    first = last = 0
    for k, readings in enumerate(log.scan([])):
        first = int(readings.time_us[0]) if k == 0 else first
        last = int(readings.time_us[-1])
    return first, last


def how_read(log: Log) -> HowRead:
    """Return what a reading of a log stands for; the metadata was checked when the log was opened."""
    meta = log.meta
    assert meta.gap_limit_s is not None
    return HowRead(
        side=cast(Side, meta.side),
        sampling=cast(Sampling, meta.sampling),
        gap_limit_s=meta.gap_limit_s,
        usual_interval_s=meta.usual_interval_s,
        counter_kind=cast(CounterKind, meta.counter_kind),
        other_gap_limit_s=meta.other_gap_limit_s,
        noted=meta.noted,
        delay_s=meta.display_delay_s,
        holds_s=meta.display_holds_s,
        misread_share=meta.misread_share,
    )


def facts_of(log: Log, how: HowRead, site: Site | None = None) -> LogFacts:
    """Return what the reader of a result must know about a log's origin; a site's zone goes before the log's."""
    meta = log.meta
    # a name need not be text, as a table and a page must be
    name = os.fsencode(log.path.name).decode("utf-8", "backslashreplace")
    return LogFacts(
        name=name,
        meter=meta.meter,
        side=how.side,
        sampling=how.sampling,
        gap_limit_s=how.gap_limit_s,
        usual_interval_s=meta.usual_interval_s,
        zone=site.zone if site is not None and site.zone else meta.zone,
        zone_assumed=meta.zone_assumed,
        undated=meta.undated,
        source=", ".join(str(source.get("name", "?")) for source in meta.source) or name,
        # A log that was captured counts no rows of an export: all that it has were read and kept.
        rows_read=meta.rows_read or log.rows,
        rows_kept=meta.rows_kept or log.rows,
        rows_rejected=meta.rows_rejected,
        rows_merged=meta.rows_merged,
        remarks=tuple(meta.remarks),
        markers=tuple(meta.markers),
        other_gap_limit_s=meta.other_gap_limit_s,
        moved=tuple(meta.moved),
        has_gaps=math.isfinite(bridged_s(how)),
        title=meta.title,
    )


@dataclass(frozen=True)
class Corrections:
    """What a person asked to be done to the readings: ``zero_at`` as written, and whether lone spikes are dropped."""

    zero_at: str | None = None
    drop_spikes: bool = False


#: Nothing was asked for.
AS_READ: Final = Corrections()

Command = Callable[..., Any]


def correction_options(command: Command) -> Command:
    """Give a command the options that `Corrections` holds, as ``zero_at`` and ``drop_spikes``."""
    spikes = "Leave lone spikes out. They are counted and kept as a rule; see look."
    zero = "Nothing flowed between these times: take what the meter showed then off all readings."
    command = click.option("--drop-spikes", is_flag=True, help=spikes)(command)
    return click.option("--zero-at", metavar="FROM..TO", help=zero)(command)


@dataclass(frozen=True)
class Prepared:
    """A log, what a reading of it stands for, and its meter's figures.

    ``figures`` holds the zero check where one was asked for; its offset is taken off the readings that `chunks` gives.
    ``distrusts_power`` says that the power column contradicts volts x amps, and is left out of `quantities`.
    """

    log: Log
    facts: LogFacts
    how: HowRead
    figures: MeterFigures
    drop_spikes: bool = False
    distrusts_power: bool = False

    @property
    def quantities(self) -> set[str]:
        """The quantities the log has that are to be used."""
        return set(self.log.quantities) - ({"power_W"} if self.distrusts_power else set())

    def chunks(
        self, *, from_us: int | None = None, to_us: int | None = None, only: Sequence[str] | None = None
    ) -> Iterator[Chunk]:
        """Yield the readings, corrected as was asked; `only` these quantities, where named."""
        readings = self.log.scan(only, from_us=from_us, to_us=to_us)
        chunks: Iterable[Chunk] = (Chunk(part.time_us, part.quantities, part.extremes or {}) for part in readings)
        # Spikes go first: an offset changes nothing in how far one stands out, and the zero check, which is fed from
        # here as well, must not take one for what the meter shows at rest.
        if self.drop_spikes:
            from ...analysis.quality.spikes import without_spikes

            chunks = without_spikes(chunks, self.how, self.quantities if only is None else set(only))
        if (check := self.figures.zero_check) is not None:
            from ...analysis.quality.zero_check import without_offset

            chunks = (without_offset(chunk, check.offset_A) for chunk in chunks)
        yield from chunks

    def quality_fold(self, site: Site | None, instants: InstantsFold | None = None) -> QualityFold:
        """Return what looks at how good the log is, with what the site file says of its meter and array.

        Its `instants` are those of another fold that is fed beside it, where one looks at them.
        """
        from ...analysis.quality.quality import QualityFold

        return QualityFold(
            self.how,
            self.log.quantities,
            range_A=self.figures.current.full_scale,
            has_array=site is not None and site.array is not None,
            instants=instants,
        )

    def feed(self, *folds: Fed) -> None:
        """Run every reading through all folds."""
        feed(self.chunks(), *folds)


def prepared(path: Path, site: Site | None, corrections: Corrections = AS_READ) -> Prepared:
    """Open a log and make it ready; say so if an unfinished capture had to be completed for it.

    Raises
    ------
    InputError, Refusal
        If it cannot be opened, or the stretch named for the zero check is none.
    """
    from ...ingest.journal.opening import open_log

    log = open_log(path)
    if log.completed is not None:
        tell(f"note: {log.completed}")
    return prepared_log(log, site, corrections)


def prepared_log(log: Log, site: Site | None, corrections: Corrections = AS_READ) -> Prepared:
    """Make an open log ready; see `prepared`."""
    how = how_read(log)
    facts = facts_of(log, how, site)
    figures = figures_of(meter_of(site, facts.meter, facts.side))
    wrong = _wrong_power(log, how)
    facts = facts if wrong is None else replace(facts, remarks=(*facts.remarks, wrong))
    ready = Prepared(log, facts, how, figures, corrections.drop_spikes, wrong is not None)
    if corrections.zero_at is None:
        return ready
    return replace(ready, figures=_zero_checked(ready, corrections.zero_at))


def _wrong_power(log: Log, how: HowRead) -> str | None:
    """Say and return what is used where the power column contradicts volts x amps at the bank; None if it does not."""
    # Behind an inverter volts x amps are volt-amperes, which no power column need agree with.
    if how.side != "dc" or not {"current_A", "voltage_V", "power_W"} <= set(log.quantities):
        return None
    from ...analysis.quality.power_check import NAMES, PowerCheckFold

    # This costs a pass of its own over three columns: every fold that follows must know what it may use.
    fold = PowerCheckFold(how.sampling)
    for readings in log.scan(NAMES):
        fold.add(Chunk(readings.time_us, readings.quantities))
    check = fold.result()
    if check is None or not check.contradicts:
        return None
    tell(f"note: {log.path.name}: {check.sentence()}")
    return check.sentence()


def _zero_checked(ready: Prepared, zero_at: str) -> MeterFigures:
    """Return the meter's figures with the offset that it showed while nothing flowed."""
    from ...analysis.quality.zero_check import ZeroFold
    from .times_written import span_of

    if "current_A" not in ready.quantities or ready.how.side == "ac":
        raise InputError("--zero-at: a zero check needs the current at the bank (current_A on side dc)")
    since, dots, until = zero_at.partition("..")
    if not dots or not since.strip() or not until.strip():
        raise InputError(f"--zero-at: {zero_at!r} is no stretch; write it like 02:10..02:40")
    first_us, last_us = ends_of(ready.log)
    from_us, to_us = span_of(since, until, ready.facts, first_us=first_us, last_us=last_us, options=("--zero-at",) * 2)
    assert from_us is not None
    assert to_us is not None
    fold = ZeroFold(from_us, to_us, resolution_A=ready.figures.current.resolution or None)
    # `ready` has no offset yet, so these are the readings as the meter gave them.
    ready.feed(fold)
    return ready.figures.after_zero_check(fold.result())


def charge_if_in_doubt(ready: Prepared) -> Charge | None:
    """Return a log's charge and energy with what they would be otherwise; None where its spacings leave no doubt."""
    if ready.how.other_gap_limit_s is None:
        return None
    from ...analysis.not_known import Refusal
    from ...analysis.sureness.amount_intervals import AmountsAnalysis

    try:
        amounts = AmountsAnalysis(ready.how, ready.quantities, ready.figures)
    except Refusal:
        return None  # there is nothing to integrate, so nothing to be in doubt of
    ready.feed(amounts)
    charge, _ = amounts.result()
    return charge
