"""Changes of a system as data, and the site that each makes of another.

A change that nothing is known about is a `Missing` with the key that would let it be judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite
from typing import Any, Final, Protocol, TypeVar

from ..bank.state_of_charge import Start, start_of
from ..not_known import Missing
from ..site.site import Site
from ..site.tables import Bank, Chemistry, Inverter, Load, Waveform
from ..site.unit_tables import ShownTable
from ..site.units import KPA_PER_PSI, L_PER_GAL
from ..site.water import Water

OfSite = TypeVar("OfSite", bound=ShownTable)

#: What another kind of cell makes of a bank that the keys of the old kind no longer say.
_OF_THE_KIND: Final = (
    "peukert_exponent", "charge_efficiency_pct", "charging_V", "resistance_mohm", "cut_off_V", "max_discharge_A",
    "max_discharge_s", "max_charge_A", "batteries", "battery_V", "strings", "cycle_life", "throughput_kWh", "price",
    "currency", "rested_V",
)  # fmt: skip


@dataclass(frozen=True)
class Setup:
    """A site, the load that is asked about, and what that takes in a day at the bank; None if not known. [Wh]"""

    site: Site
    load: Load
    day_Wh: float | None = None

    def of(self, **tables: object) -> Setup:
        """Return the same with tables of the site in place of others."""
        site = self.site.model_copy(update=tables)
        return replace(self, site=site, load=site.load(self.load.name))

    def with_load(self, **keys: object) -> Setup:
        """Return the same with other values under some keys of the load."""
        new = self.load.model_copy(update=keys)
        return self.of(loads=tuple(new if each is self.load else each for each in self.site.loads))


class SystemChange(Protocol):
    """One change: `text` is how it was asked for."""

    @property
    def text(self) -> str:
        """The change as it was asked for: ``tank 300 L``."""

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with the change made, or why nothing can be said of it."""


def make(changes: Sequence[SystemChange], setup: Setup) -> tuple[Setup, tuple[Missing, ...]]:
    """Make changes one after another; those of which nothing is known are left out and returned."""
    left_out: list[Missing] = []
    for change in changes:
        changed = change.made_in(setup)
        if isinstance(changed, Missing):
            left_out.append(changed)
        else:
            setup = changed
    return setup, tuple(left_out)


@dataclass(frozen=True)
class TankChange:
    """Another pressure tank. [L]"""

    text: str
    volume_L: float

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that tank."""
        return _with_water(setup, "another tank", (("tank_volume_L", "tank_volume_gal"), L_PER_GAL, self.volume_L))


@dataclass(frozen=True)
class PrechargeChange:
    """Another air pressure in the empty tank: pre-charge. [kPa]"""

    text: str
    air_kPa: float

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that air in the tank."""
        return _with_water(setup, "another pre-charge", (("precharge_kPa", "precharge_psi"), KPA_PER_PSI, self.air_kPa))


@dataclass(frozen=True)
class PressureChange:
    """Other pressures at which the pump starts and stops. [kPa]"""

    text: str
    cut_in_kPa: float
    cut_out_kPa: float

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with those pressures; the air in the tank stays what it is."""
        return _with_water(
            setup,
            "other pressures",
            (("cut_in_kPa", "cut_in_psi"), KPA_PER_PSI, self.cut_in_kPa),
            (("cut_out_kPa", "cut_out_psi"), KPA_PER_PSI, self.cut_out_kPa),
        )


@dataclass(frozen=True)
class InverterChange:
    """Another inverter; what is not said of its losses is taken to be as of the one that is there. [W], [VA], [s], [%]

    `efficiency_pct` is without its idle draw.
    """

    text: str
    continuous_W: float | None = None
    continuous_VA: float | None = None
    surge_W: float | None = None
    surge_VA: float | None = None
    surge_s: float | None = None
    efficiency_pct: float | None = None
    idle_W: float | None = None
    waveform: Waveform | None = None

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that inverter in the place of the load's."""
        old = setup.site.inverter_of(setup.load)
        if old is None:
            because = f"'{setup.load.name}' hangs on no inverter"
            return Missing("word on another inverter", ("loads.inverter",), because)
        ratings = ("continuous_W", "continuous_VA", "surge_W", "surge_VA", "surge_s")
        wave = {} if self.waveform is None else {"waveform": self.waveform}
        new = old.model_copy(update={key: getattr(self, key) for key in ratings} | self._losses(old) | wave)
        return setup.of(inverters=tuple(new if each is old else each for each in setup.site.inverters))

    def _losses(self, old: Inverter) -> dict[str, Any]:
        """Return the keys of its losses: what was measured of the old one goes where the new one's are stated."""
        idle_W = old.standby_W if self.idle_W is None else self.idle_W
        if self.efficiency_pct is not None:
            stated = {"efficiency_pct": self.efficiency_pct, "efficiency_curve": None, "loss_model": None}
            return stated | {"idle_W": idle_W}
        if old.loss_model is not None:
            return {"loss_model": old.loss_model.model_copy(update={"idle_W": idle_W})}
        return {"idle_W": idle_W}


@dataclass(frozen=True)
class BankChange:
    """Another size of bank, so many strings of those that are there, or another kind of cells. [Ah]"""

    text: str
    capacity_Ah: float | None = None
    strings: int | None = None
    chemistry: Chemistry | None = None

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that bank."""
        bank = setup.site.bank
        update: dict[str, Any] = {}
        # Cells of another kind have nothing of the old ones but their nominal voltage and place.
        if self.chemistry is not None and self.chemistry != bank.chemistry:
            update = dict.fromkeys(_OF_THE_KIND) | {"chemistry": self.chemistry, "start_state_pct": _state_pct(bank)}
        if self.strings is not None:
            if bank.strings is None:
                return Missing("word on another number of strings", ("bank.strings",))
            update |= _times(bank, self.strings / bank.strings) | {"strings": self.strings}
        elif self.capacity_Ah is not None:
            # Batteries of which nothing is known but their charge: they cost what they cost, and let through no more
            # than the file says, a smaller bank less.
            size = self.capacity_Ah / bank.capacity_Ah
            of_like = {} if "chemistry" in update else _times(bank, min(size, 1.0)) | _like_cells(bank, size)
            update |= of_like | {"capacity_Ah": self.capacity_Ah, "strings": None, "batteries": None}
            update |= {} if size == 1 else {"price": None, "currency": None}
        return setup.of(bank=bank.model_copy(update=update))


@dataclass(frozen=True)
class ArrayChange:
    """Another array. [W]"""

    text: str
    power_W: float

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that array under the same sun."""
        # The same sun, losses and controller: what a watt of it brings stays what it is.
        array = setup.site.array
        if array is None:
            return Missing("word on another array", ("array",), "the site file has none, nor the sun that it gets")
        amps = None if array.current_A is None else array.current_A * self.power_W / array.power_W
        return setup.of(array=array.model_copy(update={"power_W": self.power_W, "current_A": amps}))


@dataclass(frozen=True)
class UseChange:
    """Another use: water or running time a day. [L/d], [s/d]"""

    text: str
    water_L: float | None = None
    run_s: float | None = None

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with the load running as much of the day as that takes."""
        run_s = self.run_s
        # Water becomes running time by the pump's flow, and time the share of a day that plate and log both know.
        if run_s is None:
            flow = None if setup.site.water is None else setup.site.water.pump_L_per_min
            water = _water(setup, "another use")
            if isinstance(water, Missing):
                return water
            if flow is None:
                return Missing("word on another use", ("water.flow_L_per_min", "water.flow_gal_per_min"))
            run_s = 60 * (self.water_L or 0.0) / flow
        if not (isfinite(run_s) and 0 < run_s <= 86400):
            return Missing(
                "word on another use", (), f"that is {run_s / 3600:.3g} h of running a day, more than it has"
            )
        return setup.with_load(duty_pct=100 * run_s / 86400)


def _water(setup: Setup, what: str) -> Water | Missing:
    water = setup.site.water
    if water is None or setup.site.load(water.load).name != setup.load.name:
        return Missing(f"word on {what}", ("water",), f"'{setup.load.name}' fills no tank in the site file")
    return water


def _with_water(setup: Setup, what: str, *figures: tuple[tuple[str, str], float, float]) -> Setup | Missing:
    """Return the setup with figures of its tank or switch changed: each its two keys, their factor, and what it is."""
    water = _water(setup, what)
    if isinstance(water, Missing):
        return water
    for keys, factor, value in figures:
        water = _with(water, keys, factor, value)
    return setup.of(water=water)


def _with(table: OfSite, keys: tuple[str, str], factor: float, value: float) -> OfSite:
    """Return a table with a figure under whichever of two keys the file has it: its units are what people are shown."""
    plain, us = keys
    # A pre-charge that the file lacks comes in the unit of its other pressures.
    given = us if getattr(table, us) is not None else plain
    if given == plain and getattr(table, plain) is None and any(each.endswith("_psi") for each in _given(table)):
        given = us
    return table.model_copy(update={plain: None, us: None} | {given: value / factor if given == us else value})


def _given(table: ShownTable) -> list[str]:
    return [key for key in table.model_fields_set if getattr(table, key) is not None]


def _times(bank: Bank, size: float) -> dict[str, Any]:
    """Return what a bank of so many times the strings has: strings beside one another share all that flows."""
    amps = None if bank.max_discharge_A is None else tuple(size * each for each in bank.max_discharge_A)
    most = None if bank.max_charge_A is None else size * bank.max_charge_A
    batteries = None if bank.batteries is None else round(size * bank.batteries)
    price = None if bank.price is None else size * bank.price
    several = {"capacity_Ah": size * bank.capacity_Ah, "max_discharge_A": amps, "max_charge_A": most, "price": price}
    return {**several, "batteries": batteries, **_like_cells(bank, size)}


def _like_cells(bank: Bank, size: float) -> dict[str, Any]:
    """Return what of a bank of like cells goes with its size: resistance the other way (from memory), its energy."""
    return {
        "resistance_mohm": None if bank.resistance_mohm is None else bank.resistance_mohm / size,
        "throughput_kWh": None if bank.throughput_kWh is None else bank.throughput_kWh * size,
    }


def _state_pct(bank: Bank) -> float | None:
    """Return how full a bank is by the file, also where its rested voltage says so, which no other kind has. [%]"""
    start = start_of(bank)
    return start.state_pct.value if isinstance(start, Start) else None
