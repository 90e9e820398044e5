"""When a charger was on, by its steps in the current at the bank.

A charger lifts what comes back by about its rated amps at once, holds that for long, and takes as much away again. The
sun does neither: its edges last, clouds come in all sizes. A load that was on and stops looks like it in daylight; so
does a pump that starts like its end. What both could be stays undecided. In the dark there is no such question: nothing
but a charger gives anything back then.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from ..cycles.cycle import Cycle
from ..readings.chunk import MICROSECONDS
from ..signal_levels.level_record import Stair
from ..site.tables import Charger

#: A level that a step leads to, or from, holds for so long: common practice, no source. [s]
_HOLDS_S: Final = 20.0
#: A step is over within this, and within some readings: chargers come up in seconds (common practice, no source). [s]
_AT_ONCE_S: Final = 20.0
#: A charger gives between these shares of its rated amps while it gives all it can: common practice, no source. [1]
_OF_RATED: Final = (0.8, 1.1)
#: What a step up and a step down of one charger differ by at most: the bank's voltage has changed meanwhile. [1]
_ALIKE: Final = 0.06
#: Shorter spells are a load's or a cloud's: common practice, no source. [s]
_LEAST_S: Final = 600.0
#: The plates of other loads are off by so much; what a load was measured to draw by less. [1]
_PLATE_OFF, _SEEN_OFF = 0.3, 0.15
#: A run begins above, and ends below, its settled draw by so much at most. [1]
_OWN_OFF: Final = 0.35
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


class _Change(NamedTuple):
    """A step between two levels that hold: by how much more comes back after it, and where it leads to (return < 0)."""

    at_us: float
    more_A: float
    after_A: float
    noise_A: float


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
    changes = [each for each in _changes(stairs, interval_s) if not _own(each, cycles, interval_s)]
    draws_A = [cycle.run_A for cycle in cycles if cycle.run_A]
    return tuple(
        spell
        for window in windows
        for spell in _in_window(
            [each for each in changes if window.start_us <= each.at_us <= window.stop_us],
            chargers,
            window,
            _Alike(loads_A, draws_A),
        )
    )


@dataclass(frozen=True)
class _Alike:
    """What loads draw: by their plates, and as seen. [A]"""

    plates_A: Sequence[float]
    seen_A: Sequence[float]

    def with_a_load(self, amps: float) -> bool:
        """Tell whether a load draws about as much."""
        by_plate = any(abs(draw - amps) <= _PLATE_OFF * draw for draw in self.plates_A)
        return by_plate or any(abs(draw - amps) <= _SEEN_OFF * draw for draw in self.seen_A)


def _changes(stairs: Sequence[Stair], interval_s: float) -> Iterator[_Change]:
    """Yield the steps between levels that hold, where they happened at once."""
    before: Stair | None = None
    for stair in stairs:
        # Whatever a gap hides, nothing is bridged over it.
        if stair.after_gap:
            before = None
        if stair.last_us - stair.start_us < max(_HOLDS_S, 2 * interval_s) * MICROSECONDS:
            continue
        if before is not None:
            took_s = (stair.start_us - before.last_us) / MICROSECONDS + stair.spacing_s / 2
            if took_s <= max(_AT_ONCE_S, 3 * interval_s):
                noise_A = max(before.least, stair.least)
                yield _Change(stair.start_us, before.last - stair.first, stair.first, noise_A)
        before = stair


def _own(change: _Change, cycles: Sequence[Cycle], interval_s: float) -> bool:
    """Tell whether a step is a start or a stop of the load that was looked for, by its instant and its size."""
    near_us = (2 * interval_s + 3.0) * MICROSECONDS
    # A run without an end may as well be what a charger left when it went off.
    ends = (
        (cycle.stop_us if change.more_A > 0 else cycle.start_us, cycle.run_A)
        for cycle in cycles
        if cycle.stop_us is not None
    )
    return any(
        end is not None
        and abs(end - change.at_us) <= near_us
        and (draw is None or abs(draw - abs(change.more_A)) <= _OWN_OFF * draw)
        for end, draw in ends
    )


@dataclass
class _Sequence:
    """What steps come to, one after the other, in one stretch by day."""

    window: DayStretch
    chargers: Sequence[Charger]
    alike: _Alike
    spells: list[ChargerSpell] = field(default_factory=list)
    begun: tuple[_Change, Charger] | None = None
    risen: _Change | None = None
    on_before: bool = False

    def take(self, change: _Change) -> None:
        """Take in the next step."""
        charger = _charger_of(change, self.chargers)
        if change.more_A > 0 and charger is not None:
            self._more(change, charger)
        elif change.more_A < 0:
            self._less(change, charger)

    def _more(self, change: _Change, charger: Charger) -> None:
        # After a step the other way without a beginning it is the end of a load's run, as likely as not.
        if self.risen is not None and _like(self.risen, change):
            self.risen = None
            return
        self._leave_open(change.at_us)
        self.begun = (change, charger)

    def _less(self, change: _Change, charger: Charger | None) -> None:
        lost_A = -change.more_A
        if self.begun is None and self.on_before:
            # On through the dark, and still on: it may have tapered, but with it all that came back is gone.
            gone = lost_A >= _TAPERED * self.chargers[0].rated_A and change.after_A >= -change.noise_A
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
            if self.window.first and not self.spells:
                self._add(charger, self.window.start_us, change.at_us, (lost_A, lost_A), decided=False)
            self.risen = change
        elif self.begun is not None and _like(self.begun[0], change):
            (start, by), self.begun = self.begun, None
            if change.at_us - start.at_us >= _LEAST_S * MICROSECONDS:
                self._add(by, start.at_us, change.at_us, (start.more_A, lost_A))

    def ended(self) -> list[ChargerSpell]:
        """Return the spells, with one that goes on into the dark, and those that may have no end or beginning."""
        window, rated = self.window, self.chargers[0]
        if self.on_before:
            until_us = min(window.start_us + _NO_LONGER_US, window.stop_us)
            self._add(rated, window.start_us, until_us, (rated.rated_A,) * 2, decided=False)
        if self.begun is not None and window.on_after:
            start, by = self.begun
            self._add(by, start.at_us, window.stop_us, (start.more_A, start.more_A))
        elif window.on_after:
            since_us = max(window.stop_us - _NO_LONGER_US, window.start_us)
            self._add(rated, since_us, window.stop_us, (rated.rated_A,) * 2, decided=False)
        else:
            self._leave_open(window.stop_us)
        return self.spells

    def _leave_open(self, until_us: float) -> None:
        if self.begun is not None:
            start, by = self.begun
            self._add(by, start.at_us, until_us, (start.more_A, start.more_A), decided=False)
        self.begun = None

    def _add(
        self, by: Charger, start_us: float, stop_us: float, amps: tuple[float, float], *, decided: bool = True
    ) -> None:
        decided = decided and not any(self.alike.with_a_load(each) for each in amps)
        self.spells.append(ChargerSpell(by.name, round(start_us), round(stop_us), *amps, decided))


def _like(one: _Change, other: _Change) -> bool:
    """Tell whether two steps, one up and one down, are of one size."""
    most_A = max(abs(one.more_A), abs(other.more_A))
    return abs(one.more_A + other.more_A) <= max(_ALIKE * most_A, one.noise_A / 2)


def _in_window(
    changes: Sequence[_Change], chargers: Sequence[Charger], window: DayStretch, alike: _Alike
) -> list[ChargerSpell]:
    steps = _Sequence(window, chargers, alike, on_before=window.on_before)
    for change in changes:
        steps.take(change)
    spells = steps.ended()
    # Where steps of such a size come and go all the time, none of them tells anything: clouds, or a load nobody named.
    sized = sum(_charger_of(each, chargers) is not None for each in changes)
    ends = 2 * sum(spell.decided for spell in spells)
    if sized - ends <= max(ends, 1):
        return spells
    # What goes on from the dark, or into it, was seen there.
    return [replace(spell, decided=spell.decided and _is_anchored(spell, window)) for spell in spells]


def _is_anchored(spell: ChargerSpell, window: DayStretch) -> bool:
    """Tell whether a spell begins or ends with the dark in which its charger was on."""
    begins = window.on_before and spell.start_us == window.start_us
    return begins or (window.on_after and spell.stop_us == window.stop_us)


def _charger_of(change: _Change, chargers: Sequence[Charger]) -> Charger | None:
    """Return the charger whose rated amps a step comes nearest to; None where it is of no charger's size."""
    size_A, (least, most) = abs(change.more_A), _OF_RATED
    near = [each for each in chargers if least * each.rated_A <= size_A <= most * each.rated_A]
    return min(near, key=lambda each: abs(size_A - each.rated_A), default=None)
