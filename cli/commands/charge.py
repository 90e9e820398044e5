"""The command for Ah and Wh."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ...analysis.quality.sign_check import SignFold
from ...analysis.sureness.amount_intervals import AmountsAnalysis
from ...ingest.errors import InputError
from ..opening.prepared_log import Corrections, correction_options, ends_of, open_site, prepared
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.charge import charge_answer
from ..render.wording.clock import from_to, in_zone

if TYPE_CHECKING:
    from ...analysis.cycles.cycles import CycleFold
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
    from_us, to_us = None, None
    if since is not None or until is not None:
        from ..opening.times_written import span_of

        first_us, last_us = ends_of(ready.log)
        from_us, to_us = span_of(since, until, ready.facts, first_us=first_us, last_us=last_us)
    amounts = AmountsAnalysis(
        ready.how, ready.quantities, ready.figures, ready.facts.markers, from_us=from_us, to_us=to_us
    )
    # A log the wrong way round is told of, since its draw and return are then each other's.
    sign = SignFold.of(ready.how, ready.quantities)
    starts = None if known is None else _starts(ready, known)
    # The sums come first: they take longest, and have a processor to themselves.
    ready.feed(amounts, sign, *([starts.fold] if starts else []))
    caught, starts_us = starts.result() if starts else (None, [])
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
    answer = charge_answer(ready.facts, result, ready.figures, sign.result(), marked, starts_known=caught is not None)
    say_answer(answer, explain=explain)


@dataclass(frozen=True)
class _Starts:
    """What finds the starts of a pump, what each of them may have drawn unseen, and the readings' usual spacing."""

    fold: CycleFold
    each: UnseenStarts
    interval_s: float | None

    def result(self) -> tuple[UnseenStarts | None, list[int]]:
        """Return what a start may have drawn, None where none was caught; and when there was one [us]."""
        from ...analysis.forecast.unseen_starts import caught_starts

        cycles = self.fold.result().cycles
        return caught_starts(self.each, cycles, self.interval_s), [cycle.start_us for cycle in cycles]


def _starts(ready: Prepared, site: Site) -> _Starts | None:
    """Return what finds the starts of the site's pump; None where no surge of it can fall between two readings."""
    if not {"current_A", "power_W"} & ready.quantities:
        return None
    from ...analysis.cycles.cycles import CycleFold
    from ...analysis.forecast.unseen_starts import unseen_starts
    from ...analysis.one_log.watched_load import watched_load

    watched = watched_load(site, None, ready.how, ready.quantities)
    each = unseen_starts(site, watched.load, 1, ready.how) if watched.load is not None else None
    # A surge that lasts longer than the spacing is in the readings, and so in the sums already.
    if each is None or (ready.how.usual_interval_s or 0.0) <= each.lasts_s:
        return None
    fold = CycleFold(ready.how, ready.quantities, load=watched.name, expected=watched.expected, drive=watched.drive)
    return _Starts(fold, each, ready.how.usual_interval_s)
