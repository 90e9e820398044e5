"""Unit ids that answer alike: one device that hears to them all, as long as nothing shows that they are two."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import chain

from .checked_reads import ModbusFault, ModbusLine
from .extent import Extent
from .registers import Registers

#: How often both are read, in turn, before they are held to be one.
_ROUNDS = 3
#: A unit is read after every so many readings of its device: it may cost little beside them.
_EVERY = 3


class AlikeUnits:
    """The unit ids that answered as one device does, each read again from time to time.

    Two idle meters of one kind may answer alike until the load of one is switched. A register may change between two
    readings, hence ranges are compared and not values: they are two where, of any register, all that one gave lies
    apart from all that the other gave in the same time.
    """

    def __init__(self) -> None:
        self._own: deque[Registers] = deque(maxlen=1)
        self._theirs: dict[int, deque[Registers]] = {}
        self._turns: deque[int] = deque()
        self._steps = 0

    def joins(self, extent: Extent, own: ModbusLine, other: ModbusLine) -> bool:
        """Read a device and another unit in turn; return whether they answer alike, and remember the unit if so."""
        mine, theirs = [], []
        try:
            for _ in range(_ROUNDS):
                mine.append(extent.read(own))
                theirs.append(extent.read(other))
            mine.append(extent.read(own))
        except ModbusFault:  # it refuses what the device gives
            return False
        if _lie_apart(mine, theirs):
            return False
        self._theirs[other.unit] = deque(maxlen=_ROUNDS)
        self._turns.append(other.unit)
        # Of the device as many readings are kept as go by until every unit was read so often.
        self._own = deque(maxlen=_EVERY * _ROUNDS * len(self._turns) + 1)
        return True

    def see(self, registers: Registers) -> None:
        """Take a reading of the device."""
        self._own.append(registers)
        self._steps += 1

    def next_unit(self) -> int | None:
        """Return the unit that is to be read now, None where none is."""
        if not self._turns or self._steps % _EVERY:
            return None
        self._turns.rotate(-1)
        return self._turns[-1]

    def differs(self, unit: int, registers: Registers) -> bool:
        """Take a reading of a unit; return whether it is a device by itself, which is then no longer looked at here."""
        theirs = self._theirs[unit]
        theirs.append(registers)
        # As many of its own as of the device, or a lone odd one would part what belongs together.
        if len(theirs) < _ROUNDS or not _lie_apart(list(self._own), list(theirs)):
            return False
        self._turns.remove(unit)
        return True


def _lie_apart(one: Sequence[Registers], other: Sequence[Registers]) -> bool:
    """Tell whether any register's values of the one all lie below, or above, all of the other's."""
    places = set(chain.from_iterable(one))
    for place in places:
        mine = [registers[place] for registers in one if place in registers]
        theirs = [registers[place] for registers in other if place in registers]
        if mine and theirs and (max(mine) < min(theirs) or max(theirs) < min(mine)):
            return True
    return False
