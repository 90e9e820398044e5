"""A log made ready for analysis: its readings as they are to be fed, and how far its meter is to be trusted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from shuntbook.analysis.charge.amounts import Charge
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.sureness.meter_figures import MeterFigures, figures_of
from shuntbook.analysis.sureness.sure_amounts import AmountsAnalysis
from shuntbook.cli.parallel.two_threads import Fed, feed
from shuntbook.ingest.errors import InputError

from .open_logs import ends_of, facts_of, how_read, meter_of, open_and_tell
from .times_written import span_of

if TYPE_CHECKING:
    from shuntbook.analysis.quality.quality import QualityFold
    from shuntbook.analysis.site.site import Site
    from shuntbook.ingest.log.log import Log


def charge_if_in_doubt(ready: Prepared) -> Charge | None:
    """Return a log's charge and energy with what they would be otherwise; None where its spacings leave no doubt."""
    if ready.how.other_gap_limit_s is None:
        return None
    try:
        amounts = AmountsAnalysis(ready.how, ready.quantities, ready.figures)
    except Refusal:
        return None  # there is nothing to integrate, so nothing to be in doubt of
    ready.feed(amounts)
    charge, _ = amounts.result()
    return charge


Command = Callable[..., Any]


@dataclass(frozen=True)
class Corrections:
    """What a person asked to be done to the readings: ``zero_at`` as written, and whether lone spikes are dropped."""

    zero_at: str | None = None
    drop_spikes: bool = False


#: Nothing was asked for.
AS_READ: Final = Corrections()


def correction_options(command: Command) -> Command:
    """Give a command the options that `Corrections` holds, as ``zero_at`` and ``drop_spikes``."""
    for option in (
        click.option(
            "--drop-spikes", is_flag=True, help="Leave lone spikes out. They are counted and kept as a rule; see look."
        ),
        click.option(
            "--zero-at",
            metavar="FROM..TO",
            help="Nothing flowed between these times: take what the meter showed then off all readings.",
        ),
    ):
        command = option(command)
    return command


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
        from shuntbook.analysis.quality.spikes import without_spikes
        from shuntbook.analysis.quality.zero_check import without_offset

        readings = self.log.scan(only, from_us=from_us, to_us=to_us)
        chunks: Iterable[Chunk] = (Chunk(part.time_us, part.quantities) for part in readings)
        if self.drop_spikes:
            chunks = without_spikes(chunks, self.how, self.quantities if only is None else set(only))
        check = self.figures.zero_check
        yield from chunks if check is None else (without_offset(chunk, check.offset_A) for chunk in chunks)

    def quality_fold(self, site: Site | None) -> QualityFold:
        """Return what looks at how good the log is, with what the site file says of its meter and array."""
        from shuntbook.analysis.quality.quality import QualityFold

        return QualityFold(
            self.how,
            self.log.quantities,
            range_A=self.figures.current.full_scale,
            has_array=site is not None and site.array is not None,
        )

    def feed(self, *folds: Fed) -> None:
        """Run every reading through all folds."""
        feed(self.chunks(), *folds)


def prepared(path: Path, site: Site | None, corrections: Corrections = AS_READ) -> Prepared:
    """Open a log and make it ready.

    Raises
    ------
    InputError, Refusal
        If it cannot be opened, or the stretch named for the zero check is none.
    """
    return prepared_log(open_and_tell(path), site, corrections)


def prepared_log(log: Log, site: Site | None, corrections: Corrections = AS_READ) -> Prepared:
    """Make an open log ready; see `prepared`."""
    facts, how = facts_of(log, site), how_read(log)
    figures = figures_of(meter_of(site, facts.meter, facts.side))
    wrong = _wrong_power(log, how)
    facts = facts if wrong is None else replace(facts, said=(*facts.said, wrong))
    ready = Prepared(log, facts, how, figures, corrections.drop_spikes, wrong is not None)
    if corrections.zero_at is None:
        return ready
    return replace(ready, figures=_checked(ready, corrections.zero_at))


def _wrong_power(log: Log, how: HowRead) -> str | None:
    """Say and return what is used where the power column contradicts volts x amps at the bank; None if it does not."""
    from shuntbook.analysis.quality.power_check import NAMES, PowerCheckFold

    if how.side != "dc" or not set(NAMES) <= set(log.quantities):
        return None
    fold = PowerCheckFold(how.sampling)
    for readings in log.scan(NAMES):
        fold.add(Chunk(readings.time_us, readings.quantities))
    check = fold.result()
    if check is None or not check.contradicts:
        return None
    click.echo(f"note: {log.path.name}: {check.sentence()}", err=True)
    return check.sentence()


def _checked(ready: Prepared, zero_at: str) -> MeterFigures:
    from shuntbook.analysis.quality.zero_check import ZeroFold

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
    ready.feed(fold)
    return ready.figures.after_zero_check(fold.result())
