"""SunSpec devices: meters, inverters and batteries that follow the open information models, over TCP or RTU."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from ..errors import InputError
from ..events import Event, Reading, Refused
from ..live.address import Address
from ..live.source import Cadence, Clock, LiveSource, SourceLost
from ..profiles.modbus_part import Sign, SunSpecPart
from ..profiles.model import Profile
from ..quantities import unit_of
from .checked_reads import MOST_REGISTERS, NO_ANSWER, ModbusFault, ModbusLine, modbus_line
from .connection import check_settings
from .registers import RegisterBlock, join, take
from .sunspec_models import Model, Point, model, value_of

#: "SunS", where it may stand, and the number that ends the chain of models (SunSpec Device Information Model
#: Specification, the chapter on Modbus).
MARKER = [0x5375, 0x6E53]
BASES = (40000, 0, 50000)
END = 0xFFFF
#: A chain longer than this is no chain. No device comes near.
_MOST_MODELS = 250

#: From which points a quantity is taken: of several the first that the device implements.
Takes = dict[str, tuple[str, ...]]
_VOLTS = ("PhV", "PhVphA", "PPV", "PPVphAB", "PhVphAB")
# Of a meter's two energy counters the imported one is what the load took.
_METER: Takes = {
    "current_A": ("A",), "voltage_V": _VOLTS, "power_W": ("W",), "power_factor": ("PF",), "frequency_Hz": ("Hz",),
    "energy_Wh": ("TotWhImp",),
}  # fmt: skip
_INVERTER: Takes = {
    "current_A": ("A",), "voltage_V": _VOLTS, "power_W": ("W",), "power_factor": ("PF",), "frequency_Hz": ("Hz",),
    "energy_Wh": ("WH",), "temperature_degC": ("TmpCab",),
}  # fmt: skip
_INVERTER_DC: Takes = {
    "current_A": ("DCA",),
    "voltage_V": ("DCV",),
    "power_W": ("DCW",),
    "temperature_degC": ("TmpCab",),
}
_BATTERY: Takes = {"current_A": ("A",), "voltage_V": ("V",), "power_W": ("W",), "state_of_charge_pct": ("SoC",)}

#: Readable models: by side, what is taken from which points.
READABLE: dict[int, dict[str, Takes]] = {
    **{number: {"ac": _METER} for number in (201, 202, 203, 204, 211, 212, 213, 214)},
    **{number: {"ac": _INVERTER, "dc": _INVERTER_DC} for number in (101, 102, 103, 111, 112, 113)},
    802: {"dc": _BATTERY},
}
#: The model that leaves open which way a positive current flows.
NO_SIGN = 802
#: The models' units in the words of `quantities`.
_UNITS = {"Pct": "%", "PF": "1", "%WHRtg": "%", "C": "degC"}


@dataclass(frozen=True)
class DeviceModel:
    """A model in a device: its number, the wire address of its number, and the registers after its length."""

    number: int
    address: int
    length: int


class NoSunSpecError(Exception):
    """The device answers, but has no marker where one may stand."""


def find_models(line: ModbusLine) -> list[DeviceModel]:
    """Return a device's chain of models; `NoSunSpecError` if there is no marker, `ModbusFault` if there is silence."""
    # A device may keep silent where it has no registers: that is told only if no place at all has the marker.
    silence: ModbusFault | None = None
    for base in BASES:
        try:
            if line.read_registers("holding", base, len(MARKER)) == MARKER:
                return _walk(line, base + len(MARKER))
        except ModbusFault as fault:
            silence = fault if fault.kind == NO_ANSWER else silence
    if silence is not None:
        raise silence
    raise NoSunSpecError(
        f"{line.place}, unit {line.unit}: there is no SunSpec marker at register {', '.join(map(str, BASES[:-1]))} or "
        f"{BASES[-1]}; 'shuntbook probe' shows what the device answers, and modbus-tcp: or modbus-rtu: with a profile "
        "reads its registers"
    )


def _walk(line: ModbusLine, at: int) -> list[DeviceModel]:
    models: list[DeviceModel] = []
    while len(models) < _MOST_MODELS and at < 0xFFFE:
        number, length = line.read_registers("holding", at, 2)
        if number in (0, END):  # nought is what some devices give beyond their last register
            return models
        models.append(DeviceModel(number, at, length))
        at += 2 + length
    return models


class SunSpec(LiveSource):
    """One model of a SunSpec device, one poll a reading.

    The model is looked for whenever the source is opened: until then its quantities are all that any model gives. Its
    number and length are read again with every poll, and its scale factors in the same request as the values where that
    holds them.
    """

    cadence: Cadence = "polled"

    def __init__(self, address: Address, line: ModbusLine, part: SunSpecPart, clock: Clock, sampling: str) -> None:
        super().__init__(clock)
        self.sampling = sampling
        self._address, self._line, self._part = address, line, part
        self.side: str = part.side or ("dc" if part.model == NO_SIGN else "ac")
        takes = [of_side for sides in READABLE.values() for of_side in sides.values()]
        self.quantities: Sequence[str] = tuple(dict.fromkeys(quantity for each in takes for quantity in each))
        self._model = Model(0, "", {})
        self._points: dict[str, Point] = {}
        self._requests: list[RegisterBlock] = []
        self._ever_open = False
        if part.model == NO_SIGN:
            self._check_sign()

    def open(self) -> None:
        """Open the port or connection and find the model.

        `InputError` if the device has none that can be read, or a setting is missing that only you can know;
        `SourceLost` if it does not answer.
        """
        self._line.open()
        try:
            self._look()
        except BaseException:
            self._line.close()
            raise
        self._ever_open = True

    def _look(self) -> None:
        try:
            self._choose(find_models(self._line))
        except ModbusFault as fault:
            raise SourceLost(fault.kind, str(fault)) from None
        except (NoSunSpecError, InputError) as error:
            if self._ever_open:  # it may still be starting
                raise SourceLost("no SunSpec", str(error)) from None
            raise InputError(str(error)) from None

    def close(self) -> None:
        """Close it."""
        self._line.close()

    def read(self, timeout_s: float) -> list[Event]:  # noqa: ARG002 - the line's own time-out counts
        """Ask once."""
        try:
            registers, time_us = self._ask(self._requests)
        except ModbusFault as fault:
            return [fault.event(self._clock.now_us())]
        # After a restart or an update a device may lay its models out anew: values read by the old places are others.
        if registers[:2] != [self._place.number, self._place.length]:
            raise SourceLost(
                "model moved", f"{self._address.text}: model {self._place.number} is no longer where it was"
            )
        values = self._values(registers)
        if not values:
            return [Refused(time_us, "no value", "", "the device answered, but gave none of the quantities a value")]
        return [Reading(time_us, values)]

    def _ask(self, spans: Sequence[RegisterBlock]) -> tuple[list[int | None], int]:
        """Return the model from its number on and the middle of the exchanges [us]; what was not asked for is None."""
        registers: list[int | None] = [None] * (self._place.length + 2)
        times_us = []
        for span in spans:
            for (_, address), word in take(self._line, span).items():
                registers[address - self._place.address] = word
            times_us += [self._line.asked_us, self._line.answered_us]
        return registers, (times_us[0] + times_us[-1]) // 2

    def _choose(self, models: Sequence[DeviceModel]) -> None:
        wanted = self._part.model
        readable = [each for each in models if each.number in READABLE and wanted in (None, each.number)]
        if not readable:
            listed = ", ".join(str(each.number) for each in models) or "none"
            what = "no model that can be read" if wanted is None else f"no model {wanted} that can be read"
            raise InputError(f"{self._address.text}: the device has {what}; its models are {listed}")
        # An inverter with a meter has both, and which of them is meant only the person knows.
        if wanted is None and len({each.number for each in readable}) > 1:
            listed = ", ".join(str(each.number) for each in readable)
            raise InputError(
                f"{self._address.text}: the device has models {listed}; say which, such as model={readable[0].number}"
            )
        if self._part.nth > len(readable):
            raise InputError(
                f"{self._address.text}: nth={self._part.nth}, but the device has only {len(readable)} such models"
            )
        self._take(readable[self._part.nth - 1])

    def _take(self, place: DeviceModel) -> None:
        """Settle which model and points are read."""
        known = model(place.number)
        assert known is not None  # every readable model is published
        sides = READABLE[place.number]
        first: str = next(iter(sides))
        side = self._part.side or first
        if side not in sides:
            raise InputError(f"{self._address.text}: model {place.number} has no side {side}; leave side out")
        if place.number == NO_SIGN:
            self._check_sign()
        self._place, self._model, self.side = place, known, side
        # Once, all points that may serve: which of them this device fills is known only from what it answers.
        registers, _ = self._ask(join(_spans(place, known, self._candidates(sides[side])), MOST_REGISTERS))
        self._points = self._chosen(sides[side], registers)
        self.quantities = tuple(self._points)
        self._requests = join(_spans(place, known, self._points.values()), MOST_REGISTERS)

    def _candidates(self, takes: Mapping[str, Sequence[str]]) -> list[Point]:
        """Return the points that the device is long enough to have."""
        points = [self._model.points[name] for names in takes.values() for name in names if name in self._model.points]
        return [point for point in points if point.offset + point.size <= self._place.length + 2]

    def _chosen(self, takes: Mapping[str, Sequence[str]], registers: Sequence[int | None]) -> dict[str, Point]:
        """Return for each quantity the first point that has a value now, or that every device must have."""
        chosen = {}
        candidates = {point.name: point for point in self._candidates(takes)}
        for quantity, names in takes.items():
            points = [candidates[name] for name in names if name in candidates]
            has_value = [point for point in points if value_of(point, self._model, registers) is not None]
            # An inverter at night gives no watts yet: what every device must have will be filled in the morning.
            for point in (has_value or [point for point in points if point.mandatory])[:1]:
                chosen[quantity] = point
        return chosen

    def _values(self, registers: Sequence[int | None]) -> dict[str, float]:
        values = {}
        for quantity, point in self._points.items():
            raw = value_of(point, self._model, registers)
            if not isinstance(raw, int | float):
                continue
            value = _in_own_unit(quantity, point, raw)
            if quantity == "power_factor" and abs(value) > 1:
                continue  # some write percent where a number is meant; which it is cannot be known
            values[quantity] = value * self._turn(quantity) + 0.0  # no negative zeros
        return values

    def _turn(self, quantity: str) -> float:
        # Behind an inverter amps are a size without a way; only watts have one.
        signed = ("current_A", "power_W") if self.side == "dc" else ("power_W",)
        return -1.0 if self._part.sign == "return_positive" and quantity in signed else 1.0

    def _check_sign(self) -> None:
        if self._part.sign is None:
            raise InputError(
                f"{self._address.text}: model {NO_SIGN} (battery) does not say whether a positive current flows "
                "out of the battery or into it, and devices differ; add sign=draw_positive if amps are positive while "
                "a load runs and nothing charges, else sign=return_positive"
            )


def _spans(place: DeviceModel, of: Model, points: Iterable[Point]) -> list[RegisterBlock]:
    """Return what must be read for points: they, their scale factors, and the model's number and length."""
    points = list(points)
    factors = [of.points[point.scale] for point in points if isinstance(point.scale, str)]
    spans = [RegisterBlock("holding", place.address + each.offset, each.size) for each in points + factors]
    return [RegisterBlock("holding", place.address, 2), *spans]


def _in_own_unit(quantity: str, point: Point, raw: float) -> float:
    text = _UNITS.get(point.unit or "", point.unit)
    return float(unit_of(quantity, text, column=point.name).to_canonical(np.array(float(raw))))


def sunspec_source(address: Address, profile: Profile | None, clock: Clock) -> SunSpec:
    """Return the source of ``sunspec-tcp:HOST:PORT?unit=1`` or ``sunspec-rtu:PORT?baud=9600``; opens nothing yet.

    `InputError` if the address is wrong, or names model 802 without its sign.
    """
    check_settings(address, "model", "nth", "side", "sign")
    part = _part(address, profile)
    line = modbus_line(address, part, clock)
    return SunSpec(address, line, part, clock, (profile and profile.sampling) or "instant")


def _part(address: Address, profile: Profile | None) -> SunSpecPart:
    """Return the profile's table [sunspec] with what the address says in its place."""
    part = (profile and profile.sunspec) or SunSpecPart()
    side = part.side or (profile.side if profile else None)
    model = address.whole("model", part.model or 0, low=1, high=65534) or None
    if model is not None and model not in READABLE:
        raise InputError(
            f"{address.text}: model {model} is none of those that can be read: {', '.join(map(str, READABLE))}"
        )
    return part.model_copy(
        update={
            "model": model,
            "nth": address.whole("nth", part.nth, low=1, high=_MOST_MODELS),
            "side": address.one_of("side", side, "dc", "ac"),
            "sign": address.one_of("sign", part.sign, *get_args(Sign)),
        }
    )
