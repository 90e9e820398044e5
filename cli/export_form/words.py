"""The words of an export's form: quantities, ways of writing times, and readings as they were understood."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, get_args

from ...ingest.exports.choices import units_of
from ...ingest.exports.times.stamps import TimeStyle
from ...ingest.quantities import QUANTITIES, SIGNED, unit_of
from ..render.wording.numbers import sentence, true_minus

if TYPE_CHECKING:
    from ...ingest.exports.preview import PreviewColumn, PreviewLine

#: Words of a profile or an option, each beside what a person is shown for it.
WORDS: Final = {
    "current_A": "current",
    "voltage_V": "voltage",
    "power_W": "power",
    "charge_Ah": "the meter's own count of Ah",
    "energy_Wh": "the meter's own count of Wh",
    "temperature_degC": "temperature",
    "state_of_charge_pct": "state of charge",
    "power_factor": "power factor",
    "frequency_Hz": "frequency",
    "pressure_kPa": "pressure",
    "flow_L_per_min": "flow",
}
_ORDERS: Final = {
    "y-m-d": "year, month, day",
    "d/m/y": "day, month, year",
    "m/d/y": "month, day, year",
    "y-d-m": "year, day, month",
}
TIMES: Final = tuple((style, _ORDERS.get(style, style)) for style in get_args(TimeStyle))
SAMPLINGS: Final = (
    ("instant", "the value at its time"),
    ("mean", "the mean since the reading before"),
    ("held", "it stands until the next reading"),
)

_OPTION: Final = re.compile(r"^--[a-z-]+: ")
#: So many cells show what a column looks like.
_CELLS: Final = 3


@dataclass(frozen=True)
class ExportWords:
    """What the page of an export says of its figures and names; `side` is where its meter sits."""

    path: Path
    side: str

    def plain(self, text: str) -> str:
        """Return a sentence that names files as the folder does, and begins with no option's name."""
        return _OPTION.sub("", text.replace(f"{self.path.parent}/", ""))

    def sentence(self, text: str) -> str:
        """Return it with a full stop, and a capital where it does not begin with the file's name."""
        plain = self.plain(text)
        return plain[:1] + sentence(plain)[1:] if plain.startswith(self.path.name) else sentence(plain)

    def quantity(self, name: str) -> str:
        """Return what a quantity is called."""
        return WORDS[name]

    def head(self, name: str) -> str:
        """Return a quantity with its unit, for the head of a column."""
        symbol = unit_of(name, None, column=name).symbol
        return WORDS[name] if symbol == "1" else f"{WORDS[name]}, {symbol}"

    def figure(self, name: str, value: float | None) -> str:
        """Return a reading as it was understood: at a bank with the way it flows."""
        if value is None:
            return "-"
        if name not in SIGNED or self.side != "dc":
            return true_minus(f"{value:.7g}")
        return f"{abs(value):.7g}{' in' if value < 0 else ' out' if value > 0 else ''}"

    def cells(self, lines: Sequence[PreviewLine], number: int) -> list[str]:
        """Return the first cells of a column."""
        rows = [line.cells for line in lines if line.kind == "row" and len(line.cells) >= number]
        return [cells[number - 1] for cells in rows[:_CELLS]]

    def reason(self, column: PreviewColumn) -> str:
        """Return how a column's cells are read, without what its own name and its choices say."""
        if column.use == "not used":
            return ""
        reason = column.reason.removeprefix(f"{column.quantity}: ").removeprefix(f"{column.name!r} ")
        return reason.removeprefix(f"in {column.unit}").removeprefix(", ")

    def units(self, quantity: str | None) -> tuple[str, ...]:
        """Return the units that can be chosen."""
        return units_of(quantity) if quantity in QUANTITIES else ()

    def choices(self, words: tuple[str, ...]) -> list[tuple[str, str]]:
        """Return words as they are chosen from: each is what it is shown as."""
        return [(word, word) for word in words]
