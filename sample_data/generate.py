"""Write the invented scenario's exports: ``python -m shuntbook.sample_data.generate [FOLDER]``.

Two meters' habits, both common: a comma file with ISO times and a preamble, and a semicolon file with decimal commas,
a row of units, discharge negative, and a last line cut short where the card was pulled.
"""

from __future__ import annotations

import gzip
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .physics import round_to
from .scenario import Scene, States, Truth, simulate_open_day, simulate_week_later

__all__ = [
    "EXPORTS",
    "Scene",
    "States",
    "Truth",
    "open_day_text",
    "simulate_open_day",
    "simulate_week_later",
    "week_later_text",
    "write_exports",
]

OPEN_DAY_HEAD = """\
Marrowbrook wash shed, shunt at the bank
Draw from the bank is positive, times are local

Time,Current [A],Pack voltage [V],Power [W]
"""
WEEK_LATER_HEAD = """\
Date and time;Bank current;Bank voltage
d/m/Y H:M:S;mA;V
"""


def open_day_text() -> str:
    """Return the open day's export: comma, ISO local time to 0.1 s, amps, volts and watts, draw positive."""
    scene = simulate_open_day()
    # A meter multiplies what it shows itself, so its watts share the errors of its amps and volts.
    power_W = round_to(scene.measured_current_A * scene.measured_voltage_V, 0.1)
    rows = zip(
        np.datetime_as_string(_stamps(scene, "ms")).tolist(),
        scene.measured_current_A.tolist(),
        scene.measured_voltage_V.tolist(),
        power_W.tolist(),
        strict=True,
    )
    lines = (f"{stamp[:-2]},{amps:.2f},{volts:.2f},{watts:.1f}\n" for stamp, amps, volts, watts in rows)
    return OPEN_DAY_HEAD + "".join(lines)


def week_later_text() -> str:
    """Return the export of the week after: semicolon, decimal comma, day first, milliamps, discharge negative.

    Lines end as RFC 4180 asks, in CR LF; the last one is cut within its time, as when a card is pulled.
    """
    scene = simulate_week_later()
    # This one counts charging as positive, and its column has whole milliamps.
    current_mA = np.rint(-1000.0 * scene.measured_current_A).astype(int)
    rows = [
        f"{_day_first(stamp)};{milliamps};{volts:.2f}".replace(".", ",")
        for stamp, milliamps, volts in zip(
            np.datetime_as_string(_stamps(scene, "s")).tolist(),
            current_mA.tolist(),
            scene.measured_voltage_V.tolist(),
            strict=True,
        )
    ]
    rows[-1] = rows[-1][: len("20/06/2026 12:3")]
    return (WEEK_LATER_HEAD + "\n".join(rows)).replace("\n", "\r\n")


def _stamps(scene: Scene, unit: str) -> NDArray[np.datetime64]:
    """Return the readings' local times as dates with a time, to milliseconds (``ms``) or seconds (``s``)."""
    since_ms = np.rint(1000.0 * scene.time_s).astype("timedelta64[ms]")
    stamps: NDArray[np.datetime64] = (np.datetime64(scene.date, "ms") + since_ms).astype(f"datetime64[{unit}]")
    return stamps


def _day_first(stamp: str) -> str:
    """Return an ISO time as day/month/year and time."""
    day, clock = stamp.split("T")
    return "/".join(reversed(day.split("-"))) + " " + clock


EXPORTS: dict[str, Callable[[], str]] = {
    "open_day.csv.gz": open_day_text,
    "week_later.csv.gz": week_later_text,
}


def write_exports(folder: Path) -> list[Path]:
    """Write every export into a folder that exists, and return their paths.

    The packed files carry neither name nor time, so the same text gives the same bytes.
    """
    written = []
    for name, text in EXPORTS.items():
        path = folder / name
        with path.open("wb") as file, gzip.GzipFile("", "wb", 9, file, mtime=0) as packed:
            packed.write(text().encode("utf-8"))
        written.append(path)
    return written


if __name__ == "__main__":
    write_exports(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
