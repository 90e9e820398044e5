"""The same log written in many ways converts to the same bits."""

from __future__ import annotations

import gzip
import io
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pytest
from exporting import Outcome, convert, shuntbook

START = datetime(2026, 6, 13, 11, 58, 20, tzinfo=UTC)  # the 13th, so that day and month can be told apart
N = 240


class Row:
    """One reading of the synthetic log, its numbers as they would be printed."""

    def __init__(self, k: int, step_s: float) -> None:
        self.time = START + timedelta(seconds=k * step_s + (k // 50) * 3)
        self.current = Decimal((k * 7919) % 90_001 - 20_000).scaleb(-3)
        self.voltage = Decimal(12_000 + (k * 131) % 2_500).scaleb(-3)
        self.power = Decimal((k * 7919) % 90_001 - 20_000).scaleb(-1)

    @property
    def cells(self) -> list[Decimal]:
        return [self.current, self.voltage, self.power]


WHOLE = [Row(k, 1.0) for k in range(N)]
FINE = [Row(k, 0.25) for k in range(N)]
NAMES = ["Current (A)", "Voltage (V)", "Power (W)"]


def table(
    rows: Sequence[Row],
    stamp: Callable[[Row], str],
    *,
    time: str = "Time",
    names: Sequence[str] = NAMES,
    cells: Callable[[Row], list[str]] = lambda row: [str(x) for x in row.cells],
    mark: str = ",",
    end: str = "\n",
) -> str:
    """Return a plain table."""
    lines = [mark.join([time, *names])]
    lines += [mark.join([stamp(row), *cells(row)]) for row in rows]
    return end.join(lines) + end


def iso(row: Row) -> str:
    return row.time.replace(tzinfo=None).isoformat(" ", "milliseconds" if row.time.microsecond else "seconds")


def strf(pattern: str) -> Callable[[Row], str]:
    return lambda row: row.time.strftime(pattern)


def comma(row: Row) -> list[str]:
    return [str(x).replace(".", ",") for x in row.cells]


def count(scale: int) -> Callable[[Row], str]:
    return lambda row: str(
        (row.time - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1) * scale // 1_000_000
    )


def elapsed_s(row: Row) -> str:
    return f"{(row.time - START).total_seconds():.2f}"


def hms(row: Row) -> str:
    s = (row.time - START).total_seconds()
    return f"{int(s // 3600)}:{int(s // 60) % 60:02d}:{s % 60:05.2f}"


def with_repeats(text: str) -> str:
    header, *rows = text.splitlines()
    return "\n".join([header, *rows[:99], header, *rows[99:]]) + "\n"


def mixed_ends(text: str) -> str:
    return "".join(line + "\r\n\n\r"[k % 3 : k % 3 + 1 + (k % 3 == 0)] for k, line in enumerate(text.splitlines()))


QUOTED = table(FINE, lambda row: f'"{iso(row)}"', cells=lambda row: [f'"{c}"' for c in comma(row)])
UNITS = "Time,Current,Voltage,Power\n,[A],[V],[W]\n" + table(FINE, iso).split("\n", 1)[1]
TRAILING = "".join(line + ",\n" for line in table(FINE, iso).splitlines())
PREAMBLE = "Shed meter export\nSerial,12345\nStarted,2026-06-01 08:00\n\n" + table(FINE, iso)
DEGREE = "Gerät: Schuppen, 21 °C\n" + table(FINE, iso)
TEXT_BETWEEN = table(
    FINE, iso, names=["State", "Note", *NAMES], cells=lambda row: ["run", "ok, so far".join('""'), *map(str, row.cells)]
)

DIALECTS: dict[str, tuple[str | bytes, Sequence[Row], tuple[str, ...]]] = {
    "comma": (table(FINE, iso), FINE, ()),
    "semicolon": (table(FINE, iso, mark=";"), FINE, ()),
    "caret": (table(FINE, iso, mark="^"), FINE, ()),
    "tilde": (table(FINE, iso, mark="~"), FINE, ()),
    "tab": (table(FINE, iso, mark="\t"), FINE, ()),
    "bar": (table(FINE, iso, mark="|"), FINE, ()),
    "decimal comma": (table(FINE, iso, mark=";", cells=comma), FINE, ()),
    "decimal comma, sep= line": ("sep=;\n" + table(FINE, iso, mark=";", cells=comma), FINE, ()),
    "decimal comma, fraction comma": (
        table(FINE, lambda row: iso(row).replace(".", ","), mark=";", cells=comma),
        FINE,
        (),
    ),
    "quoted, decimal comma": (QUOTED, FINE, ()),
    "utf-8 with BOM": (table(FINE, iso).encode("utf-8-sig"), FINE, ()),
    "utf-16 with BOM": (table(FINE, iso).encode("utf-16"), FINE, ()),
    "utf-16 little-endian without BOM": (table(FINE, iso).encode("utf-16-le"), FINE, ()),
    "utf-16 big-endian without BOM": (table(FINE, iso).encode("utf-16-be"), FINE, ()),
    "cp1252 with a degree sign": (DEGREE.encode("cp1252"), FINE, ()),
    "carriage returns": (table(FINE, iso, end="\r"), FINE, ()),
    "CRLF": (table(FINE, iso, end="\r\n"), FINE, ()),
    "mixed line ends": (mixed_ends(table(FINE, iso)), FINE, ()),
    "preamble": (PREAMBLE, FINE, ()),
    "units row": (UNITS, FINE, ()),
    "trailing delimiters": (TRAILING, FINE, ()),
    "trailing delimiters, not in the header": (TRAILING.replace("(W),\n", "(W)\n"), FINE, ()),
    "repeated header": (with_repeats(table(FINE, iso)), FINE, ()),
    "words and quoted commas between": (TEXT_BETWEEN, FINE, ()),
    "ISO with T": (table(FINE, lambda row: iso(row).replace(" ", "T")), FINE, ()),
    "ISO with Z": (table(FINE, lambda row: iso(row) + "Z"), FINE, ("--zone", "Asia/Tokyo")),
    "ISO with an offset": (
        table(FINE, lambda row: (row.time + timedelta(hours=5, minutes=30)).isoformat()[:-6] + "+05:30"),
        FINE,
        ("--zone", "Asia/Tokyo"),
    ),
    "ISO without separators": (table(WHOLE, strf("%Y%m%dT%H%M%S")), WHOLE, ()),
    "in a zone": (
        table(FINE, lambda row: (row.time - timedelta(hours=4)).isoformat(" ")[:-6]),
        FINE,
        ("--zone", "America/New_York"),
    ),
    "d/m/Y": (table(WHOLE, strf("%d/%m/%Y %H:%M:%S")), WHOLE, ()),
    "d.m.y": (table(WHOLE, strf("%d.%m.%y %H:%M:%S")), WHOLE, ()),
    "m/d/Y, 12-hour clock": (table(WHOLE, strf("%m/%d/%Y %I:%M:%S %p")), WHOLE, ()),
    "month names": (table(WHOLE, strf("%a %d %b %Y %H:%M:%S")), WHOLE, ()),
    "American month names": (table(WHOLE, lambda row: f'"{row.time:%B %d, %Y %I:%M:%S %p}"'), WHOLE, ()),
    "date and clock in two columns": (table(WHOLE, strf("%d/%m/%Y,%H:%M:%S"), time="Date,Time"), WHOLE, ()),
    "date and 12-hour clock": (table(WHOLE, strf("%d-%b-%Y,%I:%M:%S %p"), time="Date,Clock"), WHOLE, ()),
    "date without separators and clock": (table(WHOLE, strf("%Y%m%d,%H:%M:%S"), time="Date,Clock"), WHOLE, ()),
    "epoch s": (table(WHOLE, count(1)), WHOLE, ()),
    "epoch s with fraction": (table(FINE, lambda row: f"{row.time.timestamp():.2f}", time="ts"), FINE, ()),
    "epoch ms": (table(FINE, count(1_000), time="unix time"), FINE, ()),
    "epoch us": (table(FINE, count(1_000_000)), FINE, ()),
    "epoch ns": (table(FINE, count(1_000_000_000)), FINE, ()),
    "elapsed s": (table(FINE, elapsed_s, time="Time (s)"), FINE, ("--start", "2026-06-13T11:58:20")),
    "elapsed s, decimal comma": (
        table(FINE, lambda row: elapsed_s(row).replace(".", ","), time="Elapsed [s]", mark=";", cells=comma),
        FINE,
        ("--start", "2026-06-13T13:58:20+02:00"),
    ),
    "elapsed ms": (
        table(
            FINE,
            lambda row: str((row.time - START) // timedelta(milliseconds=1)),
            time="Millis",
            names=["I", "V", "P (W)"],
        ),
        FINE,
        ("--start", "2026-06-13T11:58:20Z"),
    ),
    "elapsed h:m:s": (table(FINE, hms, time="Elapsed"), FINE, ("--start", "2026-06-13T11:58:20")),
    "a spreadsheet's day number": (
        table(WHOLE, lambda row: f"{25_569 + row.time.timestamp() / 86_400:.10f}", time="Date"),
        WHOLE,
        (),
    ),
    "units in the cells": (
        table(
            FINE,
            iso,
            names=["Current", "Voltage", "Power"],
            cells=lambda r: [f"{r.current} A", f"{r.voltage}V", f"{r.power} W"],
        ),
        FINE,
        (),
    ),
    "apostrophes and true minus signs": (
        table(FINE, lambda row: "'" + iso(row), cells=lambda r: ["'" + str(x).replace("-", "−") for x in r.cells]),
        FINE,
        (),
    ),
    "gzip": (gzip.compress(table(FINE, iso).encode()), FINE, ()),
    "gzip in two members": (
        gzip.compress(table(FINE[:100], iso).encode())
        + gzip.compress(table(FINE[100:], iso).split("\n", 1)[1].encode()),
        FINE,
        (),
    ),
    "zstd": (pa.compress(table(FINE, iso).encode(), "zstd", asbytes=True), FINE, ()),
    "newest first": (table(FINE[::-1], iso), FINE, ()),
}


def expected_us(rows: Sequence[Row]) -> list[int]:
    return [(row.time - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1) for row in rows]


def assert_same_bits(done: Outcome, rows: Sequence[Row]) -> None:
    assert done.time_us.tolist() == expected_us(rows)
    for quantity, attribute in (("current_A", "current"), ("voltage_V", "voltage"), ("power_W", "power")):
        want = np.array([float(getattr(row, attribute)) for row in rows])
        assert done[quantity].tobytes() == want.tobytes(), quantity


@pytest.mark.parametrize("name", DIALECTS)
def test_every_dialect_gives_the_same_bits(tmp_path, name):
    """Times and readings are those of the plain table, to the last bit, and no row is lost."""
    content, rows, options = DIALECTS[name]
    done = convert(tmp_path, content, options=options if "--zone" in options else ("--zone", "UTC", *options))
    assert_same_bits(done, rows)
    assert done.rejects == []


SCALED = {
    "current_A": [("Current (mA)", 3), ("I [uA]", 6), ("Amps_mA", 3), ("Current (kA)", -3)],
    "voltage_V": [("Voltage (mV)", 3), ("U [µV]", 6), ("Pack voltage mV", 3)],
    "power_W": [("Power (kW)", -3), ("Power [MW]", -6), ("Power mW", 3)],
}


@pytest.mark.parametrize(("quantity", "name", "shift"), [(q, *case) for q, cases in SCALED.items() for case in cases])
def test_other_units_give_the_same_within_two_ulp(tmp_path, quantity, name, shift):
    """1234.5 mA is the double nearest to 1.2345 A, or next to it."""
    which = {"current_A": "current", "voltage_V": "voltage", "power_W": "power"}[quantity]
    # A log of volts alone is refused, so that amps stand beside them.
    names = [name, "Current (A)"] if quantity == "voltage_V" else [name]
    beside = ["1.25"] * (len(names) - 1)
    content = table(FINE, iso, names=names, cells=lambda row: [f"{getattr(row, which).scaleb(shift):f}", *beside])
    got = convert(tmp_path, content)[quantity]
    want = np.array([float(getattr(row, which)) for row in FINE])
    assert np.max(np.abs(got - want) / np.spacing(np.abs(want))) <= 2


@pytest.mark.parametrize(
    ("name", "cell", "quantity", "value"),
    [
        ("Temp (°F)", "212", "temperature_degC", 100.0),  # boiling point of water: common practice
        ("Temp [degC]", "-7.5", "temperature_degC", -7.5),
        ("Flow gal/min", "10", "flow_L_per_min", 37.85411784),  # US gallon: NIST SP 811, appendix B.8
        ("Flow (L/min)", "10", "flow_L_per_min", 10.0),
        ("Pressure (psi)", "40", "pressure_kPa", 275.79029172672),  # NIST SP 811, appendix B.8
        ("Pressure [bar]", "2", "pressure_kPa", 200.0),
        ("SOC (%)", "85", "state_of_charge_pct", 85.0),
        ("PF [%]", "58", "power_factor", 0.58),
        ("Energy (kWh)", "1.5", "energy_Wh", 1500.0),
        ("Energy [MJ]", "3.6", "energy_Wh", 1000.0),
        ("Used amp hours", "12.25", "charge_Ah", 12.25),
        ("Charge (As)", "3600", "charge_Ah", 1.0),
        ("Frequency", "50.02", "frequency_Hz", 50.02),
    ],
)
def test_other_quantities(tmp_path, name, cell, quantity, value):
    """Each comes out in its own unit."""
    done = convert(tmp_path, table(WHOLE, iso, names=["Amps", name], cells=lambda row: [str(row.current), cell]))
    np.testing.assert_allclose(done[quantity], value, rtol=4e-16)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1)])
def test_several_files_make_one_log(tmp_path, order):
    """Files of one meter are joined; given in another order they are sorted by their times."""
    parts = [table(FINE[a:b], iso, mark=mark) for a, b, mark in ((0, 80, ","), (80, 160, ";"), (160, N, "\t"))]
    done = convert(tmp_path, *(parts[k] for k in order))
    assert_same_bits(done, FINE)
    assert [source["bytes"] for source in done.log.meta.source] == [len(parts[k]) for k in order]


def test_standard_input(tmp_path, monkeypatch):
    """A hyphen stands for what is piped in, packed or not."""
    for content in (table(FINE, iso).encode(), gzip.compress(table(FINE, iso).encode())):
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(content)))
        log = tmp_path / "log.parquet"
        status, _, err = shuntbook("convert", "-", "--out", str(log), "--zone", "UTC", "--force")
        assert_same_bits(Outcome(status, "", err, log), FINE)


def test_a_long_file_is_read_in_blocks(tmp_path):
    """Rows on the borders of blocks (4 MB) are whole, and the lines after them are numbered right."""
    rows = 180_000
    lines = [f"{1_780_000_000 + k}.5,{k % 97}.25,12.5" for k in range(rows)]
    lines[123_456] = "damaged"
    text = "epoch,current,voltage\r\n" + "\r\n".join(lines) + "\r\n"
    assert len(text) > 4_000_000
    done = convert(tmp_path, text)
    assert done.reject_lines == [123_456 + 2]
    assert len(done.time_us) == rows - 1
    assert set(np.diff(done.time_us).tolist()) == {1_000_000, 2_000_000}
    assert done["current_A"].sum() == sum(k % 97 + 0.25 for k in range(rows) if k != 123_456)
