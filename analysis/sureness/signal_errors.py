"""What readings of one signal do to its integral: last digit, noise, and what lies between two readings."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal

from ..charge.amounts import Charge
from ..charge.display_delay import DelayFacts
from ..charge.error_facts import ErrorFacts
from ..charge.hidden_crossings import Hidden
from ..charge.noted import NoteFacts
from ..readings.chunk import SECONDS_PER_HOUR
from ..stats.interval95 import EVEN, WITHIN, Component

Flow = Literal["drawn", "returned", "net"]

#: The component that tells of draw and return within one mean.
BOTH_IN_ONE: Final = "both directions in one mean"

#: From so many expected catches on, the chance of catching starts is a component like others.
_ENOUGH_CATCHES: Final = 5.0

#: Values of films that may be wrong are counted once a second. [s]
_COUNTED_S: Final = 1.0

#: Noise about zero is looked for this far out. [standard deviations]
_NOISE_REACH: Final = 3.0


@dataclass(frozen=True)
class UnseenStarts:
    """Starts of a motor that readings may have missed.

    There were `count`; each draws `extra_A` or `extra_W` above the settled running draw, at the meter, for `lasts_s`;
    `caught_us` is when those started that a reading caught.
    """

    count: int
    extra_A: float
    extra_W: float
    lasts_s: float
    caught_us: tuple[int, ...] = ()

    def within(self, low_us: int, high_us: int, count: int) -> UnseenStarts | None:
        """Return those of a stretch of time, of which it has so many; None where it has none."""
        inside = tuple(at_us for at_us in self.caught_us if low_us <= at_us <= high_us)
        return replace(self, count=count, caught_us=inside) if count else None


@dataclass(frozen=True)
class Rounded:
    """What a meter rounds, where that is not what is integrated: amps, of which watts are worked out.

    What it was like, and its last digit; 0 where that is not known. [unit]
    """

    facts: ErrorFacts
    digit: float

    def noise_digits(self, *, of_means: bool) -> float:
        """Return its noise in digits. [1]"""
        return self.facts.noise(self.digit, of_means=of_means) / self.digit if self.digit > 0 else 0.0


class SignalErrors:
    """What readings of one signal do to its integral, whatever the signal."""

    def __init__(
        self,
        charge: Charge,
        facts: ErrorFacts,
        resolution: float,
        starts: UnseenStarts | None,
        rounded: Rounded | None = None,
    ) -> None:
        self._how = charge.how
        self._gaps = len(charge.span.gaps)
        self._facts = facts
        self._rounded = rounded or Rounded(facts, resolution)
        self._resolution = resolution
        self._starts = starts
        self._noise = 0.0 if charge.how.noted else self._of_noise()

    def _of_noise(self) -> float:
        """Return the readings' noise [unit]; not of notes: between them loads switched, so they tell nothing of it."""
        # A coarse digit of amps hides their noise; volts that waver would make that of watts seem small.
        of_means = self._how.sampling == "mean"
        in_digits = self._rounded.noise_digits(of_means=of_means)
        return max(self._facts.noise(self._resolution, of_means=of_means), in_digits * self._resolution)

    def time_s(self, part: Flow, offset: float) -> float:
        """Return the time over which an offset adds to a part: also that in which the signal is nearer to zero. [s]"""
        t = self._facts.time_s
        # What reads nought takes part only where the last digit could hide the offset; a larger one would show.
        nought_s = self._facts.nought_s if 0 < offset <= self._resolution / 2 else 0.0
        if part == "net":
            return t.net + nought_s
        # An offset turns a small draw into return, so what lies nearer to zero on the other side counts here as well.
        above_s, below_s, *_ = self._facts.near_zero(offset)
        return nought_s + (t.drawn + below_s if part == "drawn" else t.returned + above_s)

    def of_readings(self, part: Flow, value: float) -> Iterator[Component]:
        """Yield resolution, noise and what lies between readings, of an amount `value`. [unit h]"""
        facts, all_s = self._facts, max(self._facts.all_s, 1e-12)
        time_s = self.time_s(part, 0.0)
        share = min(time_s / all_s, 1.0)
        rounded = self._rounded
        notes = rounded.facts.notes
        runs2 = notes.runs2[part] if notes else getattr(rounded.facts.runs2(rounded.digit), part)
        # One error in each run is even within a digit, and errors of runs add up in quadrature: as many like even parts
        # as runs of equal length would be, (sum t)^2 / sum t^2.
        yield Component(
            "last digit",
            self._resolution * math.sqrt(runs2) / WITHIN / SECONDS_PER_HOUR,
            even=max(1.0, time_s**2 / runs2) if runs2 > 0 else 1.0,
            reason="readings are rounded; one error for as long as they stand still",
        )
        # Noise of each reading by itself: its variance times the sum of squared lengths, shared by time.
        noise2 = self._noise**2 * facts.lengths2 * share
        noise = math.sqrt(noise2) / SECONDS_PER_HOUR
        yield Component("noise", noise, reason="as wide as the log's own readings scatter")
        if self._how.sampling == "instant":
            yield from self._of_steps(part, 2 * noise2)
            yield from self._of_starts(part)
        elif self._how.sampling == "mean":
            yield self._of_first_mean(value, all_s)
            yield Component(
                BOTH_IN_ONE,
                self._hidden(part).u / SECONDS_PER_HOUR,
                reason="within one mean draw and return cancel; how much is told by the means beside it",
            )
        elif facts.notes is not None:
            yield _of_moments(facts.notes, part)
        elif facts.late is None:
            yield self._of_held(share, all_s)
        if facts.late is not None:
            yield from self._of_delay(facts.late, part)
            yield self._of_hidden(facts.late, share, all_s)
        if self._how.misread_share is not None:
            yield self._of_misread(self._how.misread_share, part)

    def _of_steps(self, part: Flow, by_noise: float) -> Iterator[Component]:
        squares, fourths = getattr(self._facts.steps2, part), getattr(self._facts.steps4, part)
        if squares <= 0:
            return
        # Each step lies evenly within its interval, so step x length / sqrt(12); noise, which changes from reading to
        # reading by twice its variance, is no step and is taken off. The more unlike the steps, the fewer count.
        yield Component(
            "instants of steps",
            math.sqrt(max(squares - by_noise, 0.0)) / WITHIN / SECONDS_PER_HOUR,
            even=squares**2 / fourths,
            reason="what changed between two readings may have changed at any instant between them",
        )

    def _of_starts(self, part: Flow) -> Iterator[Component]:
        interval_s = self._how.usual_interval_s or 0.0
        starts = self._starts
        if part == "returned" or starts is None or starts.count * starts.lasts_s < _ENOUGH_CATCHES * interval_s:
            return
        # Readings catch a start with the chance p = lasts / interval, and each caught one counts a whole interval: the
        # variance of the sum is n (extra x interval)^2 p (1 - p) = n (extra x lasts)^2 (1 / p - 1).
        seldom = max(interval_s / starts.lasts_s - 1, 0.0)
        yield Component(
            "unseen start surges",
            self._extra * starts.lasts_s * math.sqrt(starts.count * seldom) / SECONDS_PER_HOUR,
            reason=f"{starts.count} starts of {starts.lasts_s:g} s between readings {interval_s:g} s apart",
        )

    def by_chance(self, part: Flow) -> tuple[float, float]:
        """Return what few starts may have drawn less and more: those caught count a whole interval. [unit h]"""
        interval_s, starts = self._how.usual_interval_s or 0.0, self._starts
        if part == "returned" or starts is None or self._how.sampling != "instant" or interval_s <= starts.lasts_s:
            return 0.0, 0.0
        if starts.count * starts.lasts_s >= _ENOUGH_CATCHES * interval_s:
            return 0.0, 0.0
        # So few that chance has no distribution to speak of: all that were caught may count too much, and all that were
        # not are missing.
        each = self._extra / SECONDS_PER_HOUR
        return each * interval_s * len(starts.caught_us), each * starts.lasts_s * starts.count

    def of_held_starts(self, part: Flow) -> float:
        """Return how much more starts may have drawn between two values that stand until the next. [unit h]"""
        starts = self._facts.starts
        if starts is None or part == "returned":
            return 0.0
        between_s = self._how.holds_s or math.inf
        return starts.missed(between_s, all_alike=self._how.noted) / SECONDS_PER_HOUR

    @property
    def _extra(self) -> float:
        raise NotImplementedError

    def _of_first_mean(self, value: float, all_s: float) -> Component:
        usual_s = self._how.usual_interval_s or 0.0
        rate = abs(value) * SECONDS_PER_HOUR / all_s
        return Component(
            "first readings of means",
            rate * usual_s * math.sqrt(1 + self._gaps) / WITHIN / SECONDS_PER_HOUR,
            even=1 + self._gaps,
            reason="how long the first mean of the log, and after a gap, was taken over is not known",
        )

    def _wander(self, all_s: float) -> float:
        """Return how far a load may be, while nobody looks, from what was last seen of it. [unit]"""
        facts = self._facts
        mean = facts.net / all_s
        # The fewer glances, the less is known of what else there was: one alone tells nothing of it.
        # So the load is taken to wander between two glances as it does over the log, each interval by itself.
        return math.sqrt(max(facts.squares / all_s - mean**2, 0.0) + mean**2 / facts.intervals)

    def _of_delay(self, late: DelayFacts, part: Flow) -> Iterator[Component]:
        """Yield how late a display is: with each change by itself, and with all of them at the film's two ends."""
        squares, fourths = late.squares[part], late.fourths[part]
        yield Component(
            "how long the display holds a value",
            math.sqrt(squares) / WITHIN / SECONDS_PER_HOUR,
            even=max(1.0, squares**2 / fourths) if fourths > 0 else 1.0,
            reason="each change came at any moment since the value before it, and since the frame before",
        )
        delay_s, holds_s = self._how.delay_s or 0.0, self._how.holds_s
        # What all changes are late by in common cancels but at the ends: there it counts what lies between the first
        # value and the last, and what changed so shortly before that it is not shown: as often as in the rest of the
        # film, at any moment.
        late_s = delay_s + holds_s
        ends2 = late.rises[part] ** 2 * (delay_s**2 + holds_s**2) / WITHIN**2
        ends2 += 2 * late.stretches * late.changes2[part] * late_s**3 / 3 / max(late.all_s, late_s, 1e-12)
        yield Component(
            "the log's two ends",
            math.sqrt(ends2) / SECONDS_PER_HOUR,
            reason="what changed just before the end is not shown any more, and at first what was before it still is",
        )

    def shown_late(self, part: Flow) -> float:
        """Return what a display that is late, or hidden, is likely to leave out less what it adds. [unit h]"""
        late, delay_s, holds_s = self._facts.late, self._how.delay_s or 0.0, self._how.holds_s
        if late is None:
            return 0.0
        # A moment is taken and held, a mean is of as long a time before it as it is shown for. What changed while
        # nobody looked is likely to have come half-way: a moment stands until the next look, a mean since the last.
        is_held = self._how.sampling == "held"
        late_s = delay_s / 2 + (holds_s / 2 if is_held else holds_s)
        unseen = late.unseen[part] / 2 * (1 if is_held else -1)
        return (late.rises[part] * late_s + unseen) / SECONDS_PER_HOUR

    def _of_hidden(self, late: DelayFacts, share: float, all_s: float) -> Component:
        return Component(
            "while the display was hidden",
            self._wander(all_s) * math.sqrt(late.hidden2 * share) / SECONDS_PER_HOUR,
            reason="while the film showed no reading the load may have done anything it does elsewhere in the log",
        )

    def _of_misread(self, misread: float, part: Flow) -> Component:
        """Return what values do that were read wrong: a second each, as they were counted, by up to the highest one."""
        wrong_s = misread * self.time_s(part, 0.0)
        return Component(
            "digits read wrong",
            self._facts.highest * math.sqrt(wrong_s * _COUNTED_S + wrong_s**2) / EVEN / SECONDS_PER_HOUR,
            reason=f"by the film itself, {misread:.2g} of its values may be wrong, by up to the highest one",
        )

    def _of_held(self, share: float, all_s: float) -> Component:
        facts = self._facts
        wander = self._wander(all_s)
        return Component(
            "between readings by eye",
            wander * math.sqrt(facts.lengths2 * share) / SECONDS_PER_HOUR,
            even=max(1.0, all_s**2 / facts.lengths2),
            reason="between two glances at the display the load may have done anything it does elsewhere in the log",
        )

    def hidden(self, part: Flow) -> float:
        """Return what steps through zero between two readings hide of a part; nothing of the net. [unit h]"""
        return self._hidden(part).likely / SECONDS_PER_HOUR

    def unseen(self, part: Flow) -> float:
        """Return how much more of a part steps may hide that leave no reading on the other side of zero. [unit h]"""
        return self._hidden(part).unseen / SECONDS_PER_HOUR

    def _hidden(self, part: Flow) -> Hidden:
        if part == "net" or self._how.sampling == "held":
            return Hidden(0.0)
        noise = self._noise
        # Runs as short as the spacing make nearly all means uneven; steps smaller than the noise about zero are none.
        if self._how.sampling == "mean":
            noise = min(noise, max(self._facts.quietest(), self._resolution))
        return self._facts.hidden(2 * _NOISE_REACH * noise)

    def about_zero(self, part: Flow) -> float:
        """Return how much of a part may be noise about zero, which counts as drawn and as returned. [unit h]"""
        if part == "net":
            return 0.0
        # It adds to draw and return alike, and the smaller of the two is all that can be noise on both sides.
        *_, above, below = self._facts.near_zero(_NOISE_REACH * self._noise + self._resolution / 2)
        return min(above, below) / SECONDS_PER_HOUR


def _of_moments(notes: NoteFacts, part: Flow) -> Component:
    """Return what the moments of noting do: each change may have come that much earlier or later."""
    squares, fourths = notes.edges2[part], notes.edges4[part]
    return Component(
        "moments of noting",
        notes.moment_s * math.sqrt(squares) / EVEN / SECONDS_PER_HOUR,
        even=squares**2 / fourths if fourths > 0 else 1.0,
        reason=f"each change was noted to within {notes.moment_s:g} s",
    )
