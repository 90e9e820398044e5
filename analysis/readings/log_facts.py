"""What is known of a log before anything is worked out: its meter, its zone, how it was read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from .chunk import Sampling, Side

#: Notes that end the stretch, or the demo, before them and begin none.
ENDINGS: Final = frozenset({"end", "stop", "off", "done"})


def only_ends(text: str) -> bool:
    """Tell whether a note ends what went on before it and begins nothing."""
    return text.strip().lower() in ENDINGS


@dataclass(frozen=True)
class LogFacts:
    """What the reader of a report must know about a log's origin.

    ``title`` is what it was called when it was captured, None where nobody said; ``zone`` is the zone its times are
    shown in; ``undated`` means its times count from the log's start only.
    ``remarks`` hold what was assumed or noticed when it was read, in plain sentences; ``moved`` those on what was moved
    in time or merged by more than a rounding; ``has_gaps`` tells that what was read does not stand however
    long it takes until the next reading.
    """

    name: str
    meter: str | None
    side: Side
    sampling: Sampling
    gap_limit_s: float
    usual_interval_s: float | None
    zone: str
    zone_assumed: bool
    undated: bool
    source: str
    rows_read: int
    rows_kept: int
    rows_rejected: int
    rows_merged: int
    remarks: tuple[str, ...] = ()
    markers: tuple[tuple[int, str], ...] = ()
    other_gap_limit_s: float | None = None
    moved: tuple[str, ...] = ()
    has_gaps: bool = True
    title: str | None = None
