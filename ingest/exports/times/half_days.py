"""Clocks of twelve hours without AM and PM: morning and afternoon told by the order of the rows.

Such a clock shows no hour but 1 to 12, and goes on from 12:59 to 1:00 of the same day, or from 11:59 to 12:00 of the
next one: no clock of 24 hours does either. Where neither is seen, as in a log of one morning, it is taken for one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError
from .stamps import IntArray

_HOUR_US = 3_600_000_000
_HALF_US, _DAY_US = 12 * _HOUR_US, 24 * _HOUR_US
#: By so much a clock falls where half a day has ended: less are late rows and clocks set back by an hour.
_FALL_US = _HOUR_US * 5 // 4
#: Rows go on where their spacing is no more than so many usual ones, as far as one is no gap.
_GOES_ON = 5


@dataclass
class _Stretch:
    """Rows on end in one half of a day: its day since 1970, and the times since noon or midnight of both ends. [us]"""

    day: int
    first: int
    last: int
    late: bool | None = None


@dataclass
class HalfDays:
    """Looks at a clock's times as they pass, none of which has another hour than 1 to 12.

    Once all have passed, it knows in which half of its day each row is. ``backwards``: the newest row comes first.
    ``dated``: the times have dates. ``shown`` is what the clock says before and after an hour that no clock of 24 hours
    goes through [us]; None where it never does.
    """

    backwards: bool = False
    dated: bool = True
    shown: tuple[int, int] | None = None
    _stretches: list[_Stretch] = field(default_factory=list)
    _known: bool = False
    _at: int = -1
    _last_us: int | None = None
    _usual_us: int = 0

    @property
    def settled(self) -> bool:
        """Whether the halves of all stretches are decided."""
        return self._known

    def read(self, clock_us: IntArray) -> IntArray:
        """Return the times, with the half of the day in them once it is known. [us]"""
        before_us = np.concatenate([[clock_us[0] if self._last_us is None else self._last_us], clock_us[:-1]])
        begins = self._begins(before_us, clock_us)
        index = self._at + np.cumsum(begins)
        self._at, self._last_us = int(index[-1]), int(clock_us[-1])
        if self._known:
            return self._told(clock_us, index)
        self._look(before_us, clock_us)
        self._note(clock_us, np.flatnonzero(begins))
        return clock_us

    def _begins(self, before_us: IntArray, clock_us: IntArray) -> NDArray[np.bool_]:
        """Return which rows begin another half of a day."""
        fall = before_us % _HALF_US - clock_us % _HALF_US
        begins = (before_us // _DAY_US != clock_us // _DAY_US) | ((-fall if self.backwards else fall) > _FALL_US)
        begins[0] |= self._at < 0
        return np.asarray(begins)

    def _look(self, before_us: IntArray, clock_us: IntArray) -> None:
        """Find an hour that no clock of 24 hours goes through."""
        steps = before_us - clock_us if self.backwards else clock_us - before_us
        if not self._usual_us and (steps > 0).any():
            self._usual_us = int(np.median(steps[steps > 0]))
        far = np.flatnonzero((steps < -_FALL_US) | (steps > _DAY_US)) if self.shown is None else ()
        for k in far:
            earlier, later = (int(x[k]) for x in ((clock_us, before_us) if self.backwards else (before_us, clock_us)))
            days = later // _DAY_US - earlier // _DAY_US
            noon = days == 0 and later < earlier
            midnight = days == 1 and self.dated and earlier // _HOUR_US % 24 == 11 and later // _HOUR_US % 24 == 12
            if (noon or midnight) and self._goes_on(earlier, later):
                self.shown = (earlier, later)
                return

    def _goes_on(self, earlier_us: int, later_us: int) -> bool:
        return 0 < (later_us - earlier_us) % _HALF_US <= max(_GOES_ON * self._usual_us, 10_000_000)

    def _note(self, clock_us: IntArray, begins: IntArray) -> None:
        """Keep the ends of each stretch."""
        within = clock_us % _HALF_US
        ends = np.append(begins, len(clock_us)) - 1
        if self._stretches and ends[0] >= 0:
            self._stretches[-1].last = int(within[ends[0]])
        for start, end in zip(begins.tolist(), ends[1:].tolist(), strict=True):
            self._stretches.append(_Stretch(int(clock_us[start] // _DAY_US), int(within[start]), int(within[end])))

    def settle(self, name: str) -> str:
        """Decide the half of each stretch, and begin with the first row again; return in a sentence what was seen.

        Raises
        ------
        InputError
            If the order of the rows does not tell the halves; `name` is the file's.
        """
        self._known, self._at, self._last_us = True, -1, None
        shown = " to ".join(str(timedelta(microseconds=us % _DAY_US)).partition(".")[0] for us in self.shown or ())
        clock = f"clock goes on from {shown} and shows no hour but 1 to 12, so it has twelve hours without AM and PM"
        stretches = self._stretches[::-1] if self.backwards else self._stretches
        if not _in_order(stretches, most=2 if self.dated else len(stretches)):
            raise InputError(
                f"{name}: its {clock}, and its rows are in no order that tells morning from afternoon; export it with "
                "AM and PM, or with 24 hours"
            )
        self._by_neighbours(stretches)
        unsure = self._unsure_days()
        whether = f"; whether {', '.join(unsure)} is morning or afternoon nothing says" if unsure else ""
        return f"the {clock}: morning and afternoon are told by the order of the rows{whether}"

    def _by_neighbours(self, stretches: list[_Stretch]) -> None:
        """Decide days of which one half alone was seen by those that they go on from, or that go on from them."""
        for one, other in pairwise(stretches):
            # What goes on from one day to the next went through midnight.
            if other.day == one.day + 1 and self._goes_on(*self._inner_ends(one, other)):
                one.late, other.late = one.late is not False, other.late is True

    def _inner_ends(self, one: _Stretch, other: _Stretch) -> tuple[int, int]:
        return (one.first, other.last) if self.backwards else (one.last, other.first)

    def _unsure_days(self) -> list[str]:
        """Return the days of which nothing says whether their rows are of the morning or of the afternoon."""
        days = {stretch.day for stretch in self._stretches if stretch.late is None} if self.dated else set()
        return [f"{datetime(1970, 1, 1) + timedelta(days=day):%Y-%m-%d}" for day in sorted(days)]

    def _told(self, clock_us: IntArray, index: IntArray) -> IntArray:
        within = clock_us % _HALF_US
        if not self.dated:
            return np.asarray(within + index * _HALF_US)
        # What begins between 12:00 and 1:00 began at noon rather than at midnight, if nothing tells.
        late = [min(s.first, s.last) < _HOUR_US if s.late is None else s.late for s in self._stretches]
        return np.asarray(clock_us // _DAY_US * _DAY_US + within + np.array(late, dtype=np.int64)[index] * _HALF_US)


def _in_order(stretches: list[_Stretch], *, most: int) -> bool:
    """Decide the halves of days of which two were seen; tell whether none goes back and none has more than `most`."""
    if any(one.day > other.day for one, other in pairwise(stretches)):
        return False
    for _, of_day in groupby(stretches, lambda stretch: stretch.day):
        halves = list(of_day)
        if len(halves) > most:
            return False
        if len(halves) == 2:
            halves[0].late, halves[1].late = False, True
    return True
