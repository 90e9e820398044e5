"""How good a log is: what its readings cover, and what is the matter with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..charge.instants import InstantsFold, looked_at
from ..charge.meter_counter import CounterFold
from ..readings.blocks import InPieces, Piece, PieceFold
from ..readings.chunk import Chunk
from ..readings.integral import bridged_s
from ..readings.measured_span import HowRead, Span, SpanFold
from ..signal_levels.steps import signal_of
from .brief_runs import BriefRunsPart
from .clipping import Clipping, ClippingPart
from .coverage import MostPart, QuantityRange, RangePart, Spacing, SpacingPart
from .implausible import Doubt, JumpPart, QualityEvidence, doubts_of
from .past_shunt import SharpChangesPart
from .power_check import Agreement, AgreementPart
from .sign_check import SignCheck, SignPart
from .spikes import SpikePart, Spikes
from .stuck import Repeats, Stuck, StuckPart
from .zero_rest import Rest, RestPart

#: So many of its digits a voltage must follow a current: common practice, no source. [1]
LEAST_ANSWER = 3.0
#: Doubts with which amps near nought say nothing of what flows.
_BLIND = {"dead_current", "past_the_shunt"}
#: The quantities that are watched for standing still.
_WATCHED = ("current_A", "voltage_V", "power_W")


@dataclass(frozen=True)
class Quality:
    """What a log's readings cover, and what is the matter with them.

    `sign` tells whether draw and return can be the right way round; None behind an inverter, or without amps and volts.
    `stuck` are the stretches in which a quantity stood still, in order, `clipping` the quantities that stand at the end
    of the meter's range. `counter_resets` counts how often the meter's own counter was set back; None where there is
    none. The `rest` could serve for a check of the meter's zero. `brief_runs` are runs of like draw too brief for the
    readings, nought where they are few.
    """

    span: Span
    spacing: Spacing
    ranges: dict[str, QuantityRange]
    sign: SignCheck | None
    spikes: Spikes
    stuck: tuple[Stuck, ...] = ()
    clipping: tuple[Clipping, ...] = ()
    agreement: Agreement | None = None
    counter_resets: int | None = None
    rest: Rest | None = None
    doubts: tuple[Doubt, ...] = ()
    brief_runs: int = 0

    @property
    def availability(self) -> float | None:
        """Share of the span that was measured, data availability in IEC 61724-1's sense; None of no span. [1]."""
        whole_s = self.span.covered_s + self.span.uncovered_s
        return self.span.covered_s / whole_s if whole_s > 0 else None


class QualityFold:
    """Look at all that tells how good a log is, as a fold.

    It carries one piece of readings with its neighbours, and what each part of it states. `range_A` is the meter's
    range; `has_array` tells whether an array is known to charge the bank. Where others who are fed the same readings
    look at their `instants`, it does not do so as well.
    """

    def __init__(
        self,
        how: HowRead,
        quantities: Sequence[str],
        *,
        range_A: float | None = None,
        has_array: bool = False,
        instants: InstantsFold | None = None,
    ) -> None:
        self._how, self._range_A, self._has_array = how, range_A, has_array
        self._span = SpanFold(how)
        counts = {"charge_Ah", "current_A"} <= set(quantities) and how.side == "dc"
        self._counter = CounterFold(how.counter_kind, bridged_s(how)) if counts else None
        signal = looked_at(how.side, how.sampling, set(quantities))
        self._own_instants = InstantsFold(signal, how.gap_limit_s) if signal and instants is None else None
        self._instants = instants or self._own_instants
        self._parts = InPieces(_Parts(how, tuple(quantities), range_A))

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        self._span.add(chunk)
        self._parts.add(chunk)
        if self._own_instants is not None:
            self._own_instants.add(chunk)
        if self._counter is not None:
            self._counter.add(chunk.time_us, chunk.quantities["charge_Ah"], chunk.quantities["current_A"])

    def result(self) -> Quality:
        """Return what is known so far."""
        span, results = self._span.result(), self._parts.result()
        agreement, sign = results["agreement"], results.get("sign")
        ranges = _ended(results, "range")
        stuck = _stuck(_ended(results, "repeats"), sign)
        counter = self._counter.compared(drawn_Ah=0.0, returned_Ah=0.0) if self._counter is not None else None
        seen = QualityEvidence(
            side=self._how.side,
            ranges=ranges,
            agreement=agreement,
            jumps=results["jumps"],
            most_A=results.get("most"),
            covered_s=span.covered_s,
            range_A=self._range_A,
            has_array=self._has_array,
            instants=self._instants.result() if self._instants is not None else None,
            changes_V=results.get("sharp changes"),
            resistance_ohm=sign.resistance_ohm if sign is not None and sign.plausible else None,
        )
        doubts = doubts_of(seen)
        blind = any(doubt.code in _BLIND for doubt in doubts)
        return Quality(
            span=span,
            spacing=results["spacing"],
            ranges=ranges,
            sign=sign,
            spikes=results["spikes"],
            stuck=stuck,
            clipping=tuple(part for part in _ended(results, "clipping").values() if part.clipped),
            agreement=agreement,
            counter_resets=counter.resets if counter is not None else None,
            # Amps near nought of a dead wire, or beside a load past the shunt, are no rest of the meter.
            rest=None if blind else _true_rest(results.get("rest"), stuck),
            doubts=doubts,
            brief_runs=results.get("brief runs", 0),
        )


class _Parts:
    """All parts by name; those of one quantity are called by it and their kind."""

    def __init__(self, how: HowRead, quantities: tuple[str, ...], range_A: float | None) -> None:
        watched = tuple(name for name in _WATCHED if name in quantities)
        limit_s = bridged_s(how)
        self._parts: dict[str, PieceFold[Any]] = {
            "spacing": SpacingPart(limit_s),
            "spikes": SpikePart(how, set(quantities)),
            "agreement": AgreementPart(how.side, quantities),
            "jumps": JumpPart(quantities),
        }
        if how.side == "dc" and {"current_A", "voltage_V"} <= set(quantities):
            self._parts["sign"] = SignPart(limit_s)
            self._parts["sharp changes"] = SharpChangesPart(limit_s)
        if how.side == "dc" and "current_A" in quantities and how.sampling != "held":
            self._parts["rest"] = RestPart(limit_s, quantities)
        if (signal := signal_of(how, set(quantities))) is not None:
            self._parts["brief runs"] = BriefRunsPart(signal, how, limit_s)
        if "current_A" in quantities:
            self._parts["most"] = MostPart("current_A")
        self._parts |= {f"{name} range": RangePart(name) for name in quantities}
        if how.sampling != "held":
            self._parts |= {f"{name} repeats": StuckPart(name, watched) for name in watched}
        # A range is stated in amps; the end of the watts shows only as a flat top.
        ends = {"current_A": range_A, "power_W": None}
        self._clipping = {name: ClippingPart(name, end) for name, end in ends.items() if name in quantities}

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        for part in (*self._parts.values(), *self._clipping.values()):
            part.take(piece)

    def result(self) -> dict[str, Any]:
        """Return what each part has found so far, by its name."""
        results = {name: part.result() for name, part in self._parts.items()}
        # Clipping asks how often readings repeat, so it comes when that is known.
        for name, clipping in self._clipping.items():
            repeats = results.get(f"{name} repeats")
            results[f"{name} clipping"] = clipping.result(repeats.share if repeats is not None else None)
        return results


def _ended(results: dict[str, Any], kind: str) -> dict[str, Any]:
    """Return what the parts of one kind have found, by quantity."""
    return {name.removesuffix(f" {kind}"): part for name, part in results.items() if name.endswith(f" {kind}")}


def _true_rest(rest: Rest | None, stuck: tuple[Stuck, ...]) -> Rest | None:
    """Return the rest, unless the current stood still in it: a meter that hangs is quiet as well."""
    if rest is None:
        return None
    hung = (run.start_us < rest.stop_us and run.stop_us > rest.start_us for run in stuck if run.quantity == "current_A")
    return None if any(hung) else rest


def _stuck(repeats: dict[str, Repeats], sign: SignCheck | None) -> tuple[Stuck, ...]:
    """Return the stretches that stood still, in order.

    A voltage of few digits is constant for long by itself: its own count only where the current swung so much that the
    voltage, by the resistance its steps show, must have followed by several digits.
    """
    stuck = [run for part in repeats.values() for run in part.stuck if run.quantity != "voltage_V"]
    if sign is not None and sign.resistance_ohm is not None and "voltage_V" in repeats:
        # By the resistance, the swing of the amps must have moved the last digit of the volts.
        must_V = LEAST_ANSWER * repeats["voltage_V"].grain
        stuck += [run for run in repeats["voltage_V"].stuck if abs(sign.resistance_ohm) * run.swing >= must_V]
    return tuple(sorted(stuck, key=lambda run: (run.start_us, run.quantity)))
