"""See which registers change while a load is switched: all that a device gives are read again and again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from types import TracebackType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..live.address import Address
from ..live.source import Clock
from ..profiles.modbus_part import SIZES, RegisterTable
from .alike import AlikeUnits
from .checked_reads import ModbusFault, ModbusLine
from .extent import Extent, RefusedRegisters, extent_of
from .likely import RegisterMeaning, as_type, meanings
from .probe import UNITS, line_to, units_tried
from .registers import Registers

#: Before this nothing is switched: what changes meanwhile, changes by itself. Common practice, no source. [s]
REST_S: Final = 3.0
#: How much more than by itself a register must move to have been moved by the load. Common practice, no source.
_TIMES_ITSELF = 3.0
#: So many different states of a device are remembered; the first one always. It bounds the memory.
_MOST_STATES = 10_000

#: Registers at one moment, by unit, table and address on the wire.
Look = dict[tuple[int, RegisterTable, int], int]


@dataclass(frozen=True)
class Change:
    """A register, or two that are one number, that changed while it was watched.

    ``raw`` holds of each register what it began and ended with; ``meanings`` how it may be read, the likelier first,
    each with the first value, the last one, the lowest and the highest, unrounded. ``by_itself`` where it changed as
    much before anything was switched; ``moved_now`` where it did in the last step.
    """

    unit: int
    table: RegisterTable
    address: int
    raw: tuple[tuple[int, int], ...]
    by_itself: bool
    moved_now: bool
    meanings: tuple[RegisterMeaning, ...]


@dataclass
class WatchedDevice:
    """One device on the bus: the unit ids that reach it, what it gives and refuses, and its states so far."""

    units: list[int]
    extent: Extent
    line: ModbusLine
    alike: AlikeUnits
    states: list[NDArray[np.uint16]] = field(default_factory=list)
    resting: int = 0
    places: list[tuple[RegisterTable, int]] = field(default_factory=list)
    trouble: str = ""

    @property
    def refused(self) -> Sequence[RefusedRegisters]:
        """What it does not give."""
        return self.extent.refused

    def from_start(self, k: int) -> int:
        """Return how far the register at place `k` stands behind the first one of its block."""
        table, at = self.places[k]
        return at - max(block.address for block in self.extent.blocks if block.table == table and block.address <= at)

    def see(self, registers: Registers, *, at_rest: bool) -> bool:
        """Take a reading of all registers; return whether it differs from the one before."""
        self.places = self.places or list(registers)
        state = np.array([registers.get(place, 0) for place in self.places], dtype=np.uint16)
        if is_new := not self.states or not np.array_equal(state, self.states[-1]):
            self.states.append(state)
            if len(self.states) > _MOST_STATES:
                del self.states[_MOST_STATES // 2]
        if at_rest:
            self.resting = len(self.states)
        return is_new


class Watch:
    """Watches the devices of a bus, step by step; what it has seen can be asked for at any time.

    Made by `watch`. Whoever calls `step` decides the pace; `rest_is_over` tells that from now on a load is switched.
    """

    def __init__(self, devices: Sequence[WatchedDevice], members: dict[int, ModbusLine]) -> None:
        self.devices = list(devices)
        self._members = members
        self._at_rest = True
        self._moved: set[int] = set()

    def step(self) -> bool:
        """Read every device once; return whether anything differs from the step before.

        A device that does not answer just now keeps what was seen (its ``trouble`` says so); `SourceLost` if the
        connection is gone.
        """
        self._moved = {k for k, device in enumerate(self.devices) if self._see(device)}
        for device in list(self.devices):
            self._part_from(device)
        return bool(self._moved)

    def look(self) -> Look:
        """Return all registers as they were at the last step."""
        return {
            (device.units[0], *place): int(word)
            for device in self.devices
            if device.states
            for place, word in zip(device.places, device.states[-1], strict=True)
        }

    def rest_is_over(self) -> None:
        """Tell it that a load is switched from now on."""
        self._at_rest = False

    def changes(self) -> list[Change]:
        """Return what has changed: first what moves with the load, in the order of unit and address."""
        every = [change for k, device in enumerate(self.devices) for change in _changes(device, k in self._moved)]
        return sorted(every, key=lambda each: each.by_itself)

    def begin_anew(self) -> None:
        """Forget what was seen: from now on everything is at rest again."""
        for device in self.devices:
            device.states.clear()
            device.resting = 0
        self._at_rest, self._moved = True, set()

    def reopen(self) -> None:
        """Open the connection again after `close`; what a device gives is known already. `SourceLost` as `watch`."""
        for line in self._members.values():
            line.open()

    def close(self) -> None:
        """Close the connection; never raises."""
        for line in self._members.values():
            line.close()

    def __enter__(self) -> Watch:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def _see(self, device: WatchedDevice) -> bool:
        try:
            registers = device.extent.read(device.line)
        except ModbusFault as fault:
            device.trouble = str(fault)
            return False
        device.trouble = ""
        device.alike.see(registers)
        return device.see(registers, at_rest=self._at_rest)

    def _part_from(self, device: WatchedDevice) -> None:
        """Look whether a unit that answered alike still does; one that no longer does is a device by itself."""
        unit = device.alike.next_unit()
        if unit is None:
            return
        try:
            parted = device.alike.differs(unit, device.extent.read(self._members[unit]))
        except ModbusFault:
            return
        if parted:
            device.units.remove(unit)
            self.devices.append(WatchedDevice([unit], device.extent, self._members[unit], AlikeUnits()))


def watch(
    address: Address,
    clock: Clock,
    *,
    units: Sequence[int] = UNITS,
    registers: tuple[int, int] | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> Watch:
    """Look for the devices of a bus and what they give, and return them to be watched, with the connection open.

    Parameters
    ----------
    address : Address
        As `probe` takes it. A ``unit`` in it is the only one tried.
    registers : tuple of int, optional
        First and last register, as on the wire; without it all that can be found in some seconds.
    tell : callable
        Told in a few words what is being done.

    Raises
    ------
    InputError
        If the address or registers are none, the port cannot be opened, or no unit answers with registers.
    SourceLost
        If there is no connection, or it breaks.
    """
    tried = units_tried(address, clock, units)
    bus = line_to(address, clock, tried[0])
    members: dict[int, ModbusLine] = {}
    devices: list[WatchedDevice] = []
    try:
        for unit in tried:
            tell(f"trying unit {unit}")
            line = members[unit] = bus.beside(unit)
            line.open()
            if line.anyone_there() and not _joins(devices, line):
                extent = extent_of(line, registers=registers, tell=tell)
                devices.append(WatchedDevice([unit], extent, line, AlikeUnits()))
        if not any(device.extent.blocks for device in devices):
            raise InputError(_nothing(address, tried, devices))
    except BaseException:
        Watch(devices, members).close()
        raise
    return Watch(devices, members)


def _joins(devices: Sequence[WatchedDevice], line: ModbusLine) -> bool:
    """Tell whether a unit answers as a device does that is known already; it is one of that device's from then on."""
    for device in devices:
        if device.extent.blocks and device.alike.joins(device.extent, device.line, line):
            device.units.append(line.unit)
            return True
    return False


def _nothing(address: Address, tried: Sequence[int], devices: Sequence[WatchedDevice]) -> str:
    which = f"unit {tried[0]}" if len(tried) == 1 else f"units {tried[0]} to {tried[-1]}"
    if not devices:
        return f"{address.place}: nothing answers as {which}; check wiring, baud and parity, or try other --units"
    reasons = "; ".join(str(refused) for refused in devices[0].refused[:3])
    return f"{address.place}: {which} gives no registers ({reasons}); name some with --registers FIRST-LAST"


def _changes(device: WatchedDevice, moved_now: bool) -> list[Change]:
    if len(device.states) < 2:
        return []
    states = np.stack(device.states)
    moved = np.flatnonzero((states != states[0]).any(axis=0))
    changes: list[Change] = []
    after = -1
    for k in map(int, moved):
        if k <= after:
            continue
        first, read = _read(device, states, k, after)
        after = first + SIZES[read[0].type] - 1
        words = states[:, first : after + 1]
        raw = tuple((int(before), int(now)) for before, now in zip(words[0], words[-1], strict=True))
        now = moved_now and bool((words[-1] != words[-2]).any())
        by_itself = _by_itself(words[: device.resting], words, read[0])
        changes.append(Change(device.units[0], *device.places[first], raw, by_itself, now, tuple(read)))
    return changes


def _read(device: WatchedDevice, states: NDArray[np.uint16], k: int, after: int) -> tuple[int, list[RegisterMeaning]]:
    """Return where the number begins that a changed register belongs to, and how it may be read."""
    # Its first word may be the one before, which need not have changed; floats begin at an even distance from the first
    # register of their block as a rule.
    pairs = [first for first in (k, k - 1) if first > after and _are_neighbours(device, first)]
    pairs.sort(key=lambda first: device.from_start(first) % 2)
    for first in pairs:
        if floats := [each for each in meanings(states[:, first : first + 2]) if each.type == "float32"]:
            return first, floats
    # A whole number of two registers and two numbers side by side can look the same: both are told.
    wider = meanings(states[:, k : k + 2]) if k in pairs else []
    return k, [*meanings(states[:, k : k + 1]), *wider]


def _are_neighbours(device: WatchedDevice, first: int) -> bool:
    if not 0 <= first < len(device.places) - 1:
        return False
    table, at = device.places[first]
    return device.places[first + 1] == (table, at + 1)


def _by_itself(at_rest: NDArray[np.uint16], words: NDArray[np.uint16], meaning: RegisterMeaning) -> bool:
    """Tell whether a number moved about as far at once before anything was switched as ever since."""
    # By its largest step, not by its range: a clock comes far in time, and no load has moved it.
    own, largest = (_largest_step(as_type(each, meaning.type, meaning.word_order)) for each in (at_rest, words))
    return own > 0 and largest < _TIMES_ITSELF * own


def _largest_step(values: NDArray[np.float64]) -> float:
    return float(np.abs(np.diff(values)).max(initial=0.0))
