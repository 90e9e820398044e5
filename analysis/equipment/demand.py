"""What a load asks of its inverter while it runs and while it starts, in volt-amperes, with how sure that is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, sqrt

from ..not_known import Missing, Refusal
from ..site.motor_kinds import (
    DRIVE_EFFICIENCY,
    DRIVE_POWER_FACTOR,
    RAMP_S,
    TURNING,
    UsualRange,
    feeds_drive,
    motor_of,
    turns,
    usual_start_s,
)
from ..site.motor_tables import CODE_LETTER_SOURCE, full_load_A, full_load_source, locked_rotor
from ..site.tables import Inverter, Load, StartKind
from ..stats.interval95 import Within
from .modified_wave import more_amps, more_watts
from .motor_start import on_modified, soft_start
from .plate_power import usual_power_factor


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
    running : Within
        While it runs. [VA]
    running_W : float
        The same in watts. [W]
    start_VA : Within
        While it starts; the ends are those of its code letter or of what is usual. The same as running for a load
        that does not turn, and behind a drive. [VA]
    start_s : float
        How long the start lasts. [s]
    power_factor, start_power_factor : Within
        Watts over volt-amperes while it runs, and while it starts: from standing still until it runs. [1]
    standstill : UsualRange
        Watts over volt-amperes of a motor that stands still, as it is started. [1]
    start : {'direct', 'soft', 'drive'} or None
        How it is started, as far as that is said.
    phases : int
        How many it needs: one where a drive stands between.
    """

    load: str
    running: Within
    running_W: float
    start_VA: Within
    start_s: float
    power_factor: Within
    start_power_factor: Within
    standstill: UsualRange
    start: StartKind | None
    phases: int
    assumptions: tuple[str, ...]

    @property
    def running_VA(self) -> float:
        """What it asks while it runs [VA]."""
        return self.running.value

    @property
    def at_start(self) -> str:
        """When it starts, as it stands in a sentence; of a motor ``with 'pump' starting (locked-rotor)``."""
        return _starting(self.load, self.start, is_motor=self.extra_VA.high > 0)

    @property
    def watts_of_start(self) -> str:
        """Say which part of a start's volt-amperes are watts; empty where it asks no more than running."""
        factor = self.standstill
        if not self.extra_VA.high > 0:
            return ""
        return (
            f"Of a start's volt-amperes {factor.low:.2g} to {factor.high:.2g} are watts: "
            f"the power factor of a motor that stands still ({factor.source})."
        )

    @property
    def extra_VA(self) -> Within:
        """What the start adds to the running draw [VA]."""
        return self.start_VA.map(lambda x: max(x - self.running_VA, 0.0))

    def start_W(self, most_VA: float = inf) -> Within:
        """Return the watts of the start, never less than while it runs; of no more volt-amperes than `most_VA` [W]."""
        if not self.extra_VA.high > 0:
            return Within.exactly(self.running_W)
        VA, factor = self.start_VA.map(lambda x: min(x, most_VA)), self.standstill
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


def starting(load: Load) -> str:
    """Return when a load starts, as it stands in a sentence, with the trade's term where it is a motor's."""
    return _starting(load.name, load.start, is_motor=load.kind in TURNING)


def _starting(load: str, start: StartKind | None, *, is_motor: bool) -> str:
    # A soft starter's motor does not get its whole voltage while it stands.
    how = " softly" if start == "soft" else " on its drive" if start == "drive" else " (locked-rotor)"
    return f"with '{load}' starting{how if is_motor else ''}"


def va_of_watts(load: Load) -> str:
    """Say how volt-amperes come from watts that were seen."""
    still = motor_of(load).standstill
    at_start = f"; at a start {still.low:g} to {still.high:g} ({still.source}), within what the plate allows"
    return (
        "Volt-amperes of what was seen are its watts over the power factor: the plate's, else the usual one of its "
        f"kind{at_start if turns(load) else ''}."
    )


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
        plate_VA = _running_VA(load, inverter, notes)
    except Refusal as why:
        return Missing(f"word on '{load.name}'", ("loads.current_A", "loads.power_W"), str(why))
    # A plate rounds its watts and amps each by itself; no load takes more watts than volt-amperes.
    plate_W = min(load.power_W or plate_VA * _power_factor(load, notes), plate_VA)
    running, running_W = _at_inverter(load, inverter, plate_VA, plate_W, notes)
    running_factor, starting_factor = power_factors(load, running_W / running.value)
    start_VA, still = _start_VA(load, inverter, plate_VA, running.value, notes), motor_of(load).standstill
    if load.start == "soft" and turns(load):
        start_VA, still = soft_start(load, plate_VA, start_VA, notes)
        starting_factor = Within(still.value, min(still.low, running_factor.low), max(still.high, running_factor.high))
    return Demand(
        load.name,
        running,
        running_W,
        start_VA,
        usual_start_s(load, notes),
        running_factor,
        starting_factor,
        still,
        load.start,
        1 if load.start == "drive" else load.phases,
        tuple(dict.fromkeys(notes)),
    )


def _at_inverter(
    load: Load, inverter: Inverter, plate_VA: float, plate_W: float, notes: list[str]
) -> tuple[Within, float]:
    """Return what the inverter gives for what a plate says: through a drive, and on a wave that is no sine."""
    if feeds_drive(load):
        watts = plate_W / DRIVE_EFFICIENCY.value
        notes.append(
            f"The plate of '{load.name}' is taken to be its motor's; its drive takes "
            f"{100 / DRIVE_EFFICIENCY.high - 100:.0f} to {100 / DRIVE_EFFICIENCY.low - 100:.0f} % more watts "
            f"({DRIVE_EFFICIENCY.source}) at a power factor of {DRIVE_POWER_FACTOR.low:g} to "
            f"{DRIVE_POWER_FACTOR.high:g} ({DRIVE_POWER_FACTOR.source})."
        )
        return apparent_VA(watts, DRIVE_POWER_FACTOR.within), watts
    if load.start == "drive" and load.kind in TURNING:
        notes.append(f"The plate of '{load.name}' is taken to be of what goes into its drive.")
        by_watts = load.current_A is None and load.power_factor is None
        return apparent_VA(plate_W, DRIVE_POWER_FACTOR.within) if by_watts else Within.exactly(plate_VA), plate_W
    if inverter.waveform != "modified" or not turns(load):
        return Within.exactly(plate_VA), plate_W
    times = motor_of(load).start.within
    notes.append(f"On the modified sine of '{inverter.name}' {on_modified(load)}.")
    return more_amps(times, load.phases).scaled(plate_VA), plate_W * more_watts(times, load.phases).value


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
    source = full_load_source(load.phases)
    notes.append(f"The amps of '{load.name}' are from {source}, a sizing value on the safe side.")
    return volts * full_load_A(load.hp, volts, load.phases) * _phases(load)


def _power_factor(load: Load, notes: list[str]) -> float:
    if load.power_factor is not None:
        return load.power_factor
    usual = usual_power_factor(load)
    if usual.low < usual.high:
        notes.append(f"The power factor of '{load.name}' is not given; {usual.value:g} was taken ({usual.source}).")
    return usual.value


def power_factors(load: Load, reckoned: float | None = None) -> tuple[Within, Within]:
    """Return the power factors of running and of starting [1].

    `reckoned` is that of the running watts and volt-amperes, where these were worked out already. [1]
    """
    if feeds_drive(load):
        return DRIVE_POWER_FACTOR.within, DRIVE_POWER_FACTOR.within
    usual = usual_power_factor(load)
    # Plate watts beside plate amps state a power factor as well as the key does.
    stated = load.power_factor
    if stated is None and load.power_W is not None and load.current_A is not None:
        stated = reckoned
    value = reckoned or stated or usual.value
    running = Within(value, min(usual.low, value), max(usual.high, value)) if stated is None else Within.exactly(value)
    if not turns(load):
        return running, running
    # A start begins with the factor of a motor that stands and ends with that of one that runs.
    still = motor_of(load).standstill
    return running, Within(still.value, min(still.low, running.low), max(still.high, running.high))


def _start_VA(load: Load, inverter: Inverter, plate_VA: float, running_VA: float, notes: list[str]) -> Within:
    """Return what a load asks while it starts, of a motor with its whole voltage at once [VA]."""
    if not turns(load):
        on_drive = f"no more than running by its drive, which brings it up in a ramp ({RAMP_S.source})"
        asks = on_drive if load.kind in TURNING else "no more at its start than while it runs"
        notes.append(f"'{load.name}' was taken to draw {asks}.")
        return Within.exactly(running_VA)
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
    usual = motor_of(load).start
    notes.append(
        f"What '{load.name}' draws before it turns is not given; {usual.low:g} to {usual.high:g} times its running "
        f"draw was assumed ({usual.source}; add locked_rotor_A or code_letter)."
    )
    return usual.within.scaled(plate_VA)


def _phases(load: Load) -> float:
    return sqrt(3) if load.phases == 3 else 1.0
