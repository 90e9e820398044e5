"""The command for Ah and Wh."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ...analysis.quality.sign_check import SignFold
from ...analysis.readings.chunk import MICROSECONDS
from ...analysis.sureness.amount_intervals import AmountsAnalysis
from ...ingest.errors import InputError
from ..opening.prepared_log import Corrections, correction_options, ends_of, open_site, prepared
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.charge import CutRun, charge_answer
from ..render.wording.clock import from_to, in_zone

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...analysis.cycles.cycle import Cycle, Cycles
    from ...analysis.readings.chunk import Fold
    from ...analysis.site.site import Site
    from ...analysis.sureness.signal_errors import UnseenStarts
    from ..opening.prepared_log import Prepared


@click.command("charge")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone, its meter's accuracy.")
@click.option("--from", "since", metavar="TIME_OR_NOTE", help="Only from this time, or note of the log, on.")
@click.option("--to", "until", metavar="TIME_OR_NOTE", help="Only up to this time, or note of the log.")
@correction_options
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    log: Path,
    site: Path | None,
    since: str | None,
    until: str | None,
    zero_at: str | None,
    drop_spikes: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Work out what a log's readings took out of the bank, and put back, in Ah and Wh, and how sure that is.

    Gaps are never bridged: the time that was not measured is told beside the result. A meter's accuracy comes from the
    site file; without it wide figures are assumed, and said.

    Example: shuntbook charge pump.parquet --from 10:30 --to 10:45
    """
    known = open_site(site)
    ready = prepared(log, known, Corrections(zero_at, drop_spikes))
    from_us, to_us, first_us = None, None, 0
    if since is not None or until is not None:
        from ..opening.times_written import span_of

        first_us, last_us = ends_of(ready.log)
        from_us, to_us = span_of(since, until, ready.facts, first_us=first_us, last_us=last_us)
    is_part = (from_us, to_us) != (None, None)
    amounts = AmountsAnalysis(
        ready.how, ready.quantities, ready.figures, ready.facts.markers, from_us=from_us, to_us=to_us
    )
    # A log the wrong way round is told of, since its draw and return are then each other's.
    sign = SignFold.of(ready.how, ready.quantities)
    # Runs that the ends cut are told in words alone.
    runs = _runs(ready, known, is_part=is_part and not as_json)
    # The sums come first: they take longest, and have a processor to themselves.
    ready.feed(amounts, sign, *([runs.fold] if runs else []))
    cycles = runs.fold.result().cycles if runs else ()
    caught, starts_us = runs.caught(cycles) if runs else (None, [])
    result, marked = amounts.result(caught, starts_us)
    # Nought Ah would be an answer, and there was no question: nothing lies in the span.
    if result.span.start_us is None:
        goes = f"{from_to(*ends_of(ready.log), ready.facts)} ({in_zone(ready.facts)})"
        raise InputError(f"{log}: no reading lies in the span that was asked for; the log goes from {goes}")
    if as_json:
        from ..render.documents.charge_and_runs import charge_document
        from ..render.documents.parts import print_json

        print_json(charge_document(ready.facts, result, marked, ready.figures))
        return
    answer = charge_answer(
        ready.facts,
        result,
        ready.figures,
        sign.result(),
        marked,
        starts_known=caught is not None,
        by_sun=known is not None and known.array is not None and not known.chargers,
        cut=_cut(ready, cycles, from_us, to_us, first_us) if is_part else (),
    )
    say_answer(answer, explain=explain)


@dataclass(frozen=True)
class _Runs:
    """What finds the runs of a load, what each start of it may have drawn unseen if any, and the usual spacing."""

    fold: Fold[Cycles]
    each: UnseenStarts | None
    interval_s: float | None

    def caught(self, cycles: Sequence[Cycle]) -> tuple[UnseenStarts | None, list[int]]:
        """Return what a start may have drawn, None where none was caught; and when there was one [us]."""
        if self.each is None:
            return None, []
        from ...analysis.forecast.unseen_starts import caught_starts

        return caught_starts(self.each, cycles, self.interval_s), [cycle.start_us for cycle in cycles]


def _runs(ready: Prepared, site: Site | None, *, is_part: bool) -> _Runs | None:
    """Return what finds runs: for the surges that may fall between two readings, or the ends of a part of the log."""
    if (site is None and not is_part) or not {"current_A", "power_W"} & ready.quantities:
        return None
    from ...analysis.one_log.watched_load import cycle_fold, watched_load

    watched, how = watched_load(site, None, ready.how, ready.quantities), ready.how
    each = None
    if site is not None and watched.load is not None:
        from ...analysis.forecast.unseen_starts import unseen_starts

        each = unseen_starts(site, watched.load, 1, how)
    # A surge that lasts longer than the spacing is in the readings, and so in the sums already.
    if each is not None and (how.usual_interval_s or 0.0) <= each.lasts_s:
        each = None
    if each is None and not is_part:
        return None
    return _Runs(cycle_fold(watched, how, ready.quantities, ready.facts.markers), each, how.usual_interval_s)


def _cut(
    ready: Prepared, cycles: Sequence[Cycle], from_us: int | None, to_us: int | None, first_us: int
) -> list[CutRun]:
    """Return the runs that the ends of a part of the log cut, and which ends would hold them whole."""
    from ..opening.times_written import as_written

    cut = []
    for cycle in cycles:
        if cycle.stop_us is None or cycle.run_s is None:
            continue
        start, stop = _known(cycle.start_us, cycle.start_within_s), _known(cycle.stop_us, cycle.stop_within_s)
        # To whole seconds outside of the run: a person types no fractions, and nothing of it is lost.
        ends = (from_us, "--from", start[0] // MICROSECONDS), (to_us, "--to", -(-stop[1] // MICROSECONDS))
        wider = {
            at_us: f"{option} {as_written(second * MICROSECONDS, ready.facts, first_us=first_us)}"
            for at_us, option, second in ends
            # An end within what is known of an edge cuts nothing that the readings could show.
            if at_us is not None and start[1] < at_us < stop[0]
        }
        if wider:
            cut.append(CutRun(cycle.run_s, tuple(wider), tuple(wider.values())))
    return cut


def _known(at_us: int, within_s: float | None) -> tuple[int, int]:
    """Return between which instants an edge lies. [us]"""
    within_us = round((within_s or 0.0) * MICROSECONDS)
    return at_us - within_us, at_us + within_us
