"""Which registers a device gives at all: both tables are walked once, and what it refuses is named."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, get_args

from ..errors import InputError
from ..profiles.modbus_part import TABLE_SIZE, RegisterTable
from .checked_reads import EXCEPTION, EXCEPTIONS, MOST_REGISTERS, NO_ANSWER, ModbusFault, ModbusLine
from .registers import RegisterBlock, Registers, take

TABLES: Final[tuple[RegisterTable, ...]] = get_args(RegisterTable)
#: Asked for one by one where nobody says which registers: most devices begin in here. Common practice, no source.
_FIRST = 256
#: Where else a device's registers begin as a rule: at round addresses, decimal or hexadecimal. From memory.
_ROUND: Final = sorted({at for step in (256, 1000) for at in range(0, TABLE_SIZE, step) if at >= _FIRST})
#: What one look may take: so many of a table are eight requests. Common practice, no source.
MOST_OF_A_TABLE = 1000
#: A table that stays silent so often has nothing to give.
_MOST_SILENCES = 4
_ILLEGAL_FUNCTION, _ILLEGAL_VALUE = 1, 3


@dataclass(frozen=True)
class RefusedRegisters:
    """Registers that stand side by side, are on the wire from `first` to `last`, and are not given, with the reason."""

    table: RegisterTable
    first: int
    last: int
    reason: str

    def __str__(self) -> str:
        """Return it as a sentence."""
        if (self.first, self.last) == (0, TABLE_SIZE - 1):
            return f"{self.table} registers refused ({self.reason})"
        which = f"register {self.first}" if self.first == self.last else f"registers {self.first} to {self.last}"
        return f"{self.table} {which} refused ({self.reason})"


@dataclass
class Extent:
    """What a device gives, block by block, and what it refuses; `is_cut` where it gives more than is looked at."""

    blocks: list[RegisterBlock] = field(default_factory=list)
    refused: list[RefusedRegisters] = field(default_factory=list)
    is_cut: bool = False

    def read(self, line: ModbusLine) -> Registers:
        """Return all registers as they are now; raises what `ModbusLine.read_registers` does."""
        return {place: word for block in self.blocks for place, word in take(line, block).items()}


def extent_of(
    line: ModbusLine,
    *,
    registers: tuple[int, int] | None = None,
    tables: Sequence[RegisterTable] = TABLES,
    tell: Callable[[str], None] = lambda _: None,
) -> Extent:
    """Return which registers of the `tables` an open line's unit gives.

    Without `registers`, the first and last on the wire, it is the first 256 of each table and whatever follows a round
    address that is given, up to `MOST_OF_A_TABLE` of a table. `SourceLost` if the connection breaks, `InputError` if
    the registers are none.
    """
    if registers is not None and not 0 <= registers[0] <= registers[1] < TABLE_SIZE:
        raise InputError(
            f"registers must be FIRST-LAST, both from 0 to {TABLE_SIZE - 1}, not {registers[0]}-{registers[1]}"
        )
    whole = Extent()
    for table in tables:
        walk = _Walk(line, table)
        tell(f"unit {line.unit}: looking for {table} registers")
        if registers is not None:
            walk.through(*registers)
        else:
            walk.all_over()
        whole.blocks += walk.blocks()
        whole.refused += walk.refusals(registers)
        whole.is_cut |= walk.is_cut
    return whole


class _Walk:
    """One table: what was given, what was refused and why."""

    def __init__(self, line: ModbusLine, table: RegisterTable) -> None:
        self._line, self._table = line, table
        self._given: set[int] = set()
        self._reasons: dict[int, str] = {}
        self._silences = 0
        self._most = MOST_REGISTERS
        self._none = ""
        self.is_cut = False

    def through(self, first: int, last: int, *, until_refused: bool = False) -> None:
        """Ask for all registers from `first` to `last`, as many at once as the device gives."""
        # From a refused register on one by one, since most that follow are refused too; from a given one on in steps
        # that double: some two hundred questions for as many absent registers, and eight for a thousand that are there.
        at, size = first, 1 if until_refused else self._most
        while at <= last and not self._none and not self.is_cut:
            size = min(size, self._most, last - at + 1)
            if (reason := self._refusal(at, size)) is None:
                self._given.update(range(at, at + size))
                at, size = at + size, size * 2
                self.is_cut = until_refused and len(self._given) >= MOST_OF_A_TABLE
            elif size > 1:
                size //= 2
            elif until_refused:
                return
            else:
                self._reasons[at] = reason
                at += 1

    def all_over(self) -> None:
        """Ask for the first registers, then at each round address for as many as follow it."""
        self.through(0, _FIRST - 1)
        for at in _ROUND:
            if at not in self._given:
                self.through(at, TABLE_SIZE - 1, until_refused=True)

    def blocks(self) -> list[RegisterBlock]:
        """Return what was given, in requests of a size that the device takes."""
        blocks = []
        for first, last in _runs(self._given):
            for at in range(first, last + 1, self._most):
                blocks.append(RegisterBlock(self._table, at, min(self._most, last + 1 - at)))
        return blocks

    def refusals(self, asked: tuple[int, int] | None) -> list[RefusedRegisters]:
        """Return what was refused; the table as a whole where it gave nothing and says the same everywhere."""
        if self._none:
            return [RefusedRegisters(self._table, *(asked or (0, TABLE_SIZE - 1)), self._none)]
        reasons = sorted(set(self._reasons.values()))
        if not self._given and len(reasons) == 1:
            return [RefusedRegisters(self._table, *(asked or (0, TABLE_SIZE - 1)), reasons[0])]
        of_reason = ((reason, {at for at, why in self._reasons.items() if why == reason}) for reason in reasons)
        refused = [RefusedRegisters(self._table, *run, reason) for reason, at in of_reason for run in _runs(at)]
        return sorted(refused, key=lambda each: each.first)

    def _refusal(self, at: int, size: int) -> str | None:
        """Ask for registers; return why they are not given, None where they are."""
        try:
            self._line.read_registers(self._table, at, size)
        except ModbusFault as fault:
            if fault.kind == EXCEPTION:
                self._heed(fault.code, size)
                return reason_of(fault)
            # A device may keep silent instead of refusing, which takes a time-out each: a table of such is left alone.
            self._silences += 1
            if self._silences >= _MOST_SILENCES and not self._given:
                self._none = reason_of(fault)
            elif self._silences >= _MOST_SILENCES * 4:
                self.is_cut = True
            return reason_of(fault)
        return None

    def _heed(self, code: int, size: int) -> None:
        if code == _ILLEGAL_FUNCTION:
            self._none = EXCEPTIONS[code].split(":")[0]
        # So many at once it does not give, whatever they are.
        if code == _ILLEGAL_VALUE and size > 1:
            self._most = size // 2


def reason_of(fault: ModbusFault) -> str:
    """Return in a few words why registers are not given."""
    if fault.kind == EXCEPTION:
        return EXCEPTIONS.get(fault.code, f"exception {fault.code}").split(":")[0]
    return "no answer" if fault.kind == NO_ANSWER else "no right answer"


def _runs(addresses: set[int]) -> Iterator[tuple[int, int]]:
    """Yield the first and last of each run of neighbours."""
    for at in sorted(addresses):
        if at - 1 not in addresses:
            last = at
            while last + 1 in addresses:
                last += 1
            yield at, last
