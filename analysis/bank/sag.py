"""How far the bank's voltage falls at the next start, against what switches the load off.

Where a log holds starts, what they did says what the next one will do; a plate says it only where none was seen. A
figure that the bank's resistance does not allow is not made: the reason stands in its place. An inverter switches off
by the volts that arrive: what its cable loses at a start counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import sqrt
from typing import TYPE_CHECKING

from ..equipment.bank_voltage import VoltageFloor
from ..equipment.conductor import ohm_per_m
from ..equipment.judged import Condition, Judgement, above, worst
from ..not_known import Missing, Refusal
from ..site.site import Conductor, Load, Site
from ..stats.interval95 import Within
from ..wording import figure

if TYPE_CHECKING:
    from .seen_starts import SeenStarts

_WHAT = "word on the sag at start"


@dataclass(frozen=True)
class Sag:
    """The lowest voltage to expect at a start, and what it means; `verdict` is worked out from the rest.

    Below `cut_off_V` something switches off, `below` says what as it stands in a sentence. `starts` are those of a log
    that it is from; 0 where it is from the plate. The verdict hangs on `conditions` as well.
    """

    lowest_V: Within
    cut_off_V: float
    below: str
    starts: int
    assumptions: tuple[str, ...]
    conditions: tuple[Condition, ...] = ()
    verdict: Judgement = field(init=False)

    def __post_init__(self) -> None:
        """Work out whether the voltage stays above the cut-off, over the whole interval."""
        object.__setattr__(self, "verdict", worst(self.by_figures, *(each.verdict for each in self.conditions)))

    @property
    def by_figures(self) -> Judgement:
        """The word on the voltages alone."""
        return above(self.lowest_V.low, self.lowest_V.high, self.cut_off_V)


def loaded_V(source_V: float, resistance_ohm: float, power_W: float) -> float | None:
    """Return the voltage of a bank that gives a power through its resistance; None where it cannot give it at all. [V]

    The power is the same at any voltage, as an inverter draws it, so V is the larger root of V^2 - E V + R P = 0.
    """
    # Below 0 no voltage gives the power: once half of it is lost inside, more amps bring less.
    under_root = source_V**2 - 4 * resistance_ohm * power_W
    return None if under_root < 0 else (source_V + sqrt(under_root)) / 2


def most_W(source_V: float, resistance_ohm: float) -> float:
    """Return the most power that a bank can give through its resistance, at half its voltage: E^2 / 4 R [W]."""
    return source_V**2 / (4 * resistance_ohm)


def sag_of_starts(seen: SeenStarts, floor: VoltageFloor | Missing) -> Sag | Missing:
    """Say how far the voltage falls at the next start, by those of a log."""
    if isinstance(floor, Missing):
        return floor
    unseen = Condition("doubtful", "the readings are too far apart to show the whole of a start")
    conditions = () if seen.whole else (unseen,)
    return Sag(seen.lowest_V, floor.V, floor.below, seen.count, seen.assumptions, conditions)


def sag(
    before_V: float,
    resistance_mohm: Within,
    floor: VoltageFloor | Missing,
    *,
    extra_A: Within | None = None,
    extra_W: Within | None = None,
) -> Sag | Missing:
    """Say how far the voltage falls at the next start, by the bank's resistance.

    Missing without a cut-off, and where the resistance does not let through what the start asks, at either end. Refusal
    if neither amps nor watts are given, or the voltage is not above 0.

    Parameters
    ----------
    before_V : float
        Bank voltage before the start, under whatever else is running. [V]
    extra_A, extra_W : Within, optional
        Extra draw of the start at the bank, one way or the other. [A], [W]
    """
    if isinstance(floor, Missing):
        return floor
    if not before_V > 0:
        raise Refusal(f"the bank's voltage before a start must be above 0 V, not {before_V:g}")
    lowest_V = _lowest_V(before_V, resistance_mohm, extra_A, extra_W)
    if lowest_V is None:
        return Missing(_WHAT, (), _too_much(before_V, resistance_mohm, extra_W))
    assumptions = (
        f"The bank stands at {before_V:.4g} V before the start; lower, it falls further.",
        "An inverter may ride through a dip that is shorter than its own delay; that is not counted on.",
    )
    return Sag(lowest_V, floor.V, floor.below, 0, assumptions)


def _too_much(before_V: float, mohm: Within, asked_W: Within | None) -> str:
    """Say that a bank's resistance, at the worst of what it may be, does not let through what a start asks."""
    gives_W = most_W(before_V, mohm.value / 1000)
    if asked_W is None:
        return f"the start may ask more than the bank gives through its resistance ({gives_W:,.0f} W at most)"
    if asked_W.high > gives_W:
        return (
            f"the start may ask {asked_W.high:,.0f} W, more than the bank gives through its resistance "
            f"({gives_W:,.0f} W at most)"
        )
    worst_W = most_W(before_V, mohm.high / 1000)
    return (
        f"the start may ask {asked_W.high:,.0f} W, and if the bank has {mohm.high:.3g} mΩ, as it may, it gives "
        f"{worst_W:,.0f} W at most"
    )


def _lowest_V(before_V: float, mohm: Within, amps: Within | None, watts: Within | None) -> Within | None:
    """Return the voltage with its ends at the worst and the best of both intervals; None where there is none [V]."""
    asked = amps or watts
    if asked is None:
        raise Refusal("the sag at a start needs the start's amps or watts")
    # The lowest voltage is that of the highest resistance and the highest draw together, as if they went hand in hand.
    pairs = ((mohm.value, asked.value), (mohm.high, asked.high), (mohm.low, asked.low))
    # Amps fall as they are over the resistance; watts ask for more amps the further the voltage falls.
    volts = [
        before_V - milliohm / 1000 * draw if amps is not None else loaded_V(before_V, milliohm / 1000, draw)
        for milliohm, draw in pairs
    ]
    known = [each for each in volts if each is not None and each > 0]
    return Within(*known) if len(known) == len(volts) else None


def through_cable(
    fall: Sag | Missing, site: Site, load: Load | None, starting_A: Within | Missing | None
) -> Sag | Missing:
    """Return the word on a start with what the cable to the load's inverter loses then; the bank's volts stay as told.

    Unchanged where the amps of a start or the inverter's cut-off are not known, and where not exactly one cable of the
    site file carries the inverter.
    """
    inverter = None if load is None else site.inverter_of(load)
    if isinstance(fall, Missing) or not isinstance(starting_A, Within):
        return fall
    if inverter is None or inverter.cut_off_V is None:
        return fall
    cables = [cable for cable in site.conductors if inverter.name in cable.carries]
    ohm = _loop_ohm(cables[0]) if len(cables) == 1 else None
    if ohm is None:
        return fall
    lost_V, bank_V = starting_A.scaled(ohm), fall.lowest_V
    # The lowest voltage goes with the hardest start.
    low_V, high_V = bank_V.low - lost_V.high, bank_V.high - lost_V.low
    arrives = figure(bank_V.value - lost_V.value, "V")
    lost = f"'{cables[0].name}' loses {figure(lost_V.value, 'V', digits=2)} at such a start"
    word = above(low_V, high_V, inverter.cut_off_V)
    conditions = fall.conditions
    # Told as a reason of its own only where it makes the word worse.
    if worst(word, fall.verdict) != fall.verdict:
        conditions = (*conditions, Condition(word, f"{lost}, which leaves '{inverter.name}' {arrives}"))
    sentence = f"The voltage is the bank's: {lost}, and '{inverter.name}' sees {arrives}."
    return replace(fall, conditions=conditions, assumptions=(*fall.assumptions, sentence))


def _loop_ohm(cable: Conductor) -> float | None:
    """Return a cable's resistance out and back; None where its size is in no table. [ohm]"""
    try:
        return 2 * cable.one_way_m * ohm_per_m(cable)
    except Refusal:
        return None
