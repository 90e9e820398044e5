"""What a load asks of its inverter while it runs and while it starts, in volt-amperes, with how sure that is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, sqrt
from typing import Final

from ..not_known import Missing, Refusal
from ..site.motor_tables import CODE_LETTER_SOURCE, FULL_LOAD_SOURCE, USUAL_START_S, full_load_A, locked_rotor
from ..site.tables import Inverter, Load
from ..stats.interval95 import Within
from .plate_power import USUAL_POWER_FACTORS

TURNING: Final = ("pump", "motor", "compressor")

#: Locked-rotor over running current where the plate says nothing: 6 is behind NEC Table 430.251(A) (from memory);
#: pages of the trade give 3 to 7 for pumps and compressors.
USUAL_START: Final = Within(6.0, 3.0, 7.0)

#: Watts over volt-amperes of a motor that stands still: 0.7, and from 0.5 to 0.85 (from memory, of small single-phase
#: motors; a larger motor's is lower). [1]
STANDSTILL_POWER_FACTOR: Final = Within(0.7, 0.5, 0.85)
STANDSTILL_SOURCE: Final = "from memory, of small single-phase motors"
STANDSTILL_SENTENCE: Final = (
    f"Of a start's volt-amperes {STANDSTILL_POWER_FACTOR.low:g} to {STANDSTILL_POWER_FACTOR.high:g} are watts: "
    f"the power factor of a motor that stands still ({STANDSTILL_SOURCE})."
)
VA_OF_WATTS: Final = (
    "Volt-amperes of what was seen are its watts over the power factor: the plate's, else the usual one of its kind; "
    f"at a start {STANDSTILL_POWER_FACTOR.low:g} to {STANDSTILL_POWER_FACTOR.high:g} ({STANDSTILL_SOURCE}), "
    "within what the plate allows."
)


@dataclass(frozen=True)
class Power:
    """Power on an inverter's AC side: in watts, and the volt-amperes that these come to. [W], [VA]"""

    W: float
    VA: Within


@dataclass(frozen=True)
class Demand:
    """What a load asks of its inverter.

    Parameters
    ----------
    running_VA, running_W : float
        While it runs. [VA], [W]
    start_VA : Within
        While it starts; the ends are those of its code letter or of what is usual. The same as running for a load
        that does not turn. [VA]
    start_s : float
        How long the start lasts. [s]
    power_factor, start_power_factor : Within
        Watts over volt-amperes while it runs, and while it starts: from standing still until it runs. [1]
    """

    load: str
    running_VA: float
    running_W: float
    start_VA: Within
    start_s: float
    power_factor: Within
    start_power_factor: Within
    assumptions: tuple[str, ...]

    @property
    def at_start(self) -> str:
        """When it starts, as it stands in a sentence; of a motor ``with 'pump' starting (locked-rotor)``."""
        return starting(self.load, is_motor=self.extra_VA.high > 0)

    @property
    def extra_VA(self) -> Within:
        """What the start adds to the running draw [VA]."""
        start = self.start_VA
        return Within(*(max(x - self.running_VA, 0.0) for x in (start.value, start.low, start.high)))

    def start_W(self, most_VA: float = inf) -> Within:
        """Return the watts of the start, never less than while it runs; of no more volt-amperes than `most_VA` [W]."""
        VA, factor = self.start_VA.map(lambda x: min(x, most_VA)), STANDSTILL_POWER_FACTOR
        # Ends go with ends: nothing says that a motor of few volt-amperes has a high power factor.
        watts = Within(VA.value * factor.value, VA.low * factor.low, VA.high * factor.high)
        return watts.map(lambda x: max(x, self.running_W))

    def of_start(self, watts: float) -> Within:
        """Return the volt-amperes of a start of which watts are known: those that plate and power factor both allow.

        Where they contradict one another, what was measured counts. [VA]
        """
        VA, plate = apparent_VA(watts, self.start_power_factor), self.start_VA
        # Both ranges hold the truth, so it lies where they overlap.
        low, high = max(VA.low, plate.low), min(VA.high, plate.high)
        return VA if low > high else Within(min(max(VA.value, low), high), low, high)


def starting(load: str, *, is_motor: bool) -> str:
    """Return when a load starts, as it stands in a sentence, with the trade's term where it is a motor's."""
    return f"with '{load}' starting{' (locked-rotor)' if is_motor else ''}"


def apparent_VA(watts: float, power_factor: Within) -> Within:
    """Return the volt-amperes of watts, by the power factor and its ends [VA]."""
    return Within(watts / power_factor.value, watts / power_factor.high, watts / power_factor.low)


def power_behind(load: Load, inverter: Inverter, *, running_W: float, peak_W: float) -> tuple[Power, Power]:
    """Return what a load was seen to take on the inverter's AC side, running and at most, in watts and volt-amperes."""
    asked = demand(load, inverter)
    if isinstance(asked, Missing):
        running, starting = power_factors(load)
        held_VA, peak_VA = apparent_VA(running_W, running), apparent_VA(peak_W, starting)
    else:
        held_VA, peak_VA = apparent_VA(running_W, asked.power_factor), asked.of_start(peak_W)
    return Power(running_W, held_VA), Power(peak_W, peak_VA)


def demand(load: Load, inverter: Inverter) -> Demand | Missing:
    """Return what a load asks of the inverter it hangs on, whose output voltage stands in where the plate gives none.

    Missing where the plate gives neither watts, amps nor horsepower.
    """
    notes: list[str] = []
    try:
        running_VA = _running_VA(load, inverter, notes)
    except Refusal as why:
        return Missing(f"word on '{load.name}'", ("loads.current_A", "loads.power_W"), str(why))
    # A plate rounds its watts and amps each by itself; no load takes more watts than volt-amperes.
    running_W = min(load.power_W or running_VA * _power_factor(load, notes), running_VA)
    start_VA = _start_VA(load, inverter, running_VA, notes)
    running, starting = power_factors(load, running_W / running_VA)
    start_s = usual_start_s(load, notes)
    return Demand(load.name, running_VA, running_W, start_VA, start_s, running, starting, tuple(dict.fromkeys(notes)))


def demands_on(inverter: Inverter, loads: Iterable[Load]) -> tuple[tuple[Demand, ...], tuple[Missing, ...]]:
    """Return what those of some loads that hang on an inverter ask of it, and those whose plates say too little."""
    demands = [demand(load, inverter) for load in loads if load.inverter == inverter.name]
    known = tuple(each for each in demands if isinstance(each, Demand))
    return known, tuple(each for each in demands if isinstance(each, Missing))


def _running_VA(load: Load, inverter: Inverter, notes: list[str]) -> float:
    volts = load.voltage_V or inverter.output_V
    # Amps first: an inverter is limited by them, and watts say nothing of them without a power factor.
    if load.current_A is not None:
        return volts * load.current_A * _phases(load)
    if load.power_W is not None:
        return load.power_W / _power_factor(load, notes)
    if load.hp is None:
        raise Refusal("its plate gives neither watts, amps nor horsepower")
    if load.phases == 3:
        raise Refusal("horsepower alone is not enough for three phases")
    notes.append(f"The amps of '{load.name}' are from {FULL_LOAD_SOURCE}, a sizing value on the safe side.")
    return volts * full_load_A(load.hp, volts)


def _power_factor(load: Load, notes: list[str]) -> float:
    if load.power_factor is not None:
        return load.power_factor
    usual = USUAL_POWER_FACTORS[load.kind]
    if usual.low < usual.high:
        notes.append(f"The power factor of '{load.name}' is not given; {usual.value:g} was taken ({usual.source}).")
    return usual.value


def power_factors(load: Load, reckoned: float | None = None) -> tuple[Within, Within]:
    """Return the power factors of running and of starting [1].

    `reckoned` is that of the running watts and volt-amperes, where these were worked out already. [1]
    """
    usual = USUAL_POWER_FACTORS[load.kind]
    # Plate watts beside plate amps state a power factor as well as the key does.
    stated = load.power_factor
    if stated is None and load.power_W is not None and load.current_A is not None:
        stated = reckoned
    value = reckoned or stated or usual.value
    running = Within(value, usual.low, usual.high) if stated is None else Within.exactly(value)
    if load.kind not in TURNING:
        return running, running
    # A start begins with the factor of a motor that stands and ends with that of one that runs.
    still = STANDSTILL_POWER_FACTOR
    return running, Within(still.value, min(still.low, running.low), max(still.high, running.high))


def _start_VA(load: Load, inverter: Inverter, running_VA: float, notes: list[str]) -> Within:
    # The amps before it turns are the surest, then the letter on the plate, which stands for a range of kVA.
    volts = load.voltage_V or inverter.output_V
    if load.locked_rotor_A is not None:
        return Within.exactly(volts * load.locked_rotor_A * _phases(load))
    if load.code_letter is not None and load.hp is not None:
        amps = locked_rotor(load.code_letter, load.hp, volts, load.phases)
        notes.append(f"The start of '{load.name}' is by its code letter {load.code_letter} ({CODE_LETTER_SOURCE}).")
        low_VA = volts * amps.low_A * _phases(load)
        if amps.high_A is None:
            notes.append(f"Letter {load.code_letter} has no upper end; twice its lower end was taken (no source).")
        high_VA = 2 * low_VA if amps.high_A is None else volts * amps.high_A * _phases(load)
        return Within((low_VA + high_VA) / 2, low_VA, high_VA)
    if load.kind not in TURNING:
        notes.append(f"'{load.name}' was taken to draw no more at its start than while it runs.")
        return Within.exactly(running_VA)
    notes.append(
        f"What '{load.name}' draws before it turns is not given; {USUAL_START.low:g} to {USUAL_START.high:g} times its "
        "running draw was assumed (usual for pumps and compressors; add locked_rotor_A or code_letter)."
    )
    return USUAL_START.scaled(running_VA)


def usual_start_s(load: Load, notes: list[str]) -> float:
    """Return how long a load's start lasts, the usual time where the site file says none, which is then said [s]."""
    if load.start_s is not None or load.kind not in TURNING:
        return load.start_s or 0.0
    notes.append(
        f"How long '{load.name}' takes to start is not given; {USUAL_START_S:g} s was assumed (common practice, no "
        "source; no standard says; add start_s)."
    )
    return USUAL_START_S


def _phases(load: Load) -> float:
    return sqrt(3) if load.phases == 3 else 1.0
