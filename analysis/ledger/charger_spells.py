"""When a charger was on, by its steps in the current at the bank.

A charger lifts what comes back by about its rated amps at once, holds that for long, and takes as much away again. The
sun does neither: its edges last, clouds come in all sizes. A load that was on and stops looks like it in daylight; so
does a pump that starts like its end. What both could be stays undecided. In the dark there is no such question: nothing
but a charger gives anything back then.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from statistics import median
from typing import Final, NamedTuple

from ..cycles.cycle import Cycle
from ..readings.chunk import MICROSECONDS
from ..signal_levels.level_record import Stair
from ..site.tables import Charger
from .charger_steps import ReturnStep, is_own, like_steps, return_steps

#: A charger gives between these shares of its rated amps while it gives all it can: common practice, no source. [1]
_OF_RATED: Final = (0.8, 1.1)
#: A step up and one down that are this much alike are of one charger, also where its beginning was not sharp. [1]
_VERY_ALIKE: Final = 0.02
#: What a charger gives in one spell and in another differs by at most this: common practice, no source. [1]
_ONE_SIZE: Final = 0.05
#: Shorter spells are a load's or a cloud's: common practice, no source. [s]
_LEAST_S: Final = 1200.0
#: The plates of other loads are off by so much; what a load was measured to draw by less. [1]
_PLATE_OFF, _SEEN_OFF = 0.3, 0.15
#: A charger that tapers is switched off at no less than this share of its rated amps, or nobody sees it. [1]
_TAPERED: Final = 0.15
#: Where only one end of a spell was seen it is taken to be no longer than this: common practice, no source. [us]
_NO_LONGER_US: Final = 12 * 3600 * MICROSECONDS
#: In the dark what comes back by less than this share of the rated amps may be a zero that is off. [1]
NOTHING_BACK: Final = 0.05


class DayStretch(NamedTuple):
    """A stretch by day [us], and whether something came back in the dark right before it, and right after it.

    ``level_A`` is how much that was before it; ``first`` tells whether the log begins with it.
    """

    start_us: int
    stop_us: int
    on_before: bool
    on_after: bool
    level_A: float = 0.0
    first: bool = True


@dataclass(frozen=True)
class ChargerSpell:
    """A stretch by day in which a charger gave `first_A` at its beginning and `last_A` at its end. [us], [A]

    Where it is not `decided` it may as well have been a load, or the sun.
    """

    charger: str
    start_us: int
    stop_us: int
    first_A: float
    last_A: float
    decided: bool = True


class _Giver(NamedTuple):
    """A charger, what it gives as a rule, and between which amps its steps lie. [A]"""

    name: str
    usual_A: float
    least_A: float
    most_A: float


def charger_spells(
    stairs: Sequence[Stair],
    chargers: Sequence[Charger],
    windows: Iterable[DayStretch],
    cycles: Sequence[Cycle],
    loads_A: Sequence[float],
    interval_s: float,
) -> tuple[ChargerSpell, ...]:
    """Return when chargers were on by day, in order.

    Parameters
    ----------
    stairs : sequence of Stair
        The levels of the current at the bank.
    cycles : sequence of Cycle
        Runs of the load that was looked for: their steps are its own.
    loads_A : sequence of float
        What other loads draw at the bank by their plates. [A]
    interval_s : float
        The usual spacing of readings. [s]
    """
    draws = [cycle.run_A for cycle in cycles if cycle.run_A]
    draws_A = [median(draws)] if draws else []
    own_A = draws_A[0] if draws else None
    changes = [each for each in return_steps(stairs, interval_s) if not is_own(each, cycles, own_A, interval_s)]
    days = list(windows)
    dark = [each for each in changes if not any(day.start_us <= each.at_us <= day.stop_us for day in days)]
    givers = [_giver(each, dark) for each in chargers]
    spells = [
        (spell, _is_anchored(spell, day))
        for day in days
        for spell in _in_window(
            [each for each in changes if day.start_us <= each.at_us <= day.stop_us],
            givers,
            day,
            _Alike(loads_A, draws_A),
        )
    ]
    return _of_one_size(spells, days, givers)


def _giver(charger: Charger, dark: Sequence[ReturnStep]) -> _Giver:
    """Return between which amps a charger's steps lie: by its plate, or by its steps in the `dark`."""
    least_A, most_A = (share * charger.rated_A for share in _OF_RATED)
    seen_A = [each.more_A for each in dark if least_A <= each.more_A <= most_A]
    if not seen_A:
        return _Giver(charger.name, charger.rated_A, least_A, most_A)
    # In the dark nobody doubts what made a step: then only such steps count by day.
    usual_A = median(seen_A)
    return _Giver(charger.name, usual_A, (1 - _ONE_SIZE) * usual_A, (1 + _ONE_SIZE) * usual_A)


def _of_one_size(
    spells: Sequence[tuple[ChargerSpell, bool]], days: Sequence[DayStretch], givers: Sequence[_Giver]
) -> tuple[ChargerSpell, ...]:
    """Return spells, some of which are anchored in the dark; those by day as decided only where all are of one size."""
    alone = [spell for spell, anchored in spells if spell.decided and not anchored]
    doubtful = [
        spell
        for giver in givers
        if not _of_one_charger([spell.first_A for spell in alone if spell.charger == giver.name])
        for spell in alone
        if spell.charger == giver.name
    ]
    perhaps = [
        _perhaps_all_day(day, givers)
        for day in days
        if any(day.start_us <= spell.start_us < day.stop_us for spell in doubtful)
    ]
    return (*(replace(each, decided=each.decided and each not in doubtful) for each, _ in spells), *perhaps)


def _of_one_charger(amps: Sequence[float]) -> bool:
    """Tell whether amps are those of one charger."""
    return not amps or max(amps) - min(amps) <= 2 * _ONE_SIZE * median(amps)


@dataclass(frozen=True)
class _Alike:
    """What loads draw: by their plates, and as seen. [A]"""

    plates_A: Sequence[float]
    seen_A: Sequence[float]

    def with_a_load(self, amps: float) -> bool:
        """Tell whether a load draws about as much."""
        by_plate = any(abs(draw - amps) <= _PLATE_OFF * draw for draw in self.plates_A)
        return by_plate or any(abs(draw - amps) <= _SEEN_OFF * draw for draw in self.seen_A)


@dataclass
class _Sequence:
    """What steps come to, one after the other, in one stretch by day."""

    window: DayStretch
    chargers: Sequence[_Giver]
    alike: _Alike
    spells: list[ChargerSpell] = field(default_factory=list)
    begun: tuple[ReturnStep, _Giver] | None = None
    risen: ReturnStep | None = None
    on_before: bool = False
    paired: int = 0

    def take(self, change: ReturnStep) -> None:
        """Take in the next step."""
        charger = _charger_of(change, self.chargers)
        if change.more_A > 0 and charger is not None:
            self._more(change, charger)
        elif change.more_A < 0:
            self._less(change, charger)

    def _more(self, change: ReturnStep, charger: _Giver) -> None:
        # After a step the other way without a beginning it is the end of a load's run, as likely as not.
        if self.risen is not None and like_steps(self.risen, change):
            self.risen = None
            return
        self._leave_open(change.at_us)
        self.begun = (change, charger)

    def _less(self, change: ReturnStep, charger: _Giver | None) -> None:
        lost_A = -change.more_A
        if self.begun is None and self.on_before:
            # On through the dark, and still on: it may have tapered, but with it all that came back is gone.
            gone = lost_A >= _TAPERED * self.chargers[0].usual_A and change.after_A >= -change.noise_A
            if charger is not None or gone:
                self._add(
                    charger or self.chargers[0],
                    self.window.start_us,
                    change.at_us,
                    (max(lost_A, self.window.level_A), lost_A),
                )
                self.on_before = False
        elif self.begun is None and charger is not None:
            # It may have been on since before the log began; after that its beginning would have been seen.
            if (self.window.first and not self.spells) or self._seen_before(lost_A):
                since_us = max([self.window.start_us, *(spell.stop_us for spell in self.spells)])
                self._add(charger, since_us, change.at_us, (lost_A, lost_A), decided=False)
            self.risen = change
        elif self.begun is not None and like_steps(self.begun[0], change):
            (start, by), self.begun = self.begun, None
            self.paired += 1
            # What comes up slowly may be the sun, unless it goes by the very same amps.
            sharp = change.sharp and start.sharp
            sure = sharp or abs(start.more_A - lost_A) <= _VERY_ALIKE * lost_A
            if change.at_us - start.at_us >= _LEAST_S * MICROSECONDS:
                self._add(by, start.at_us, change.at_us, (start.more_A, lost_A), decided=sure)

    def _seen_before(self, amps: float) -> bool:
        """Tell whether a spell of so many amps was seen: then its end is that of another, whose beginning was not."""
        return any(spell.decided and abs(spell.last_A - amps) <= _VERY_ALIKE * amps for spell in self.spells)

    def ended(self) -> list[ChargerSpell]:
        """Return the spells, with one that goes on into the dark, and those that may have no end or beginning."""
        window, rated = self.window, self.chargers[0]
        if self.on_before:
            until_us = min(window.start_us + _NO_LONGER_US, window.stop_us)
            self._add(rated, window.start_us, until_us, (rated.usual_A,) * 2, decided=False)
        if self.begun is not None and window.on_after:
            start, by = self.begun
            self._add(by, start.at_us, window.stop_us, (start.more_A, start.more_A))
        elif window.on_after:
            since_us = max(window.stop_us - _NO_LONGER_US, window.start_us)
            self._add(rated, since_us, window.stop_us, (rated.usual_A,) * 2, decided=False)
        else:
            self._leave_open(window.stop_us)
        return self.spells

    def _leave_open(self, until_us: float) -> None:
        if self.begun is not None:
            start, by = self.begun
            self._add(by, start.at_us, until_us, (start.more_A, start.more_A), decided=False)
        self.begun = None

    def _add(
        self, by: _Giver, start_us: float, stop_us: float, amps: tuple[float, float], *, decided: bool = True
    ) -> None:
        decided = decided and not any(self.alike.with_a_load(each) for each in amps)
        self.spells.append(ChargerSpell(by.name, round(start_us), round(stop_us), *amps, decided))


def _in_window(
    changes: Sequence[ReturnStep], chargers: Sequence[_Giver], window: DayStretch, alike: _Alike
) -> list[ChargerSpell]:
    steps = _Sequence(window, chargers, alike, on_before=window.on_before)
    for change in changes:
        steps.take(change)
    spells = steps.ended()
    # Where steps of such a size come and go all the time, none of them tells anything: clouds, or a load nobody named.
    sized = sum(_charger_of(each, chargers) is not None for each in changes)
    ends = 2 * steps.paired + sum(_is_anchored(spell, window) for spell in spells)
    if sized - ends <= max(ends, 1):
        return spells
    # What goes on from the dark, or into it, was seen there.
    doubtful = [replace(spell, decided=spell.decided and _is_anchored(spell, window)) for spell in spells]
    return [*doubtful, _perhaps_all_day(window, chargers)]


def _perhaps_all_day(window: DayStretch, chargers: Sequence[_Giver]) -> ChargerSpell:
    """Return what a charger may have given where nothing tells when it was on."""
    most = max(chargers, key=lambda each: each.usual_A)
    return ChargerSpell(most.name, window.start_us, window.stop_us, most.usual_A, most.usual_A, decided=False)


def _is_anchored(spell: ChargerSpell, window: DayStretch) -> bool:
    """Tell whether a spell begins or ends with the dark in which its charger was on."""
    begins = window.on_before and spell.start_us == window.start_us
    return begins or (window.on_after and spell.stop_us == window.stop_us)


def _charger_of(change: ReturnStep, chargers: Sequence[_Giver]) -> _Giver | None:
    """Return the charger whose amps a step comes nearest to; None where it is of no charger's size."""
    size_A = abs(change.more_A)
    near = [each for each in chargers if each.least_A <= size_A <= each.most_A]
    return min(near, key=lambda each: abs(size_A - each.usual_A), default=None)
