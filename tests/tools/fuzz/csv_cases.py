"""Exports: real and made-up ones, damaged; where the damage is to known rows, what all others must read."""

from __future__ import annotations

import gzip
import os
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from places import ROOT

from shuntbook.ingest.journal.opening import open_log

from .case import Case
from .damage import bytes_damaged, line_damaged, packed
from .law import Fault, run_commands

OUT = "log.parquet"
#: What is taken of a real export. [bytes]
_HEAD = 6000
_ENCODINGS = ("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252")
_TIMES = {
    "%Y-%m-%d %H:%M:%S": "",
    "%Y-%m-%dT%H:%M:%SZ": "",
    "%d/%m/%Y %H:%M:%S": "d/m/y",
    "%m/%d/%y %I:%M:%S %p": "m/d/y",
    "epoch": "",
}
_QUANTITIES = ("current_A", "voltage_V")


@dataclass
class Table:
    """A made-up export: its header, its rows as text, and the time [us] and readings of each."""

    header: str
    lines: list[str]
    time_us: list[int]
    values: list[tuple[float, ...]]
    delimiter: str
    options: list[str]


def table(rng: random.Random) -> Table:
    """Return an undamaged export in a dialect taken by chance."""
    style = rng.choice(list(_TIMES))
    delimiter, mark = rng.choice([(",", "."), (",", "."), (";", ","), (";", "."), ("\t", ".")])
    count, every_s = rng.choice([12, 30, 60, 300]), rng.choice([1, 1, 10, 60])
    begin = datetime(2026, 6, 13, 10, tzinfo=UTC) + timedelta(seconds=rng.randrange(10_000))
    swapped = rng.random() < 0.5
    made = Table("", [], [], [], delimiter, ["--dates", _TIMES[style]] if _TIMES[style] else [])
    names = [
        "Time" if style != "epoch" else "Epoch",
        *(["Voltage (V)", "Current (A)"] if swapped else ["Current (A)", "Voltage (V)"]),
    ]
    made.header = delimiter.join(names)
    for k in range(count):
        at = begin + timedelta(seconds=k * every_s)
        amps, volts = rng.randrange(-9000, 99_000) / 1000, rng.randrange(2200, 2900) / 100
        texts = [f"{volts:.2f}", f"{amps:.3f}"] if swapped else [f"{amps:.3f}", f"{volts:.2f}"]
        stamp = str(int(at.timestamp())) if style == "epoch" else at.strftime(style)
        made.lines.append(delimiter.join([stamp, *(text.replace(".", mark) for text in texts)]))
        made.time_us.append(int(at.timestamp()) * 1_000_000)
        made.values.append((amps, volts))
    return made


def make(rng: random.Random) -> Case:
    """Return a case: rows damaged one by one in a made-up export, bytes of any export, or what is hardly one."""
    match rng.randrange(10):
        case 0 | 1 | 2 | 3 | 4 | 5:
            return _rows_damaged(rng)
        case 6 | 7 | 8:
            return _bytes_damaged(rng)
    return _hardly_an_export(rng)


def _rows_damaged(rng: random.Random) -> Case:
    made = table(rng)
    rows = list(zip(made.lines, made.time_us, made.values, strict=True))
    order = list(range(len(rows)))
    whole, removed, touched = dict(enumerate(made.lines)), set(), set()
    for _ in range(rng.randint(1, 4)):
        k = rng.randrange(len(rows))
        match rng.randrange(7):
            case 0 | 1 | 2:
                whole[k] = line_damaged(made.lines[k], rng, made.delimiter)
                touched.add(k)
            case 3:
                removed.add(k)
            case 4:
                order.insert(rng.randrange(len(order)), k)
            case 5:
                order.insert(min(order.index(k) + rng.randint(1, 3), len(order)), order.pop(order.index(k)))
            case 6:
                order.insert(rng.randrange(len(order)), -1)
    lines = [
        made.header,
        *(whole[k] if k >= 0 else rng.choice([made.header, "", "# note"]) for k in order if k not in removed),
    ]
    text = rng.choice(["\n", "\n", "\r\n"]).join(lines) + rng.choice(["\n", "\n", ""])
    data = text.encode(rng.choice(_ENCODINGS), "replace")
    known = {
        "rows": [[made.time_us[k], *made.values[k]] for k in range(len(rows)) if k not in removed | touched],
        "touched": sum(order.count(k) for k in touched),
        "unfinished": not text.endswith("\n"),
    }
    return _case({"a.csv": gzip.compress(data, mtime=0) if rng.random() < 0.05 else data}, made.options, known)


def _bytes_damaged(rng: random.Random) -> Case:
    made = table(rng)
    own = "\n".join([made.header, *made.lines, ""]).encode(rng.choice(_ENCODINGS))
    heads = _real_heads()
    data = bytes_damaged(rng.choice(heads) if heads and rng.random() < 0.7 else own, rng, rng.choice([2, 12, 60]))
    options = rng.choice([[], made.options, ["--decimal", "comma"], ["--start", "2026-06-13T09:30"]])
    return _case({"a.csv": packed(data, rng) if rng.random() < 0.1 else data}, [*options, "--allow-rejects"], {})


def _hardly_an_export(rng: random.Random) -> Case:
    made = table(rng)
    lines = [made.header, *made.lines]
    k = rng.randrange(len(lines))
    match rng.randrange(7):
        case 0:
            lines[k] = '"' * rng.choice([1, 3, 1001]) + lines[k]
        case 1:
            lines[k] += made.delimiter + "9" * rng.choice([5_000, 200_000])
        case 2:
            lines = [line + made.delimiter.join(["", *map(str, range(rng.choice([50, 2000])))]) for line in lines]
        case 3:
            lines = [line_damaged(line, rng, made.delimiter) if rng.random() < 0.6 else line for line in lines]
        case 4:
            lines = [
                made.delimiter.join(rng.choices(["A", "V", "(mA)", "1", "Time", "", "W", "0.5", "12:00"], k=4))
                for _ in lines
            ]
        case 5:
            lines[:1] = [
                rng.choice(["Time;A", "sep=;", "Serial, 12345", made.header * 3, ",,,"]),
                made.header,
                made.header,
            ]
        case 6:
            lines = [line.replace(made.delimiter, rng.choice(",;\t| "), rng.randrange(3)) for line in lines]
    text = "\n".join(lines)
    halves = (
        text[: len(text) // 2].encode(rng.choice(_ENCODINGS), "replace"),
        text[len(text) // 2 :].encode(rng.choice(_ENCODINGS), "replace"),
    )
    return _case({"a.csv": b"".join(halves)}, [*made.options, *rng.choice([[], ["--allow-rejects"]])], {})


def _case(files: dict[str, bytes], options: list[str], known: dict[str, Any]) -> Case:
    call = ["convert", *files, "--out", OUT, "--zone", "UTC", *options]
    rejects = f"{OUT}.rejects.csv"
    known |= {"may_write": [OUT, rejects], "may_leave": [rejects]}
    charge = [["charge", OUT, "--json"]] if len(files["a.csv"]) % 4 == 0 else []
    convert = [*call, "--json"] if len(files["a.csv"]) % 3 else call
    return Case("csv", files=files, calls=[convert, *charge], known=known)


@cache
def _real_heads() -> list[bytes]:
    """Return how the sample exports and the real ones begin."""
    heads = [gzip.decompress(path.read_bytes())[:_HEAD] for path in sorted((ROOT / "sample_data").glob("*.csv.gz"))]
    real = os.environ.get("SHUNTBOOK_REAL_DATA")
    paths = sorted(Path(real).rglob("*.csv")) if real else []
    for path in paths:
        with path.open("rb") as file:
            heads.append(file.read(_HEAD))
    return heads


def run(case: Case, folder: Path) -> str:
    """Convert, look at the log against what is known, and return how it ended."""
    calls, case.calls = case.calls, case.calls[:1]
    try:
        (done,) = run_commands(case, folder)
        if done["status"] == 0:
            _check(case.known, folder / OUT)
            charged = run_commands(Case(case.kind, calls=calls[1:]), folder)
            return "/".join(["converted", *(f"charge {each['status']}" for each in charged)])
    finally:
        case.calls = calls
    return f"refused {done['status']}"


def _check(known: dict[str, Any], path: Path) -> None:
    """Check the counts and, where they are known, the readings of a log."""
    log = open_log(path)
    counts = [getattr(log.meta, f"rows_{name}") for name in ("read", "kept", "rejected", "merged")]
    if counts[0] != sum(counts[1:]):
        raise Fault(f"rows read, kept, rejected, merged do not add up: {counts}")
    time_us = np.concatenate([part.time_us for part in log.scan([])])
    if len(time_us) != counts[1]:
        raise Fault(f"{len(time_us)} rows in the log, {counts[1]} said to be kept")
    columns = {q: np.concatenate([part.quantities[q] for part in log.scan([q])]) for q in log.quantities}
    if any(np.isinf(x).any() for x in columns.values()):
        raise Fault("an infinite reading")
    if "rows" in known:
        _check_rows(known, time_us.tolist(), columns, counts)


def _check_rows(known: dict[str, Any], time_us: list[int], columns: dict[str, Any], counts: list[int]) -> None:
    """Check that no row that was left alone is lost or changed, and none made up beyond those that were damaged."""
    x = [columns[q].tolist() if q in columns else [None] * len(time_us) for q in _QUANTITIES]
    rows = {at: tuple(each[k] for each in x) for k, at in enumerate(time_us)}
    right = {at: tuple(values) for at, *values in known["rows"]}
    spread = any(at % 1_000_000 for at in time_us)
    lost = [at for at in right if at not in rows]
    strange = [at for at in rows if at not in right]
    changed = [at for at, values in right.items() if at in rows and not _same(rows[at], values)]
    allowed = known["touched"]
    if len(lost) > known["unfinished"] or len(strange) > allowed or len(changed) > allowed:
        raise Fault(
            f"{len(lost)} rows lost, {len(strange)} made up, {len(changed)} changed by {allowed} damaged ones "
            f"(spread: {spread}); counts {counts}; lost {lost[:5]}, made up {strange[:5]}, "
            f"changed {[(at, right[at], rows[at]) for at in changed[:5]]}"
        )


def _same(values: tuple[Any, ...], right: tuple[float, ...]) -> bool:
    return all(a is not None and abs(a - b) < 1e-9 for a, b in zip(values, right, strict=True))
