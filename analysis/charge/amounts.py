"""What a span of a log amounts to: charge, energy, and the time that was and was not measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from ..readings.measured_span import HowRead, Span
from ..stats.interval95 import Component, HowSure
from .error_facts import ErrorFacts
from .instants import Instants
from .meter_counter import CounterComparison


@dataclass(frozen=True, slots=True)
class Sureness:
    """How sure the three figures of an amount are; each in its unit."""

    drawn: HowSure
    returned: HowSure
    net: HowSure


@dataclass(frozen=True, slots=True)
class Amounts:
    """What went out of the bank and what came back, in Ah or in Wh.

    ``sure`` holds the 95 % intervals; None until they are worked out.
    """

    drawn: float
    returned: float
    sure: Sureness | None = None

    @property
    def net(self) -> float:
        """Drawn minus returned: positive when the bank gave more than it took."""
        return self.drawn - self.returned

    def without_budgets(self) -> Amounts:
        """Return the same with no more of its intervals than their ends."""
        if self.sure is None:
            return self
        drawn, returned, net = (replace(x, components=()) for x in (self.sure.drawn, self.sure.returned, self.sure.net))
        return replace(self, sure=Sureness(drawn, returned, net))

    @property
    def drawn_u95(self) -> float | None:
        """Half of the 95 % interval of what was drawn; None until it is worked out."""
        return self.sure.drawn.u95 if self.sure else None

    @property
    def returned_u95(self) -> float | None:
        """Half of the 95 % interval of what was returned; None until it is worked out."""
        return self.sure.returned.u95 if self.sure else None

    @property
    def net_u95(self) -> float | None:
        """Half of the 95 % interval of the difference; None until it is worked out."""
        return self.sure.net.u95 if self.sure else None


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the readings say, beside the amounts, about how sure these are.

    The facts are of the current that charge, and of the power that energy, was integrated from; ``mean_V`` is the mean
    voltage over the measured time. ``swing_Ws`` is the sum of fall of volts x rise of amps x length from reading to
    reading: what products of the two miss. ``instants`` is what the log's instants may have been read in step with;
    None where nobody looked.
    """

    current: ErrorFacts | None
    power: ErrorFacts | None
    mean_V: float | None
    swing_Ws: float
    instants: Instants | None = None


@dataclass(frozen=True, slots=True)
class Charge:
    """Charge and energy over a span.

    ``charge`` is None on side ``ac`` and for a log without current; ``energy`` is None where neither power nor
    voltage was measured. ``energy_from`` says what the energy was computed from, ``energy_by`` the same in words.
    ``span`` is that of the charge where there is one; ``energy_span`` that of the energy, which is shorter where only
    volts are missing. ``in_gaps`` is what might have been drawn and returned in the gaps, had they been like the
    hours around them: a guess [Ah], or [Wh] where there is no charge; None without gaps. ``otherwise`` is the same span
    by the other gap limit that the spacings allow; None where they leave no doubt.
    """

    how: HowRead
    span: Span
    charge: Amounts | None
    energy: Amounts | None
    energy_by: str | None
    counter: CounterComparison | None
    energy_span: Span | None = None
    energy_from: str | None = None
    evidence: Evidence | None = None
    in_gaps: Amounts | None = None
    otherwise: Charge | None = None

    @property
    def doubtful(self) -> bool:
        """Whether the two gap limits that the spacings allow differ by more than the interval."""
        pairs = ((self.charge, self.otherwise.charge), (self.energy, self.otherwise.energy)) if self.otherwise else ()
        return any(_apart(one, other) for one, other in pairs)

    def in_short(self) -> Charge:
        """Return the same without what its intervals were made of: of thousands of notes that would fill the memory."""
        charge, energy = (amounts and amounts.without_budgets() for amounts in (self.charge, self.energy))
        return replace(self, charge=charge, energy=energy, evidence=None)

    def read_at(self, instants: Instants | None) -> Charge:
        """Return the same with what is known of the instants it was read at."""
        if self.evidence is None:
            return self
        return replace(self, evidence=replace(self.evidence, instants=instants))

    def in_log_up_to(self, highest_A: float, highest_W: float) -> Charge:
        """Return the same with the highest readings of all of its log: a window's own say less of the meter's range."""
        if self.evidence is None:
            return self
        current, power = (
            facts and replace(facts, highest=max(facts.highest, highest))
            for facts, highest in ((self.evidence.current, highest_A), (self.evidence.power, highest_W))
        )
        return replace(self, evidence=replace(self.evidence, current=current, power=power))


def _apart(one: Amounts | None, other: Amounts | None) -> bool:
    """Tell whether two amounts differ by more than the interval of either."""
    if one is None or other is None:
        return (one is None) != (other is None)
    # The narrower interval decides: both are of the same readings, so neither makes up for the other.
    return any(
        abs(getattr(one, part) - getattr(other, part))
        > min(getattr(amounts, f"{part}_u95") or 0.0 for amounts in (one, other))
        for part in ("drawn", "returned", "net")
    )


@dataclass(frozen=True)
class Budget:
    """What the ± of one figure is made of.

    The figure is what was `part` of the `quantity`: ``charge`` where that is known, else ``energy``. `sure` holds its
    shares and its factor; `charge` and `energy` are the sources of error of both quantities' part, by name.
    """

    quantity: Literal["charge", "energy"]
    part: Literal["drawn", "returned"]
    sure: HowSure
    charge: dict[str, Component]
    energy: dict[str, Component]

    @property
    def sources(self) -> dict[str, Component]:
        """All sources of error, those of the figure itself first: only energy has some of volts."""
        own, other = (self.charge, self.energy) if self.quantity == "charge" else (self.energy, self.charge)
        return own | {name: part for name, part in other.items() if name not in own}

    def share(self, source: str) -> float | None:
        """Return the share of a source in the figure's squared uncertainty; None of one that it does not have. [1]"""
        own = self.charge if self.quantity == "charge" else self.energy
        return self.sure.share(own[source]) if source in own else None


def budget_of(charge: Charge) -> Budget | None:
    """Return the budget of what was drawn; of what was returned where the draw may be nothing. None without intervals.

    The charge has it, and the energy where there is no charge.
    """
    leading = charge.charge or charge.energy
    if leading is None or leading.sure is None:
        return None
    # What its own interval cannot tell from nothing is noise about zero: then what came back is the figure of the log.
    nothing = leading.drawn <= leading.sure.drawn.u95 and leading.returned > leading.drawn
    part: Literal["drawn", "returned"] = "returned" if nothing else "drawn"
    return Budget(
        quantity="charge" if charge.charge is not None else "energy",
        part=part,
        sure=leading.sure.returned if nothing else leading.sure.drawn,
        charge=_components(charge.charge, part),
        energy=_components(charge.energy, part),
    )


def _components(amounts: Amounts | None, part: Literal["drawn", "returned"]) -> dict[str, Component]:
    if amounts is None or amounts.sure is None:
        return {}
    sure = amounts.sure.drawn if part == "drawn" else amounts.sure.returned
    return {component.source: component for component in sure.components}
