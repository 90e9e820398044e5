"""``--changed-at``: when something was changed at a site, by a time or by a note of any of its logs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from shuntbook.analysis.several_logs.before_after import NamedChange
from shuntbook.cli.opening.prepared_log import Prepared, ends_of
from shuntbook.cli.opening.times_written import span_of
from shuntbook.cli.render.wording.clock import clock
from shuntbook.cli.render.wording.numbers import shortened
from shuntbook.ingest.errors import InputError

_OPTION = "--changed-at"


def named_change(text: str, logs: Sequence[Prepared]) -> NamedChange:
    """Return the instant that a person means by a note's text, or a time as ``--from`` takes it.

    A clock time is that of the first log's first day. `InputError` if it is neither, or does not lie between the first
    and the last reading.
    """
    dated = [log for log in logs if not log.facts.undated]
    if not dated:
        raise InputError(f"{_OPTION}: needs logs with dates")
    # As if the logs were one: its markers are those of all, its first day is that of the earliest.
    ends = [(ends_of(log.log), log) for log in dated]
    (first_us, _), first = min(ends, key=lambda pair: pair[0])
    last_us = max(stop_us for (_, stop_us), _ in ends)
    markers = sorted(marker for log in dated for marker in log.facts.markers)
    facts = replace(first.facts, markers=tuple(markers))
    at_us, _ = span_of(text, None, facts, first_us=first_us, last_us=last_us, options=(_OPTION, _OPTION))
    assert at_us is not None
    if not first_us < at_us < last_us:
        raise InputError(
            f"{_OPTION}: {shortened(text)!r} does not lie within the logs, which go from {clock(first_us, facts)} to "
            f"{clock(last_us, facts)}"
        )
    # By instant and text: another note may stand at the instant that a time names.
    wanted = text.strip().lower()
    return NamedChange(
        at_us, next((note for at, note in markers if at == at_us and note.strip().lower() == wanted), "")
    )
