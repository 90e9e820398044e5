"""Charge and energy: the integral of current, and of power, over time."""

from __future__ import annotations

from collections.abc import Callable, Set
from dataclasses import dataclass, field

import numpy as np

from .chunk import MICROSECONDS, SECONDS_PER_HOUR, Chunk, FloatArray, Sampling, Side, TimeArray
from .counter import CounterComparison, CounterFold, CounterKind
from .energy import POWER, contradicts, energy_of, energy_signals, energy_source, why_nothing
from .integral import linear_split
from .intervals import Intervals, between_readings
from .refusal import Refusal

Integral = Callable[[Intervals], tuple[float, float]]
Window = tuple[int | None, int | None]

#: From this share of all that the power column says on, it is told that its sign contradicts the current's: common
#: practice, no source; readings about zero disagree by noise alone. [1]
WORTH_TELLING = 0.01


@dataclass(frozen=True)
class Amounts:
    """What went out of the bank and what came back, in Ah or in Wh.

    ``u95`` is half of the 95 % interval; None until it is worked out.
    """

    drawn: float
    returned: float
    drawn_u95: float | None = None
    returned_u95: float | None = None
    net_u95: float | None = None

    @property
    def net(self) -> float:
        """Drawn minus returned: positive when the bank gave more than it took."""
        return self.drawn - self.returned


@dataclass(frozen=True)
class Gap:
    """A stretch with no readings longer than the log's gap limit; never bridged."""

    start_us: int
    stop_us: int

    @property
    def length_s(self) -> float:
        """How long nothing was measured. [s]."""
        return (self.stop_us - self.start_us) / MICROSECONDS


@dataclass(frozen=True)
class Span:
    """The time a log covers, and the time within it that was not measured."""

    start_us: int | None
    stop_us: int | None
    readings: int
    covered_s: float
    gaps: tuple[Gap, ...]

    @property
    def uncovered_s(self) -> float:
        """Time within the span that no reading stands for. [s]."""
        return float(sum(gap.length_s for gap in self.gaps))


@dataclass(frozen=True)
class Charge:
    """Charge and energy over a span.

    ``charge`` is None on side ``ac`` and for a log without current; ``energy`` is None where neither power nor
    voltage was measured. ``energy_by`` says in words what the energy was computed from. ``span`` is that of the
    charge where there is one; ``energy_span`` that of the energy, which is shorter where only volts are missing.
    """

    span: Span
    charge: Amounts | None
    energy: Amounts | None
    energy_by: str | None
    counter: CounterComparison | None
    energy_span: Span | None = None


@dataclass(frozen=True)
class HowRead:
    """What a log's metadata says about its readings.

    Parameters
    ----------
    side : {'dc', 'ac'}
        Where the meter sits.
    sampling : {'instant', 'mean', 'held'}
        What one reading stands for.
    gap_limit_s : float
        Longest spacing that is still one measurement. [s]
    usual_interval_s : float or None
        Median spacing of the readings; needed for means. [s]
    counter_kind : {'net', 'moved'}
        What the meter's own counters count.
    """

    side: Side
    sampling: Sampling
    gap_limit_s: float
    usual_interval_s: float | None = None
    counter_kind: CounterKind = "net"


class ChargeFold:
    """Integrate current and power over time, as a fold.

    The integral is exact for what is assumed between readings: current (and voltage) run linearly between ``instant``
    readings, stand still for ``mean`` and ``held`` ones. Draw and return are split exactly at the zero crossing. Energy
    integrates the product of the two linear pieces, dt/6 (2 v0 i0 + v0 i1 + v1 i0 + 2 v1 i1), or the power column.
    Gaps add nothing and are listed.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has.
    from_us, to_us : int or None
        Integrate only between these instants. [us]

    Raises
    ------
    Refusal
        If the log has neither current nor power, or amps and volts on side ``ac`` without a power factor.

    Notes
    -----
    The tail it carries is one reading of each signal. For means of volts and of amps the product is not the mean of
    the product: a load that switches within the interval makes it differ.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, from_us: int | None = None, to_us: int | None = None
    ) -> None:
        self._how = how
        self._window = (from_us, to_us)
        self._charge = _Signal(how, self._window) if how.side == "dc" and "current_A" in quantities else None
        self._energy = _EnergySignal(how, self._window, quantities) if energy_source(how.side, quantities) else None
        if self._charge is None and self._energy is None:
            raise Refusal(why_nothing(how.side, quantities))
        gap_limit_s = None if how.sampling == "held" else how.gap_limit_s
        self._counter = (
            CounterFold(how.counter_kind, gap_limit_s) if self._charge and "charge_Ah" in quantities else None
        )

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if not len(chunk):
            return
        q = chunk.quantities
        if self._charge is not None:
            self._charge.add(chunk.time_us, {"i": q["current_A"]}, _charge_of)
        if self._energy is not None:
            self._energy.take(chunk)
        if self._counter is not None:
            inside = _inside(chunk.time_us, self._window)
            self._counter.add(chunk.time_us[inside], q["charge_Ah"][inside], q["current_A"][inside])

    def result(self) -> Charge:
        """Return charge and energy so far; the counter is compared where the log has one."""
        leading = self._charge or self._energy
        assert leading is not None
        charge = self._charge.amounts() if self._charge else None
        counter = None
        if self._counter is not None and charge is not None:
            counter = self._counter.compared(drawn_Ah=charge.drawn, returned_Ah=charge.returned)
        energy = self._energy.amounts() if self._energy else None
        return Charge(
            span=leading.span(),
            charge=charge,
            energy=energy,
            energy_by=self._energy.source_in_words() if self._energy and energy else None,
            counter=counter,
            energy_span=self._energy.span() if self._energy and energy else None,
        )


@dataclass
class _Signal:
    """One integral: carries the last reading, sums the two directions, lists the gaps."""

    how: HowRead
    window: Window
    positive: float = 0.0
    negative: float = 0.0
    covered_s: float = 0.0
    readings: int = 0
    start_us: int | None = None
    stop_us: int | None = None
    gaps: list[Gap] = field(default_factory=list)
    _tail: tuple[TimeArray, dict[str, FloatArray]] | None = None

    def add(self, time_us: TimeArray, values: dict[str, FloatArray], integral: Integral) -> None:
        """Integrate the next readings; those without a value are as if they had not been made."""
        there = ~np.isnan(sum(values.values()))
        if not there.all():
            time_us, values = time_us[there], {name: x[there] for name, x in values.items()}
        if not len(time_us):
            return
        first_of_log = self._tail is None
        if self._tail is not None:
            time_us = np.concatenate([self._tail[0], time_us])
            values = {name: np.concatenate([self._tail[1][name], x]) for name, x in values.items()}
        self._tail = (time_us[-1:], {name: x[-1:] for name, x in values.items()})
        self._integrate(time_us, values, integral, first_of_log=first_of_log)

    def _integrate(
        self, time_us: TimeArray, values: dict[str, FloatArray], integral: Integral, *, first_of_log: bool
    ) -> None:
        stretch = between_readings(
            time_us,
            values,
            sampling=self.how.sampling,
            gap_limit_s=self.how.gap_limit_s,
            usual_interval_s=self.how.usual_interval_s,
            first_of_log=first_of_log,
        )
        measured = stretch.measured.clipped(*self.window)
        positive, negative = integral(measured)
        self.positive += positive
        self.negative += negative
        self.covered_s += float(measured.length_s.sum())
        gaps = _clipped_gaps(stretch.gap_start_us, stretch.gap_stop_us, self.window)
        self.gaps.extend(gaps)
        new = time_us if first_of_log else time_us[1:]
        new = new[_inside(new, self.window)]
        self.readings += len(new)
        edges = [new[:1], new[-1:], measured.start_us[:1], measured.stop_us[-1:]]
        self._widen([int(t) for edge in edges for t in edge] + [t for gap in gaps for t in (gap.start_us, gap.stop_us)])

    def _widen(self, instants: list[int]) -> None:
        for t in instants:
            self.start_us = t if self.start_us is None else min(self.start_us, t)
            self.stop_us = t if self.stop_us is None else max(self.stop_us, t)

    def span(self) -> Span:
        return Span(self.start_us, self.stop_us, self.readings, self.covered_s, tuple(self.gaps))

    def amounts(self) -> Amounts | None:
        """Return the two sums; None where no reading stands for any time that they could come from."""
        if self.covered_s <= 0:
            return None
        return Amounts(self.positive / SECONDS_PER_HOUR, self.negative / SECONDS_PER_HOUR)


class _EnergySignal(_Signal):
    """The integral of power, which also weighs how much of the power column contradicts the current."""

    def __init__(self, how: HowRead, window: Window, quantities: Set[str]) -> None:
        super().__init__(how, window)
        self._source = energy_source(how.side, quantities) or ""
        self._checks = self._source == POWER and how.side == "dc" and "current_A" in quantities
        self._replaced_by = "volts x amps instead" if "voltage_V" in quantities else "left out"
        self._all_W = self._wrong_W = 0.0

    def take(self, chunk: Chunk) -> None:
        q = chunk.quantities
        if self._checks:
            p, i = (np.nan_to_num(q[name][_inside(chunk.time_us, self.window)]) for name in ("power_W", "current_A"))
            self._all_W += float(np.abs(p).sum())
            self._wrong_W += float(np.abs(p[contradicts(p, i)]).sum())
        self.add(chunk.time_us, energy_signals(self.how.side, self._source, q), energy_of)

    def source_in_words(self) -> str:
        if self._wrong_W <= WORTH_TELLING * self._all_W:
            return self._source
        return f"{self._source} ({self._replaced_by} where its sign contradicts the current's)"


def _inside(time_us: TimeArray, window: Window) -> slice:
    """Return which of the instants, which increase, lie in the window, its ends included."""
    low, high = window
    first = 0 if low is None else int(np.searchsorted(time_us, low, side="left"))
    return slice(first, len(time_us) if high is None else int(np.searchsorted(time_us, high, side="right")))


def _clipped_gaps(start_us: TimeArray, stop_us: TimeArray, window: Window) -> list[Gap]:
    low, high = window
    gaps = []
    for a, b in zip(start_us.tolist(), stop_us.tolist(), strict=True):
        start, stop = a if low is None else max(a, low), b if high is None else min(b, high)
        if stop > start:
            gaps.append(Gap(start, stop))
    return gaps


def _charge_of(pieces: Intervals) -> tuple[float, float]:
    above, below = linear_split(pieces.first["i"], pieces.last["i"], pieces.length_s)
    return float(above.sum()), float(below.sum())
