"""Two logs set side by side, for whoever asks: the command and the desk."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ...analysis.charge.between_notes import MarkedFold
from ...analysis.one_log.log_analysis import LogAnalysis
from ...analysis.several_logs.compare import LogComparison, compare_logs
from ...analysis.several_logs.compare_rates import even_cuts
from ...analysis.several_logs.compared import ComparedLog
from ..opening.prepared_log import AS_READ, Corrections, ends_of, prepared

if TYPE_CHECKING:
    from ...analysis.site.site import Site


def compared(
    before: Path, after: Path, site: Site | None, load: str | None = None, corrections: Corrections = AS_READ
) -> LogComparison:
    """Return what differs between two logs; `load` is the one to look for, the site's main pump by default.

    Raises
    ------
    InputError, Refusal
        If one cannot be opened, or the two cannot be compared.
    """
    return compare_logs(*(_log(path, site, load, corrections) for path in (before, after)))


def _log(path: Path, site: Site | None, load: str | None, corrections: Corrections) -> ComparedLog:
    """Return a log's report, and what it holds from one even cut to the next."""
    ready = prepared(path, site, corrections)
    analysis = LogAnalysis(ready.facts, ready.how, ready.quantities, site=site, load=load, figures=ready.figures)
    # From the differences between even stretches comes how far such a log's rate may be off by chance.
    cuts = [(at_us, "") for at_us in even_cuts(*ends_of(ready.log))]
    stretches = MarkedFold(ready.how, ready.quantities, cuts)
    ready.feed(analysis, stretches)
    return ComparedLog(analysis.result(), stretches.result())
