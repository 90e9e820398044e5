"""Clocks that begin anew: a count from the start that falls to nought, a clock that shows a date of its making.

Nobody knows how long the meter was off, so the readings of each session are laid behind those of the session before it
with a pause that no gap limit bridges.

- A count that falls back has begun anew, whether it begins at nought or a little later; late rows fall back as well,
  but end where the rows before them left off, or fill a hole; and a block that stands there twice says the same again.
  A count of 32 bits that is full goes on.
- A clock that was never set shows a date in January 1970, 1980 or 2000, or 1 January of a later year to which it fell
  back. Where the log holds dates from long after it, too, only those are true: such a session goes behind the rows
  before it, or ahead of those after it where none are before it.
- A clock that was set does not fall back to the very instant at which the log began. Readings that do and are others
  than those that are there may be another meter's: that is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .clock_steps import FEW_ROWS, Columns, beside_others, say_again
from .gap_limit import LONG_US
from .stored import Scratch, Times, ends_of, forget, forward, parts_of, quantile, steps_of

_SECOND_US = 1_000_000
_HOUR_US = 3_600 * _SECOND_US
_DAY_US = 24 * _HOUR_US
#: Where clocks without a battery begin: the epochs of Unix, of file systems and of satellite time, and of calendar
#: chips with years of two digits (from memory).
_MADE_IN = (1970, 1980, 2000)
#: No zone is farther from UTC than 14 h; some minutes may pass before the first reading.
_NEAR_MIDNIGHT_US = 15 * _HOUR_US
#: From power-up to the first reading it takes about as long each time, within this: common practice, no source.
_UNTIL_READING_US = 60 * _SECOND_US
#: Counts of milliseconds and of microseconds in 32 bits are full after so long. [us]
_FULL_US = (2**32 * 1_000, 2**32)
#: A clock that is put right within a file's length seldom steps by more, unless by whole hours, within so much: common
#: practice, no source.
_SET_RIGHT_US, _WHOLE_HOURS_US = 600 * _SECOND_US, 120 * _SECOND_US
#: The pause that stands for an unknown one is far longer than any spacing of the log: common practice, no source.
_PAUSE_TIMES = 20


@dataclass
class Sessions:
    """How sessions were laid behind each other.

    ``steps`` holds ``at_us`` and ``step_s`` of each clock that began anew; ``pauses`` the first and last instant of
    each pause laid between them [us]; ``unset`` how many rows show a date of a clock that was never set.
    """

    steps: list[dict[str, float]] = field(default_factory=list)
    pauses: list[tuple[int, int]] = field(default_factory=list)
    unset: int = 0

    def add(self, end: int, step: int, pause: int) -> None:
        """Add a clock that began anew where the readings ended, the step that was made, and the pause behind. [us]"""
        self.steps.append({"at_us": end, "step_s": step / _SECOND_US})
        self.pauses.append((end, end + pause))

    def closed(self, time_us: Times, usual_us: int) -> Times:
        """Return instants with the pauses closed up to a usual spacing, for a look at the meter's own rhythm. [us]"""
        closed_us = time_us.copy()
        for first, last in self.pauses:
            closed_us[time_us >= last] -= max(last - first - usual_us, 0)
        return closed_us


def lay_behind(
    time_us: Times, quantities: Columns, scratch: Scratch, *, counted: bool, least_pause_us: int = 0
) -> Sessions:
    """Lay the sessions of a clock that began anew behind each other: the stamps [us], as written, change in place.

    `counted`: the stamps count from a start. The pause between two sessions is longer than `least_pause_us`.

    Raises
    ------
    InputError
        If readings begin anew where the log began though the clock was set, and are others than those that are there.
    """
    if not any(len(steps) for steps in forward(time_us)):
        return Sessions()
    usual, most = (int(quantile(partial(forward, time_us), share)) for share in (0.5, 0.95))
    pause = max(_HOUR_US, _PAUSE_TIMES * min(most, LONG_US // _PAUSE_TIMES), 2 * least_pause_us)
    bounds = _bounds(time_us)
    if _in_no_order(time_us, bounds, usual):
        return Sessions()
    if counted:
        return _lay_counts(time_us, scratch.copied(time_us), quantities, bounds, usual, pause)
    sessions = _lay_unset(time_us, scratch, quantities, bounds, usual, pause)
    if not sessions.steps:
        _refuse_two_logs(time_us, quantities, bounds, usual)
    return sessions


def refuse_joined_meters(laid_us: Mapping[int, Times], after_us: Times) -> None:
    """Refuse rows below a header that came again, if they were moved forward by what no clock is set by. [us]

    `laid_us`: by the number of each such row the instants before that, of the row ahead of it and its own.

    Raises
    ------
    InputError
        With the row.
    """
    for row, (ahead_us, row_us) in laid_us.items():
        step = int((after_us[row] - row_us) - (after_us[row - 1] - ahead_us))
        odd = (step + _WHOLE_HOURS_US) % _HOUR_US > 2 * _WHOLE_HOURS_US
        if step > _SET_RIGHT_US and odd:
            at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(row_us))
            raise InputError(
                f"row {row + 1} of the readings, below a header that comes again, goes back by {step / _SECOND_US:g} s "
                f"to {at:%Y-%m-%d %H:%M:%S} UTC, with other readings than those that are there: it may be another "
                "meter's, or its clock was set; part the file there and convert each part alone"
            )


def begins_unset(first_us: int, steps_us: Times) -> bool:
    """Tell from its first instant and spacings whether a log begins with a clock not set yet that then was. [us]"""
    return bool((steps_us > LONG_US).any()) and _is_made_date(first_us)


def _bounds(time_us: Times) -> list[int]:
    bounds = [0]
    for at, steps in steps_of(time_us):
        bounds += (at + 1 + np.flatnonzero((steps < 0) | (steps > LONG_US))).tolist()
    bounds.append(len(time_us))
    # A few rows that leap far away, after which the rows go on where those before left off, are stray.
    for start, stop in [*pairwise(bounds)][1:-1]:
        if stop - start <= FEW_ROWS and abs(int(time_us[start] - time_us[start - 1])) > LONG_US:
            goes_on = abs(int(time_us[stop] - time_us[start - 1])) <= LONG_US
            bounds = [bound for bound in bounds if not (goes_on and bound in (start, stop))]
    return bounds


def _says_again(raw: Times, quantities: Columns, rows: slice) -> bool:
    """Tell whether the rows that overlap those before them say the same, as where an export was taken twice."""
    inside = int(np.searchsorted(raw[rows], ends_of(raw[: rows.start])[1], side="right"))
    forget(raw)
    return say_again(raw, quantities, slice(rows.start, rows.start + inside))


def _is_twice(raw: Times, quantities: Columns, begun: int, rows: slice) -> bool:
    """Tell whether rows say again what their session, `begun` there, said: readings that vary, or it may be chance."""
    own = {name: x[begun : rows.stop] for name, x in quantities.items()}
    varies = any(_varies(x[rows.start - begun :]) for x in own.values())
    return varies and _says_again(raw[begun : rows.stop], own, slice(rows.start - begun, rows.stop - begun))


def _varies(x: NDArray[np.float64]) -> bool:
    different = x[:0]
    for part in parts_of(x):
        different = np.unique(np.append(different, part))
        if len(different) > FEW_ROWS:
            return True
    return False


def _in_no_order(time_us: Times, bounds: list[int], usual: int) -> bool:
    """Tell whether rows fall back everywhere, and seldom to the beginning."""
    backs = [start for start in bounds[1:-1] if time_us[start] < time_us[start - 1]]
    # The spacings of rows in no order say nothing of their rhythm; how many there are in their time does.
    first, last = ends_of(time_us)
    begin_us = first + _near(min(usual, (last - first) // len(time_us)))
    to_begin = sum(int(time_us[start]) <= begin_us for start in backs)
    return (1 + len(backs)) * FEW_ROWS > len(time_us) and 2 * to_begin < len(backs)


def _lay_counts(time_us: Times, raw: Times, quantities: Columns, bounds: list[int], usual: int, pause: int) -> Sessions:
    sessions = Sessions()
    near, shift, begun = _near(usual), 0, 0
    for start, stop in pairwise(bounds):
        session = slice(start, stop)
        fell = start > 0 and raw[start] < raw[start - 1] and not _is_twice(raw, quantities, begun, session)
        step = _full(int(raw[start - 1]), int(raw[start]), near) if fell else None
        # What lies ahead of all that the session before it has overlaps nothing, and began anew all the same.
        ahead = fell and int(raw[start]) < int(raw[begun:start].min()) - near
        if step is not None or ahead or (fell and _begins_anew(raw, slice(begun, start), session, usual)):
            end = int(time_us[begun:start].max())
            if step is None:
                step = end + pause - shift - int(raw[start])
                sessions.pauses.append((end, end + pause))
            shift += step
            sessions.steps.append({"at_us": end, "step_s": step / _SECOND_US})
            begun = start
        time_us[session] += shift
    return sessions


def _begins_anew(raw: Times, before: slice, session: slice, usual: int) -> bool:
    """Tell whether a clock that fell back began anew, rather than that late rows stand there."""
    start, last = session.start, int(raw[session.start - 1])
    # A few rows at the very beginning of a log are stray themselves.
    if not before.start and start <= FEW_ROWS:
        return False
    near, fell = _near(usual), last - int(raw[start])
    ahead = raw[start : min(start + FEW_ROWS + 1, session.stop)]
    # Late rows, then a leap to where the rows before them left off.
    if int(ahead[-1]) >= last > int(ahead[0]) + near and int(np.diff(ahead).max()) > near:
        return False
    # What fills a hole came late. Of a session of a row or two only those of the next can tell.
    if fell > near:
        return beside_others(raw[before], raw[session], usual, ends_of(raw[before])[1])
    at_begin = int(raw[start]) <= int(raw[before.start]) + near and 4 * fell > usual
    return at_begin and beside_others(raw[session], raw[before][raw[before] >= raw[start]], usual)


def _near(usual: int) -> int:
    """Return how far apart the first rows of two sessions may be. [us]"""
    return int((FEW_ROWS + 0.5) * usual)


def _full(last: int, first: int, near: int) -> int | None:
    """Return by how much a count goes on where it was full; None where it was not. [us]"""
    return next((full for full in _FULL_US if 0 < full - last + first <= near), None)


def _is_made_date(at_us: int) -> bool:
    """Tell whether an instant is of the first days that a clock without a battery shows."""
    year = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us + _NEAR_MIDNIGHT_US)).year
    begin_us = _new_year_us(year)
    # Satellite time begins on 6 January.
    return year in _MADE_IN and -_NEAR_MIDNIGHT_US <= at_us - begin_us <= 6 * _DAY_US


def _is_new_year(at_us: int) -> bool:
    year = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us + _NEAR_MIDNIGHT_US)).year
    return abs(at_us - _new_year_us(year)) <= _NEAR_MIDNIGHT_US


def _new_year_us(year: int) -> int:
    return (datetime(year, 1, 1, tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _lay_unset(
    time_us: Times, scratch: Scratch, quantities: Columns, bounds: list[int], usual: int, pause: int
) -> Sessions:
    """Lay sessions of a clock that was never set behind what is before them, and the first ahead of what follows."""
    sessions, (first, _) = Sessions(), ends_of(time_us)
    # All within one year that is none of those: the rule. And a few rows long after all others are stray.
    later = sum(int(np.count_nonzero(part - first > LONG_US)) for part in parts_of(time_us))
    if 0 < later <= FEW_ROWS or not (later or _is_made_date(first)):
        return sessions
    raw, is_unset, begun, shift = scratch.copied(time_us), False, 0, 0
    # The rows before the first true date, and where the readings laid so far end.
    ahead, end = True, int(raw[0])
    for start, stop in pairwise(bounds):
        rows = slice(start, stop)
        was_unset, is_unset, anew = is_unset, *_unset(raw, slice(begun, start), rows, is_unset, usual)
        anew = anew and not (start and _says_again(raw, quantities, rows))
        if is_unset and anew and start:
            shift = end + pause - int(raw[start])
            sessions.add(end, shift, pause)
        elif not is_unset and was_unset:
            shift = 0
        begun = start if anew or is_unset != was_unset else begun
        time_us[rows] += shift
        if ahead and not is_unset and start:
            _move_ahead(time_us, start, pause, sessions)
        ahead = ahead and is_unset
        end = max(end, int(time_us[rows].max())) if start else int(time_us[rows].max())
        sessions.unset += (stop - start) if is_unset else 0
    return sessions


def _unset(raw: Times, before: slice, rows: slice, was_unset: bool, usual: int) -> tuple[bool, bool]:
    """Tell whether rows show a clock that was never set, and whether they begin a session of it."""
    at = int(raw[rows.start])
    if not rows.start:
        return _is_made_date(at), True
    fell = int(raw[rows.start - 1]) - at
    # Rows near those before them are of the same clock.
    if abs(fell) <= LONG_US:
        begin_us = int(raw[before.start]) + max(_near(usual), _UNTIL_READING_US)
        return was_unset, was_unset and at <= begin_us and _begins_anew(raw, before, rows, usual)
    is_unset = _is_made_date(at) or (fell > 0 and _is_new_year(at))
    return is_unset, is_unset


def _move_ahead(time_us: Times, first_true: int, pause: int, sessions: Sessions) -> None:
    """Move the rows before `first_true` to end a pause ahead of it."""
    end = int(time_us[:first_true].max())
    step = int(time_us[first_true]) - pause - end
    time_us[:first_true] += step
    for mark in sessions.steps:
        mark["at_us"] += step
    sessions.pauses = [(first + step, last + step) for first, last in sessions.pauses]
    sessions.add(end + step, step, pause)


def _refuse_two_logs(time_us: Times, quantities: Columns, bounds: list[int], usual: int) -> None:
    """Refuse readings that begin anew at the log's first instant, of a clock that was set, with other readings."""
    near = _near(usual)
    for start, stop in pairwise(bounds[1:]):
        rows = slice(start, stop)
        if stop - start <= FEW_ROWS or abs(int(time_us[start] - time_us[0])) > near:
            continue
        if int(time_us[start - 1] - time_us[start]) <= 2 * near or _says_again(time_us, quantities, rows):
            continue
        if beside_others(time_us[:start], time_us[rows], usual, ends_of(time_us[:start])[1]):
            at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(time_us[0]))
            raise InputError(
                f"row {start + 1} of the readings begins again at the first instant ({at:%Y-%m-%d %H:%M:%S} UTC) with "
                "other readings, which may be another meter's, or a session of a clock that was not set; "
                "part the file there and convert each part alone"
            )
