"""What a log's metadata says, and how it is read back without trusting it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from math import isfinite
from pathlib import Path
from typing import Any, Final

from ..errors import InputError
from ..zone import zone_named

FORMAT_MAJOR, FORMAT_MINOR = 1, 0
METADATA_KEY = b"shuntbook"
#: The profile of what a person notes down by hand, typed at once or afterwards.
HAND: Final = "hand"
#: Instants that a calendar can show, with a day to spare for zones: years 1 to 9999. [us]
FIRST_US, LAST_US = -62_135_510_400_000_000, 253_402_214_400_000_000
#: Lengths of time that a log can have: parts of a microsecond, to a gap limit of five times all years of a calendar.
#: In microseconds they fit a whole number of 64 bits. [s]
_SHORTEST_S, _LONGEST_S = 1e-9, 2e12
#: More rows than any disk holds, and exact in JSON and in every column of a table. [1]
_MOST_ROWS = 10**15
#: No name, note or sentence is longer; one that would be is cut where it is written. [characters]
TEXT_MOST: Final = 100_000
_HALF: Final = re.compile("[\ud800-\udfff]")

#: Items that are called otherwise in the file, since its first version.
_STORED_AS: Final = {"remarks": "said"}
_NAMES: Final = {stored: name for name, stored in _STORED_AS.items()}


@dataclass(frozen=True)
class LogMeta:
    """What a log's metadata says; everything but the readings themselves.

    ``title`` is what whoever captured it called it; None where nobody did.
    ``side`` is ``dc`` or ``ac``; ``sampling`` ``instant``, ``mean`` or ``held``; ``counter_kind`` ``net`` or ``moved``.
    ``sign_applied`` is -1 where the source counted return as positive and the signs were turned. ``other_gap_limit_s``
    is a gap limit that the spacings allow as well, so that only a person can tell; ``usual_interval_s`` the median
    spacing. ``markers`` are instants [us] and what was noted at them; ``clock_steps`` the ``at_us`` and ``step_s`` of
    each jump of the meter's clock that was taken out; ``moved``, in sentences, what was moved or merged by more than a
    rounding; ``remarks`` what was assumed or noticed, that among it.
    ``display_delay_s``, of a log read from a film, is how late the display may show what it has measured,
    ``display_holds_s`` how long it shows each value, and ``misread_share`` which share of its values may be wrong.
    ``capture_id``, of a captured log, is the mark that its journal carries too.
    """

    title: str | None = None
    meter: str | None = None
    side: str = "dc"
    sampling: str = "instant"
    counter_kind: str = "net"
    profile: str | None = None
    zone: str = "UTC"
    zone_assumed: bool = False
    undated: bool = False
    sign_applied: int = 1
    source: list[dict[str, Any]] = field(default_factory=list)
    rows_read: int = 0
    rows_kept: int = 0
    rows_rejected: int = 0
    rows_merged: int = 0
    gap_limit_s: float | None = None
    usual_interval_s: float | None = None
    other_gap_limit_s: float | None = None
    markers: list[tuple[int, str]] = field(default_factory=list)
    clock_steps: list[dict[str, float]] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    tool_version: str = ""
    capture_id: str | None = None
    display_delay_s: float | None = None
    display_holds_s: float = 0.0
    misread_share: float | None = None

    @property
    def noted(self) -> bool:
        """Whether a person noted down what a display showed, and when it changed."""
        return self.sampling == "held" and self.profile == HAND

    def to_json(self) -> bytes:
        """Return the metadata as it stands in the file."""
        items = {_STORED_AS.get(name, name): _storable(value) for name, value in asdict(self).items()}
        document = json.dumps({"format": f"{FORMAT_MAJOR}.{FORMAT_MINOR}", **items}, ensure_ascii=False)
        # the name of a file need not be text: a byte that is none becomes a question mark
        return document.encode("utf-8", "replace")


def _storable(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a value with texts no longer than are read again."""
    if isinstance(value, str):
        return value[:TEXT_MOST]
    if isinstance(value, dict):
        return {name: _storable(inner) for name, inner in value.items()}
    return [_storable(inner) for inner in value] if isinstance(value, list | tuple) else value


def meta_from(path: Path, raw: bytes | None) -> LogMeta:
    """Return the metadata that stands in a file under `METADATA_KEY`; None is nothing there.

    Raises
    ------
    InputError
        If it is damaged, or was written by a newer format version.
    """
    if raw is None:
        return LogMeta(
            remarks=["this file carries no notes of ours: side dc, instant readings and draw positive are assumed"]
        )
    try:
        stored = json.loads(raw)
        version = str(stored["format"])
        major = int(version.partition(".")[0])
    except (ValueError, KeyError, TypeError, RecursionError):
        raise _damaged(path) from None
    if major > FORMAT_MAJOR:
        raise InputError(
            f"{path}: was written by a newer shuntbook (format {version[:20]}, "
            f"this one reads up to {FORMAT_MAJOR}); update shuntbook"
        )
    # A newer minor version may say more than is known here: that is passed over. What is known must be right, since a
    # foreign hand may have written it.
    known = {name: value for name, value in stored.items() if name in _RIGHT}
    if wrong := [name for name, value in known.items() if not _RIGHT[name](value)]:
        raise _damaged(path, wrong)
    meta = LogMeta(**{_NAMES.get(name, name): value for name, value in known.items()})
    return replace(meta, markers=[(at, text) for at, text in meta.markers])


def _damaged(path: Path, names: Sequence[str] = ()) -> InputError:
    which = f" (wrong: {', '.join(names)})" if names else ""
    return InputError(f"{path}: the log's notes (metadata) are damaged; convert its source again{which}")


def _is(*kinds: type) -> Callable[[Any], bool]:
    return lambda x: type(x) in kinds  # exactly: to Python a truth value is a whole number, too


def _is_number(x: object) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e300 and isfinite(x)


def _is_count(x: object) -> bool:
    return isinstance(x, int) and not isinstance(x, bool) and 0 <= x <= _MOST_ROWS


def _is_text(x: object) -> bool:
    # Half of a pair of code units is no text: no file, table or terminal can take it.
    return isinstance(x, str) and len(x) <= TEXT_MOST and not _HALF.search(x)


def _is_text_or_none(x: object) -> bool:
    return x is None or _is_text(x)


def _is_source(x: object) -> bool:
    return isinstance(x, dict) and all(
        _is_text(name) and (_is_text_or_none(value) or _is_count(value)) for name, value in x.items()
    )


def _is_length_or_none(x: Any) -> bool:  # noqa: ANN401 - any JSON value
    return x is None or (_is_number(x) and _SHORTEST_S <= x <= _LONGEST_S)


def is_instant(x: Any) -> bool:  # noqa: ANN401 - any JSON value
    """Tell whether a value is an instant that a calendar can show. [us]"""
    return _is_number(x) and x == int(x) and FIRST_US <= x <= LAST_US


def _is_marker(x: object) -> bool:
    match x:
        case [int(at), str(text)]:
            return is_instant(at) and _is_text(text)
    return False


def _is_clock_step(x: object) -> bool:
    match x:
        case {"at_us": at, "step_s": step}:
            return is_instant(at) and _is_number(step) and abs(step) <= _LONGEST_S
    return False


def _is_zone(x: object) -> bool:
    try:
        return isinstance(x, str) and _is_text(x) and bool(zone_named(x, what="zone"))
    except InputError:
        return False


def _one_of(*values: object) -> Callable[[Any], bool]:
    return lambda x: any(x == value and type(x) is type(value) for value in values)


def _list_of(right: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda x: isinstance(x, list) and all(map(right, x))


#: Of each item of the metadata: whether a value that was read can be it.
_RIGHT: Final[dict[str, Callable[[Any], bool]]] = {
    "title": _is_text_or_none,
    "meter": _is_text_or_none,
    "side": _one_of("dc", "ac"),
    "sampling": _one_of("instant", "mean", "held"),
    "counter_kind": _one_of("net", "moved"),
    "profile": _is_text_or_none,
    "zone": _is_zone,
    "zone_assumed": _is(bool),
    "undated": _is(bool),
    "sign_applied": _one_of(1, -1),
    "source": _list_of(_is_source),
    "rows_read": _is_count,
    "rows_kept": _is_count,
    "rows_rejected": _is_count,
    "rows_merged": _is_count,
    "gap_limit_s": _is_length_or_none,
    "other_gap_limit_s": _is_length_or_none,
    "usual_interval_s": lambda x: x == 0 or _is_length_or_none(x),  # spacings of microseconds count as 0
    "markers": _list_of(_is_marker),
    "clock_steps": _list_of(_is_clock_step),
    "moved": _list_of(_is_text),
    "said": _list_of(_is_text),
    "tool_version": _is_text,
    "capture_id": _is_text_or_none,
    "display_delay_s": lambda x: x == 0 or _is_length_or_none(x),
    "display_holds_s": lambda x: _is_number(x) and 0 <= x <= _LONGEST_S,
    "misread_share": lambda x: x is None or (_is_number(x) and 0 <= x <= 1),
}
