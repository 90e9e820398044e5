"""How far a meter's readings may be off: what its data sheet says, and what is assumed where nothing is said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from ..stats.interval95 import EVEN, Component

if TYPE_CHECKING:
    from ..site.tables import Meter

#: Limits of error of a meter nothing is known of, in per cent of reading and of range: common practice, no source.
USUAL_READING_PCT: Final = 1.0
USUAL_RANGE_PCT: Final = 0.1
#: Limit of error of a clock nobody set a figure for: a plain quartz in a cold shed; common practice, no source. [1e-6]
USUAL_CLOCK_PPM: Final = 100.0
RANGE_IS_OFFSET: Final = "a share of the range is an offset: it grows with time"
_NOTHING: Final = "nothing is stated about the accuracy of"


@dataclass(frozen=True)
class Accuracy:
    """Limits of error of one quantity's readings, in its unit or in %; anything within a limit is equally likely.

    ``reading_pct`` is of the reading itself, one unknown factor for the whole log; ``class_pct`` likewise, of a shunt
    or transformer that has a class of its own. ``range_pct`` is of the range, one unknown offset for the whole log;
    where no ``full_scale`` is known the highest reading stands for the range. ``zero`` is an offset at no current,
    where it is stated by itself; ``resolution`` the last digit, 0 where it is not known.
    """

    reading_pct: float = USUAL_READING_PCT
    range_pct: float = USUAL_RANGE_PCT
    full_scale: float | None = None
    zero: float = 0.0
    resolution: float = 0.0
    class_pct: float = 0.0

    @property
    def gain(self) -> float:
        """Limit of the one factor that all readings share, shunt and meter together. [1]"""
        return (self.reading_pct + self.class_pct) / 100

    def range_offset(self, highest: float) -> float:
        """Return the limit of the offset that the share of the range makes; the highest reading may stand for it."""
        return self.range_pct / 100 * (self.full_scale if self.full_scale is not None else highest)

    def gains(self, value: float, of: str = "") -> Iterator[Component]:
        """Yield what grows with an amount itself: the meter's gain and its shunt's; `of` what, where not of amps."""
        for source, pct in (("gain", self.reading_pct), ("shunt class", self.class_pct)):
            reason = f"± {pct:g} % of reading: one factor for the whole log"
            yield Component(f"{of}{source}", pct / 100 * abs(value) / EVEN, even=1, reason=reason)


@dataclass(frozen=True)
class MeterFigures:
    """A meter's limits of error.

    ``power`` is None where watts are taken to be as good as volts times amps. ``zero_check`` is the offset that was
    measured at rest and taken off the readings; it then stands in for the stated offsets of the current. ``instants``
    tells whether each reading is stated to be one, averaged over nothing. ``assumed`` says in sentences what was not
    stated.
    """

    current: Accuracy = Accuracy()
    voltage: Accuracy = Accuracy()
    power: Accuracy | None = None
    clock_ppm: float = USUAL_CLOCK_PPM
    zero_check: ZeroCheck | None = None
    assumed: tuple[str, ...] = ()
    instants: bool = False

    @property
    def power_gain(self) -> float:
        """Limit of the factor on watts; that of volts times amps where the meter states none for watts. [1]"""
        return self.current.gain + self.voltage.gain if self.power is None else self.power.gain

    @property
    def is_assumed(self) -> bool:
        """Whether the usual accuracy had to be assumed of something that it measures."""
        return any(sentence.startswith(_NOTHING) for sentence in self.assumed)

    @property
    def has_digits(self) -> bool:
        """Whether the last digit of amps or watts is stated."""
        return any(figures is not None and figures.resolution > 0 for figures in (self.current, self.power))

    def zero_limits(self, highest_A: float) -> tuple[tuple[str, float, str], ...]:
        """Return the limits of the current's zero [A]: name, limit and reason; none once it was measured."""
        if self.zero_check is not None:
            return ()
        zero = "the meter's zero may be off all the time: it grows with time"
        offset_A = self.current.range_offset(highest_A)
        return ("offset (share of range)", offset_A, RANGE_IS_OFFSET), ("zero", self.current.zero, zero)

    def clock(self, value: float) -> Component:
        """Return what the clock does to an amount."""
        reason = f"± {self.clock_ppm:g} millionths: all seconds too long or too short"
        return Component("clock", self.clock_ppm * 1e-6 * abs(value) / EVEN, even=1, reason=reason)

    def after_zero_check(self, check: ZeroCheck) -> MeterFigures:
        """Return the figures for readings from which a measured offset was taken off."""
        return replace(self, zero_check=check)


#: What is assumed where no accuracy is stated, of a meter whose range is not known either.
USUAL_ACCURACY: Final = f"{USUAL_READING_PCT:g} % of reading + {USUAL_RANGE_PCT:g} % of the highest reading"


def _unknown(what: str, full_scale: float | None = None) -> str:
    usual = USUAL_ACCURACY if full_scale is None else USUAL_ACCURACY.replace("the highest reading", "range")
    return f"{_NOTHING} {what}: taken as ± ({usual}) (common practice, no source)"


#: What is assumed of a meter that nothing is stated of.
NOTHING_STATED: Final = MeterFigures(assumed=(_unknown("the meter"),))


def figures_of(meter: Meter | None) -> MeterFigures:
    """Return a meter's figures from its table in the site file; wide ones, and a sentence, where it says nothing."""
    if meter is None:
        return NOTHING_STATED
    assumed: list[str] = []
    current = _stated(meter.reading_pct, meter.range_pct, assumed, "amps", meter.range_A)
    current = replace(
        current,
        full_scale=meter.range_A,
        zero=meter.zero_A or 0.0,
        resolution=meter.resolution_A or 0.0,
        class_pct=meter.shunt_class_pct or 0.0,
    )
    voltage = _stated(meter.voltage_reading_pct, meter.voltage_range_pct, assumed, "volts", meter.range_V)
    voltage = replace(voltage, full_scale=meter.range_V, resolution=meter.resolution_V or 0.0)
    # Behind an inverter watts are measured by themselves; at the bank only where the data sheet says so.
    power = None
    if meter.power_reading_pct is not None or meter.power_range_pct is not None or meter.side == "ac":
        power = _stated(meter.power_reading_pct, meter.power_range_pct, assumed, "watts", meter.range_W)
        power = replace(power, full_scale=meter.range_W, resolution=meter.resolution_W or 0.0)
    assumed += _range_unknown(meter, current)
    clock_ppm = USUAL_CLOCK_PPM if meter.clock_ppm is None else meter.clock_ppm
    instants = meter.sampling == "instant"
    return MeterFigures(current, voltage, power, clock_ppm, assumed=tuple(assumed), instants=instants)


def _stated(
    reading_pct: float | None, range_pct: float | None, assumed: list[str], what: str, full_scale: float | None
) -> Accuracy:
    """Return an accuracy as a data sheet gives it: what one half of "x % of reading + y % of range" leaves out is 0."""
    # A data sheet that states one half means that there is no other; one that states nothing means nothing.
    if reading_pct is None and range_pct is None:
        assumed.append(_unknown(f"its {what}", full_scale))
        return Accuracy()
    return Accuracy(reading_pct or 0.0, range_pct or 0.0)


def _range_unknown(meter: Meter, current: Accuracy) -> list[str]:
    if meter.range_A is None and current.range_pct > 0:
        return ["its range in amps is not stated: the highest reading was taken for it"]
    if current.range_pct == 0 and current.zero == 0:
        return ["no error of its zero is stated (zero_A or range_pct): its zero is taken as right"]
    return []


@dataclass(frozen=True)
class ZeroCheck:
    """What the meter showed over a stretch, as it was named, in which nothing was drawn or returned.

    The mean of its readings is the offset, with its standard uncertainty and the degrees of freedom of that; infinite
    where the meter's own smallest step makes it.
    """

    from_us: int
    to_us: int
    readings: int
    offset_A: float
    u_A: float
    dof: float
