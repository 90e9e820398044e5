"""Exports of any length to measure with: time, amps, volts and watts in an invented shed, written piece by piece.

Run as ``python exports.py FILE ROWS DIALECT QUANTITIES`` by whoever measures memory: a process begins with as much as
the one that started it had, so that one must load none of the libraries used here.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import pyarrow as pa

HEADER = ("time", "current (A)", "voltage (V)", "power (W)")
#: How the dialects write an instant, by ``strftime`` (whose seconds have milliseconds here), and their delimiter.
DIALECTS = {
    "iso": ("%Y-%m-%dT%H:%M:%S", ","),
    "us-dates": ("%m/%d/%Y %H:%M:%S", ","),
    "decimal-comma": ("%d.%m.%Y %H:%M:%S", ";"),
    "epoch-ms": ("", ","),
}
#: 2026-06-13 08:00 UTC [ms].
_BEGINNING_MS = 1_781_337_600_000
_PIECE = 1 << 20


def write_export(path: Path, rows: int, dialect: str = "iso", quantities: int = 3) -> None:
    """Write an export of some rows and quantities, about a second apart; the same numbers in every dialect."""
    import numpy as np
    import pyarrow as pa
    import pyarrow.csv as pcsv

    pattern, delimiter = DIALECTS[dialect]
    options = pcsv.WriteOptions(include_header=False, quoting_style="none", delimiter=delimiter)
    with path.open("wb") as file:
        names = HEADER[: quantities + 1]
        file.write((delimiter.join(names) + "\n").encode())
        for first in range(0, rows, _PIECE):
            columns = _columns(np.arange(first, min(first + _PIECE, rows)), pattern, comma=dialect == "decimal-comma")
            pcsv.write_csv(pa.table(columns[: len(names)], names), file, options)


def _columns(k: np.ndarray, pattern: str, *, comma: bool) -> list[pa.Array]:
    """Return a pump's starts every half hour over a slow swing, with a meter's noise and its rounding."""
    import numpy as np
    import pyarrow as pa
    import pyarrow.compute as pc

    rng = np.random.default_rng(int(k[0]))
    current_A = 5 + 3 * np.sin(k / 2500) + 30 * (k % 1800 < 90) + 90 * (k % 1800 == 0) + rng.normal(0, 0.05, len(k))
    voltage_V = np.round(25.2 - 0.02 * current_A + rng.normal(0, 0.01, len(k)), 3)
    numbers = [pa.array(x) for x in (np.round(current_A, 3), voltage_V, np.round(current_A * voltage_V, 1))]
    if comma:
        numbers = [pc.replace_substring(pc.cast(x, pa.string()), ".", ",") for x in numbers]
    time = pa.array(_BEGINNING_MS + k * 1000 + (k * 7) % 13, pa.timestamp("ms"))
    return [pc.strftime(time, pattern) if pattern else pc.cast(time, pa.int64()), *numbers]


if __name__ == "__main__":
    write_export(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3], int(sys.argv[4]))
