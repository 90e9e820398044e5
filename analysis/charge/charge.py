"""Charge and energy: the integral of current, and of power, over time."""

from __future__ import annotations

from collections.abc import Set

from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.energy import energy_source, why_nothing
from shuntbook.analysis.readings.measured_span import HowRead

from .amounts import Charge, Evidence
from .completed import CompletedReadings, Reader, Window
from .instants import InstantsFold, looked_at
from .meter_counter import CounterFold
from .signal_integral import PowerIntegral, SignalIntegral


class ChargeSums:
    """Integrate current and power over a window of time: the sums of a fold, without what is read.

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
    For means of volts and of amps the product is not the mean of
    the product: a load that switches within the interval makes it differ.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, from_us: int | None = None, to_us: int | None = None
    ) -> None:
        self._how = how
        self._window = (from_us, to_us)
        self._charge = SignalIntegral(how) if how.side == "dc" and "current_A" in quantities else None
        self._energy = PowerIntegral(how, quantities) if energy_source(how.side, quantities) else None
        if self._charge is None and self._energy is None:
            raise Refusal(why_nothing(how.side, quantities))
        gap_limit_s = None if how.sampling == "held" else how.gap_limit_s
        self._counter = (
            CounterFold(how.counter_kind, gap_limit_s) if self._charge and "charge_Ah" in quantities else None
        )

    @property
    def window(self) -> Window:
        """Between which instants is integrated. [us]"""
        return self._window

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, as far as it lies in the window."""
        read = read.within(self._window)
        if self._charge is not None and read.current is not None:
            self._charge.take(read.current)
        if self._energy is not None:
            self._energy.weigh(read)
            if read.power is not None:
                self._energy.take(read.power)
        if self._counter is not None:
            q = read.chunk.quantities
            self._counter.add(read.chunk.time_us, q["charge_Ah"], q["current_A"])

    def result(self) -> Charge:
        """Return charge and energy so far; the counter is compared where the log has one."""
        leading = self._charge or self._energy
        assert leading is not None
        charge = self._charge.amounts() if self._charge else None
        counter = None
        if self._counter is not None and charge is not None:
            counter = self._counter.compared(drawn_Ah=charge.drawn, returned_Ah=charge.returned)
        energy = self._energy.amounts() if self._energy else None
        evidence = Evidence(
            self._charge.error_facts() if self._charge else None,
            self._energy.error_facts() if self._energy else None,
            self._energy.mean_V if self._energy else None,
            self._energy.swing_Ws if self._energy else 0.0,
        )
        return Charge(
            how=self._how,
            span=leading.span(),
            charge=charge,
            energy=energy,
            energy_by=self._energy.source_in_words() if self._energy and energy else None,
            counter=counter,
            energy_span=self._energy.span() if self._energy and energy else None,
            energy_from=self._energy.source if self._energy and energy else None,
            evidence=evidence,
            in_gaps=leading.in_gaps(),
        )


class ChargeFold:
    """Integrate current and power over time, as a fold; see `ChargeSums` for how, and for the arguments.

    Notes
    -----
    The tail it carries is one reading of each signal, and one piece in which instants are looked at.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, from_us: int | None = None, to_us: int | None = None
    ) -> None:
        self._sums = ChargeSums(how, quantities, from_us=from_us, to_us=to_us)
        self._reader = Reader(how, quantities)
        signal = looked_at(how.side, how.sampling, quantities)
        self._instants = InstantsFold(signal, how.gap_limit_s) if signal else None

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            self._sums.take(self._reader.take(chunk))
            if self._instants is not None:
                self._instants.add(chunk)

    def result(self) -> Charge:
        """Return charge and energy so far; the counter is compared where the log has one."""
        return self._sums.result().read_at(self._instants.result() if self._instants is not None else None)
