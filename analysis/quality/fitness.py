"""What a log is good for, in one line, and why not for more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from ..readings.chunk import SECONDS_PER_HOUR
from ..readings.measured_span import HowRead
from .implausible import Grade
from .quality import Quality

#: From this share of the time measured on, what is missing is not worth a warning: common practice, no source. [1]
AVAILABLE: Final = 0.99
#: Spikes are worth a warning where they add this share of what the readings amount to: common practice, no source. [1]
SPIKES_MATTER: Final = 0.01
#: Readings further apart than this say little about what switches between them: the longest sampling interval for
#: electrical quantities in IEC 61724-1:2017, classes B and C (from memory). [s]
FAR_APART_S: Final = 60.0
#: A run should span three readings, and the shortest a motor should run is a minute (a submersible-motor manual).
RUN_READINGS, SHORT_RUN_S = 3, 60.0
#: Readings this close show a start's surge, up to a second apart its lower bound: common practice, no source. [s]
SHOWS_SURGE_S, BOUNDS_SURGE_S = 0.2, 1.0

_ORDER: Final[tuple[Grade, ...]] = ("good", "with care", "not")


@dataclass(frozen=True)
class Use:
    """Whether a log is good for something, and the reasons why not."""

    what: str
    grade: Grade
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Fitness:
    """What a log is good for: charge (behind an inverter: energy), the runs of loads, the surges of starts."""

    amounts: Use
    cycles: Use
    surges: Use

    @property
    def uses(self) -> tuple[Use, ...]:
        """All three."""
        return self.amounts, self.cycles, self.surges


Reason = tuple[Grade, str]


def verdict_of(quality: Quality, how: HowRead) -> Fitness:
    """Return what a log is good for, by what is known of it and what its readings stand for."""
    interval_s = how.usual_interval_s or quality.spacing.usual_s or 0.0
    unusable, in_Ah = list(_unusable(quality)), how.side == "dc" and "current_A" in quality.ranges
    return Fitness(
        _use("Ah" if in_Ah else "Wh", [*unusable, *_of_amounts(quality, how, interval_s)]),
        _use("cycles", [*unusable, *_of_cycles(quality, how, interval_s)]),
        _use("surges", [*unusable, *_of_surges(quality, how, interval_s)]),
    )


def _use(what: str, reasons: list[Reason]) -> Use:
    """Return a use with the reasons for the worst grade only: the lesser ones change nothing then."""
    grade: Grade = max((grade for grade, _ in reasons), key=_ORDER.index, default="good")
    return Use(what, grade, tuple(dict.fromkeys(text for of, text in reasons if of == grade)))


def _unusable(quality: Quality) -> Iterator[Reason]:
    if quality.span.covered_s <= 0:
        yield "not", "too little was measured"
    elif not {"current_A", "power_W"} & quality.ranges.keys():
        yield "not", "there is neither current nor power"
    elif "dead_current" in {doubt.code for doubt in quality.doubts}:
        yield "not", "the current never moves"


def _of_amounts(quality: Quality, how: HowRead, interval_s: float) -> Iterator[Reason]:
    if how.side == "ac" and not _has_energy(quality):
        yield "not", "behind an inverter watts are needed, or volts, amps and power factor"
    if quality.sign is not None and quality.sign.plausible is False:
        yield "not", "draw and return seem to be swapped"
    yield from ((doubt.spoils, _DOUBTS[doubt.code]) for doubt in quality.doubts if doubt.spoils != "good")
    # A reading by eye has no gaps to speak of, whatever lies between two of them.
    if how.other_gap_limit_s is not None and how.sampling != "held":
        yield "with care", "whether its pauses are gaps only a person can tell"
    if _is_by_eye(how):
        yield "with care", "it was read by eye now and then"
    if how.sampling == "instant" and interval_s > FAR_APART_S:
        yield "with care", f"what switches between two readings, {interval_s:g} s apart, is not seen"
    if (available := quality.availability) is not None and available < AVAILABLE:
        yield "with care", f"{100 * (1 - available):.2g} % of the time was not measured"
    yield from _stood_still(quality, ("current_A", "power_W", "voltage_V"))
    if quality.clipping:
        yield "with care", "readings stand at the end of the meter's range"
    if _spikes_matter(quality):
        yield "with care", "lone spikes add to the sum"


def _has_energy(quality: Quality) -> bool:
    names = quality.ranges.keys()
    return "power_W" in names or {"voltage_V", "current_A", "power_factor"} <= names


def _spikes_matter(quality: Quality) -> bool:
    added = quality.spikes.charge_Ah if quality.spikes.charge_Ah is not None else quality.spikes.energy_Wh
    name = "current_A" if quality.spikes.charge_Ah is not None else "power_W"
    if not added or name not in quality.ranges:
        return False
    # What all readings come to, roughly: the mean over the time measured.
    whole = abs(quality.ranges[name].mean or 0.0) * quality.span.covered_s / SECONDS_PER_HOUR
    return abs(added) > SPIKES_MATTER * whole


def _of_cycles(quality: Quality, how: HowRead, interval_s: float) -> Iterator[Reason]:
    if _is_by_eye(how):
        yield "not", "readings by eye do not show when a load starts and stops"
        return
    # The shortest run that can be told, against the shortest that does a motor no harm.
    shortest_s = RUN_READINGS * interval_s
    if shortest_s > RUN_READINGS * SHORT_RUN_S:
        yield "not", f"with a reading every {interval_s:g} s most runs fall between readings"
    elif shortest_s > SHORT_RUN_S:
        yield "with care", f"runs shorter than {shortest_s:.0f} s cannot be judged"
    elif quality.brief_runs:
        yield "with care", f"{quality.brief_runs:,} runs are shorter than {shortest_s:.0f} s, each known only roughly"
    if (available := quality.availability) is not None and available < AVAILABLE:
        yield "with care", "runs in the gaps are not seen"
    yield from _stood_still(quality, ("current_A", "power_W"))
    if "past_the_shunt" in {doubt.code for doubt in quality.doubts}:
        yield "with care", "runs of a load past the shunt are not seen"


def _stood_still(quality: Quality, names: tuple[str, ...]) -> Iterator[Reason]:
    words = {"current_A": "the current", "power_W": "the power", "voltage_V": "the voltage"}
    for name in dict.fromkeys(run.quantity for run in quality.stuck if run.quantity in names):
        yield "with care", f"{words[name]} stood still for a while"


def _is_by_eye(how: HowRead) -> bool:
    """Tell whether a person looked at a display now and then; a camera looks at it all the time."""
    return how.sampling == "held" and how.delay_s is None


def _of_surges(quality: Quality, how: HowRead, interval_s: float) -> Iterator[Reason]:
    if _is_by_eye(how):
        yield "not", "readings by eye miss a surge"
    # A surge lasts some tenths of a second (from memory): with readings further apart even a mean says nothing of it.
    elif interval_s > BOUNDS_SURGE_S:
        yield "not", f"a surge falls between readings {interval_s:.3g} s apart"
    # However often a display is looked at: it changes when it will.
    elif how.delay_s is not None:
        yield "with care", "a display shows a surge averaged or not at all, so it was at least what it shows"
    elif how.sampling == "mean":
        yield "with care", f"a surge is averaged over {interval_s:g} s, so it was at least what they show"
    elif interval_s > SHOWS_SURGE_S:
        yield "with care", f"readings are {interval_s:g} s apart, so a surge was at least what they show"
    if any(part.high or part.at_range for part in quality.clipping):
        yield "not", "the highest readings stand at the end of the meter's range"


#: What a doubt means in a word or two.
_DOUBTS: Final = {
    "volts_unit": "the voltage's unit is in doubt",
    "amps_unit": "the current's unit is in doubt",
    "amps_beyond": "a reading is of no current",
    "power_unit": "a unit is in doubt",
    "power_sign": "power and current disagree in sign",
    "columns_disagree": "power and volts x amps disagree",
    "mains_on_dc": "the voltage is mains, not a bank's",
    "bank_on_ac": "the voltage is a bank's, not mains",
    "power_factor_on_dc": "a power factor on side dc",
    "never_returned": "nothing ever came back from the array",
    "dead_current": "the current never moves",
    "ripple": "the draw fluctuates as a ripple does that is read at instants",
    "in_step": "a load switches in step with the readings",
    "past_the_shunt": "the volts fall without the amps: a load past the shunt?",
}
