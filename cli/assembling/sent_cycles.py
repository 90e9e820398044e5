"""The cycles of a log on their way from one process to another: field by field, equal figures once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from math import isnan
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from ...analysis.cycles.cycle import Cycle, Cycles

if TYPE_CHECKING:
    from ...analysis.readings.chunk import FloatArray

    #: One field of all cycles: figures as an array, NaN for None; what is none as it is.
    Column: TypeAlias = FloatArray | list[Any]

_FIELDS = tuple(field.name for field in fields(Cycle))


@dataclass(frozen=True)
class SentCycles:
    """The same as `Cycles`. Sent one by one, tens of thousands would take twice the memory where they arrive.

    What a meter shows has few digits, so that many figures are there often: one object serves all that are equal.
    """

    others: Cycles
    columns: tuple[Column, ...]

    @classmethod
    def of(cls, cycles: Cycles) -> SentCycles:
        """Return cycles as they are sent."""
        columns = (_column([getattr(cycle, name) for cycle in cycles.cycles]) for name in _FIELDS)
        return cls(replace(cycles, cycles=()), tuple(columns))

    def arrived(self) -> Cycles:
        """Return the cycles."""
        return replace(self.others, cycles=tuple(map(Cycle, *map(_values, self.columns))))


def _column(values: Sequence[Any]) -> Column:
    if all(x is None or (type(x) is float and not isnan(x)) for x in values):
        return np.array(values, dtype=np.float64)
    return list(values)


def _values(column: Column) -> list[Any]:
    if isinstance(column, list):
        return column
    # By their bits: minus nought is not nought.
    bits, which = np.unique(column.view(np.int64), return_inverse=True)
    once = [None if isnan(x) else x for x in bits.view(np.float64).tolist()]
    values: list[Any] = np.array(once, dtype=object)[which].tolist()
    return values
