"""Values held against what is around them while a file is read: what is damage, and what stops it.

What looks usual is passed at once; the rest goes to the modules that tell.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ...errors import InputError, quoted
from ...quantities import LARGEST_READING

if TYPE_CHECKING:
    from .changes import TakenPlaces

LineOf = Callable[[int], int]
#: What is integrated, and what it is held against.
_AMOUNTS: Final = ("current_A", "voltage_V", "power_W")
#: Numbers that loggers write for "none": the ends of whole numbers of 16, 24 and 32 bits, also where a decimal mark was
#: set in them, and rows of nines. From memory.
_ENDS = (32767, 32768, 65535, 8388607, 8388608, 16777215, 2147483647, 2147483648, 4294967295)
_BITS: Final = frozenset(end / tens for end in _ENDS for tens in (1, 10, 100, 1000))
_NINES: Final = frozenset(float(f"{'9' * n}{part}") for n in range(2, 8) for part in ("", ".9", ".99") if n > 2 or part)
_LEAST_CODE: Final = min(_BITS)
_MOST_CODES: Final = 6
#: Fewer rows say nothing of what is usual; not more rows than these may be single ones far from the others, which are
#: less than a third of them. Common practice, no source, as all below.
_FEWEST, _SINGLE, _FAR = 30, 4, 3.0
#: The bit that tells a small letter from its capital.
_LOWER: Final = np.uint8(0x20)
#: Cells without the mark that others have are damaged only where they are not more than this share. [1]
_FEW: Final = 0.2
#: Volts of a bank stay within these shares of their usual level, from memory; so many rows are looked at for it. [1]
_USUAL_V, _LOOKED_AT = (0.6, 1.5), 2000
#: Whole numbers among others are a stretch if so many stand together, and may be in another unit if the first is so
#: many times the last of the others, or the other way round.
_RUN, _OTHER_SIZE = 4, 100.0
#: Readings are alike within this share, and apart beyond this one, where amps and volts cross. [1]
_ALIKE, _APART = 0.05, 0.2
#: So many rows of a block are looked at again with those of the next.
_TAIL = 64
#: Fewer rows that seem to have changed places are left out, as damage.
_STRETCH = 3
#: So many of the steps of amps beyond this share of the largest are kept of each block, and so many of all.
_STEPS, _LARGE, _MOST_STEPS = 64, 0.1, 4096
#: The sign of amps can turn only where both are there: so much of the largest reading. [1]
_BOTH_SIGNS = 0.1


@dataclass
class _Written:
    """What is known of a column: its name, the largest readings so far above and below zero, codes and their rows."""

    name: str
    largest: tuple[float, float] = (0.0, 0.0)
    codes: dict[float, int] = field(default_factory=dict)


@dataclass
class Around:
    """Looks at the columns of one layout, block by block; ``names`` are theirs by quantity, `file` is the source's."""

    file: str
    names: Mapping[str, str]
    _columns: dict[int, _Written] = field(default_factory=dict)
    _largest: dict[str, float] = field(default_factory=dict)
    _tail: tuple[NDArray[np.float64], NDArray[np.float64]] = field(default_factory=lambda: (np.empty(0), np.empty(0)))
    _steps: tuple[NDArray[np.float64], ...] = field(default_factory=lambda: (np.empty(0),) * 3)
    _extremes_A: tuple[float, float] = (0.0, 0.0)

    def as_written(
        self, x: NDArray[np.float64], index: int, quantity: str, name: str, line_of: LineOf
    ) -> NDArray[np.float64]:
        """Return a column's readings as they are written, with NaN for the numbers that stand for none; shape (n,).

        Raises
        ------
        InputError
            If from some row on they are in another unit.
        """
        if quantity not in _AMOUNTS:
            return x
        x = _without_codes(x, self._columns.setdefault(index, _Written(name)))
        if len(stretches := _whole_stretches(x)):
            from .changes import other_unit

            if (turn := other_unit(x, stretches)) is not None:
                raise InputError(f"{self.file}, line {line_of(turn)}, {_of_whole_numbers(name, quantity)}")
        return x

    def damaged(self, x: NDArray[np.float64], quantity: str, cells: pa.Array | None) -> dict[int, str]:
        """Return rows of readings that damage has blown up, with what is wrong.

        `x` are the readings in the canonical unit, `cells` what was written where each is one cell; shape (n,).
        """
        size = np.abs(x)
        top, bad = _highest(size), dict[int, str]()
        if top > LARGEST_READING:
            too_large = np.flatnonzero(size > LARGEST_READING)
            bad = {k: f"{x[k]:.3g} {quantity} is more than any meter can mean" for k in too_large.tolist()}
            size[too_large] = np.nan
        if quantity in _AMOUNTS and cells is not None and len(x) >= _FEWEST:
            bad |= self._blown_up(size, quantity, cells)
        return bad

    def _blown_up(self, size: NDArray[np.float64], quantity: str, cells: pa.Array) -> dict[int, str]:
        before, bad = self._largest.get(quantity, 0.0), dict[int, str]()
        text = cells.buffers()[2]
        # Bytes are compared where Arrow holds them: marks stand so close that to search for each takes far longer.
        written = np.frombuffer(text if text is not None else b"", np.uint8)
        if ((written | _LOWER) == ord("e")).any():
            from .far_readings import with_exponents

            bad = with_exponents(size, cells, before)
        filled = len(cells) - cells.null_count
        marks = {mark: int(np.count_nonzero(written == ord(mark))) for mark in ".,"}
        mark = max(marks, key=lambda mark: marks[mark])
        if 0 < filled - marks[mark] <= _FEW * filled:
            from .far_readings import without_mark

            bad |= {k: why for k, why in without_mark(cells, mark).items() if not np.isnan(size[k])}
        if bad:
            size[list(bad)] = np.nan
        top = _highest(size)
        if top > _FAR * before and np.count_nonzero(size > top / _FAR) <= _SINGLE:
            from .far_readings import far_beyond

            bad |= far_beyond(size, cells, quantity, before)
            size[list(bad)] = np.nan
            top = _highest(size)
        self._largest[quantity] = max(before, top)
        return bad

    def changed(
        self, quantities: Mapping[str, NDArray[np.float64]], line_of: LineOf, first_line: int
    ) -> dict[int, str]:
        """Return single rows in which amps and volts changed places, with that as what is wrong.

        Raises
        ------
        InputError
            If they do so for a stretch, or are thousandths from some row on.
        """
        amps, volts = quantities.get("current_A"), quantities.get("voltage_V")
        if amps is None or volts is None:
            return {}
        self._keep_steps(amps, volts, first_line)
        before = len(self._tail[0])
        all_V, all_A = np.concatenate([self._tail[0], volts]), np.concatenate([self._tail[1], amps])
        self._tail = all_V[-_TAIL:], all_A[-_TAIL:]
        if (turn := _crossing(all_V, all_A)) is not None and _are_usual(all_V):
            raise InputError(f"{self.file}, line {line_of(max(turn - before, 0))}, {self._crossed}")
        if _are_usual(all_V):
            return {}
        from .changes import changed_places

        taken = changed_places(all_V, all_A)
        if taken is None or not taken.rows[before:].any():
            return {}
        if taken.rows.sum() < _STRETCH:
            why = f"columns {self._both}: amps and volts seem to have changed places in this row"
            return dict.fromkeys(np.flatnonzero(taken.rows[before:]).tolist(), why)
        raise InputError(f"{self.file}, line {line_of(max(taken.turn - before, 0))}, {self._question(taken)}")

    def _keep_steps(self, amps: NDArray[np.float64], volts: NDArray[np.float64], first_line: int) -> None:
        """Keep the largest steps of amps, what the volts did meanwhile, and about where."""
        steps_A = np.diff(amps)
        size = np.abs(steps_A)
        at = np.flatnonzero(size > _LARGE * _highest(size))
        at = at[:: len(at) // _STEPS + 1]
        block = (first_line + 1.0 + at, steps_A[at], volts[at + 1] - volts[at])
        self._steps = tuple(np.append(old, new)[-_MOST_STEPS:] for old, new in zip(self._steps, block, strict=True))
        low, high = self._extremes_A
        self._extremes_A = float(np.fmin.reduce(amps, initial=low)), float(np.fmax.reduce(amps, initial=high))

    @property
    def _both(self) -> str:
        return f"{quoted(self.names['current_A'])} and {quoted(self.names['voltage_V'])}"

    @property
    def _crossed(self) -> str:
        return (
            f"columns {self._both}: here the volts go on where the amps were, and the amps where the volts were, so "
            "the columns change places or the readings are damaged; part the file there and convert each part, the "
            "other one with its columns named in a profile (--profile): [quantities.current_A] column and "
            "[quantities.voltage_V] column"
        )

    def _question(self, taken: TakenPlaces) -> str:
        if taken.kind == "swapped":
            return (
                f"columns {self._both}: in {taken.rows.sum()} rows there are volts where amps should be, and amps "
                "where volts should be, so either the columns change places here or the readings are damaged; part "
                "the file there and convert each part, the other one with its columns named in a profile (--profile): "
                "[quantities.current_A] column and [quantities.voltage_V] column"
            )
        return (
            f"columns {self._both}: the volts of {taken.rows.sum()} rows are a thousand times those of the others, so "
            "the unit changes here; part the file there and convert each part, with the units of each in a profile "
            '(--profile), such as [quantities.voltage_V] unit = "mV" and [quantities.current_A] unit = "mA"'
        )

    def sentences(self) -> list[str]:
        """Return what must be known before relying on any amount."""
        lines = [
            f"column {quoted(column.name)}: {code:.10g} in {rows} {'row' if rows == 1 else 'rows'} stands for no "
            "reading, since it is far from all others, and is left out"
            for column in self._columns.values()
            for code, rows in column.codes.items()
        ]
        low, high = self._extremes_A
        if min(-low, high) <= _BOTH_SIGNS * max(-low, high):
            return lines
        from .changes import turned_sign

        where, steps_A, steps_V = self._steps
        if (turn := turned_sign(where, steps_A, steps_V)) is not None:
            lines.append(
                f"near lines {turn[0]} to {turn[1]} the sign of {quoted(self.names['current_A'])} seems to turn: "
                f"before and after it the volts of {quoted(self.names['voltage_V'])} answer a draw in opposite ways; "
                "if so, part the file there and convert one part with --reverse-sign"
            )
        return lines


def _without_codes(x: NDArray[np.float64], column: _Written) -> NDArray[np.float64]:
    """Return readings with NaN for the numbers that stand for none, and keep count of them."""
    codes: list[float] = []
    rest, ends = x, _ends(x)
    while len(codes) < _MOST_CODES and (more := [end for end in ends if _is_code(abs(end))]):
        codes += more
        rest = rest[~np.isin(rest, more)]
        ends = _ends(rest)
    column.largest = max(column.largest[0], ends[0]), max(column.largest[1], -ends[1])
    if not codes:
        return x
    from .far_readings import stands_for_none

    none = [c for c in codes if stands_for_none(c, x == c, column.largest, bits=abs(c) in _BITS)]
    for code in none:
        column.codes[code] = column.codes.get(code, 0) + int((x == code).sum())
    return np.where(np.isin(x, none), np.nan, x) if none else x


def _highest(x: NDArray[np.float64]) -> float:
    """Return the highest reading, at least 0."""
    return float(np.fmax.reduce(x, initial=0.0))


def _ends(x: NDArray[np.float64], around: float = 0.0) -> tuple[float, float]:
    """Return the highest and lowest reading, as far as they are beyond a value."""
    return float(np.fmax.reduce(x, initial=around)), float(np.fmin.reduce(x, initial=around))


def _is_code(size: float) -> bool:
    return size >= _LEAST_CODE and (size in _BITS or size in _NINES)


def _whole_stretches(x: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return where stretches of whole numbers, or of others, begin with readings of quite another size."""
    is_whole = x == np.rint(x)
    begins = np.flatnonzero(np.diff(is_whole)) + 1
    lengths = np.diff(begins, append=len(x))
    begins = begins[(lengths >= _RUN) | (np.diff(begins, prepend=0) >= _RUN)]
    with np.errstate(divide="ignore", invalid="ignore"):
        times = np.abs(x[begins] / x[begins - 1])
    return begins[np.isfinite(times) & (times > 0) & ((times > _OTHER_SIZE) | (times < 1 / _OTHER_SIZE))]


def _are_usual(volts: NDArray[np.float64]) -> bool:
    """Tell whether volts are all near one level, or 0 where the bank is disconnected."""
    looked_at = volts[:: max(len(volts) // _LOOKED_AT, 1)]
    known = np.sort(looked_at[looked_at > 0])
    level = float(known[len(known) // 2]) if len(known) else 0.0
    low, high = (share * level for share in _USUAL_V)
    most, least = _ends(volts, level)
    if low <= least and most <= high:
        return True
    return bool((((volts >= low) & (volts <= high)) | (volts == 0) | np.isnan(volts)).all())


def _crossing(volts: NDArray[np.float64], amps: NDArray[np.float64]) -> int | None:
    """Return the first row in which amps are what the volts were before it, and volts what the amps were; else None."""
    at = np.flatnonzero(np.abs(amps[1:] - volts[:-1]) < _ALIKE * np.abs(volts[:-1]))
    old_V, old_A = volts[at], amps[at]
    apart = np.abs(old_V - old_A) > _APART * np.abs(old_V)
    crossed = at[apart & (np.abs(volts[at + 1] - old_A) < _ALIKE * np.abs(old_A))]
    return int(crossed[0]) + 1 if len(crossed) else None


def _of_whole_numbers(name: str, quantity: str) -> str:
    return (
        f"column {quoted(name)}: on one side of this line the readings have decimals, on the other they are whole "
        "numbers about a thousand times as large, so either the unit changes here or what is measured does; part the "
        "file there and convert each part, with the unit of each in a profile (--profile): "
        f'[quantities.{quantity}] unit = "m{quantity[-1]}"'
    )
