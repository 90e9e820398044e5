"""Logs and journals that are damaged, foreign or wrong in what they say of themselves."""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Callable
from contextlib import closing
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from shuntbook.ingest.events import Reading
from shuntbook.ingest.journal.journal import Journal, journal_path
from shuntbook.ingest.journal.lines import seal
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import METADATA_KEY, LogMeta

from .case import Case
from .damage import bytes_damaged
from .law import run_commands

_T0_US = 1_781_000_000_000_000
_WRONG_NOTES: tuple[Any, ...] = (
    None, 0, -1, 1.5, 1e300, 10**400, True, "", "x", "\x1b[31m", "x" * 5000, [], [[]], [1], {}, {"a": 1}, [[0, "x"]],
    [[_T0_US, "crates"]], [["x", 0]], [[1e300, "x"]], [{"at_us": 1, "step_s": 1e300}], "dc", "ac", "mean", "held",
    "Mars/Base", "../../etc", "UTC", 1e-300, 86_400.0, [{"name": 1}], [[True, "x"]], "\u202e", [[10**18, "x"]],
    1e200, 1e13, 5e-324, float("nan"), float("inf"), 10**17, "\ud800", [[_T0_US, "\udc9b"]], [{"name": "\ud83d"}],
    "x" * 2_000_000, ["y" * 2_000_000], [{"name": {"a": 1}}], "right/UTC", "localtime", "a/" * 5000,
    [[_T0_US, "\x1b]0;title\x07\x9b2J"]], ["\x1b[2J\u202e\u2066"], [{"name": "\x9d0;title\x9c"}],
)  # fmt: skip


def _readings() -> Readings:
    """Return twenty minutes of a pump that runs every three."""
    k = np.arange(1200)
    amps = np.where(k % 180 < 60, 40.0 + k % 7 / 10, 2.0 + k % 5 / 100)
    amps[k % 180 == 0] = 95.0
    return Readings(_T0_US + k * 1_000_000, {"current_A": amps, "voltage_V": 25.0 - amps / 100})


def _made(readings: Readings, meta: LogMeta) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.parquet"
        with new_log(path, list(readings.quantities)) as writer:
            writer.write(to_batch(readings))
            writer.finish(meta)
        return path.read_bytes()


@cache
def plain_log() -> bytes:
    """Return a log that is in order."""
    return _made(_readings(), LogMeta(gap_limit_s=10.0, usual_interval_s=1.0, markers=[(_T0_US, "crates")]))


@cache
def _plain_journal() -> bytes:
    with tempfile.TemporaryDirectory() as folder, mock.patch("secrets.token_hex", return_value="0" * 32):
        log = Path(folder) / "a.parquet"
        with closing(Journal(log, LogMeta(), ["current_A", "voltage_V"])) as journal:
            for n in range(60):
                journal.append_reading(Reading(_T0_US + n * 1_000_000, {"current_A": n / 4, "voltage_V": 24.0}))
            journal.append_marker(_T0_US, "crates")
        return journal_path(log).read_bytes()


def make(rng: random.Random) -> Case:
    """Return a case."""
    kinds: list[Callable[[random.Random], dict[str, bytes]]] = [
        _damaged,
        _foreign,
        _wrong_notes,
        _wrong_notes,
        _folder,
        _journal,
    ]
    # Names mean something to others: a URL's scheme, bytes that are no text, commands to a terminal.
    log = rng.choice([*["a.parquet"] * 9, "pump:a.parquet", "a\udcff.parquet", "a\x1b]0;title\x07\x9b2J.parquet"])
    made = rng.choice(kinds)(rng)
    files = {f"{log}{name[9:]}" if name.startswith("a.parquet") else name: content for name, content in made.items()}
    calls = [["look", log], ["charge", log, "--json"]]
    if rng.random() < 0.5:
        calls.append(["cycles", log, "--json"])
    if rng.random() < 0.15:
        calls.append(["report", log, "--json"])
    if rng.random() < 0.15:
        files["plain.parquet"] = plain_log()
        calls.append(["compare", *rng.sample([log, "plain.parquet"], 2), "--json"])
    if rng.random() < (0.1 if files.keys() == {log} else 0.02):  # it begins a process
        calls.append(["fleet", ".", "--out", "fleet.parquet", "--json", "--workers", "1"])
    if rng.random() < 0.1:
        calls.append(["convert", log, "--out", "b.parquet", "--zone", "UTC", "--json"])
    rng.shuffle(calls)
    written = ["fleet.parquet", "fleet.parquet.rows"]
    may_change = (
        [log, f"{log}.journal", f"{log}.rejects.csv", f"{log}.journal.damaged-00000000"]
        if f"{log}.journal" in files
        else []
    )
    known = {"may_write": written, "may_leave": written, "may_change": may_change}
    return Case("log", files=files, calls=calls, known=known)


def _damaged(rng: random.Random) -> dict[str, bytes]:
    whole = plain_log()
    match rng.randrange(5):
        case 0:
            return {"a.parquet": whole[: rng.randrange(len(whole))]}
        case 1:
            return {"a.parquet": whole[rng.randrange(len(whole)) :]}
        case 2:
            return {"a.parquet": bytes_damaged(whole, rng, 3)}
    out = bytearray(whole)
    footer = int.from_bytes(whole[-8:-4], "little") + 8
    for _ in range(rng.randint(1, 6)):
        at = len(out) - 1 - rng.randrange(footer) if rng.random() < 0.6 else rng.randrange(len(out))
        out[at] = rng.randrange(256) if rng.random() < 0.5 else out[at] ^ 1 << rng.randrange(8)
    return {"a.parquet": bytes(out)}


def _stored(table: pa.Table, notes: bytes | None = None, **how: Any) -> bytes:
    if notes is not None:
        table = table.replace_schema_metadata({METADATA_KEY: notes})
    out = BytesIO()
    pq.write_table(table, out, **how)
    return out.getvalue()


def _foreign(rng: random.Random) -> dict[str, bytes]:
    count = rng.choice([0, 1, 2, 30])
    seconds = np.arange(count) * rng.choice([1, 60, 0, 86_400])
    if rng.random() < 0.3:
        seconds = np.array([rng.choice([-(2**62), -1, 0, 5, 2**40, 2**62]) for _ in range(count)], dtype=np.int64)
    us = np.clip(seconds.astype(float) * 1e6 + rng.choice([0, _T0_US]), -(2**62), 2**62).astype(np.int64)
    if rng.random() < 0.2:
        us = us[::-1].copy()
    unit, zone = (
        rng.choice(["us", "us", "us", "ns", "ms", "s"]),
        rng.choice(["UTC", "UTC", "UTC", None, "Europe/London"]),
    )
    per_us = {"us": 1, "ns": 1, "ms": 1_000, "s": 1_000_000}[unit]  # ns then mean other years, which does no harm
    time = pa.array((us // per_us).tolist(), pa.timestamp(unit, tz=zone))
    if rng.random() < 0.15:
        time = rng.choice(
            [
                time.cast(pa.int64()),
                pa.array([None] * count, time.type),
                pa.array(["x"] * count),
                time.dictionary_encode(),
            ]
        )
    columns = {rng.choice(["time", "time", "time", "time", "Time", "t"]): time}
    for name in rng.sample(
        ["current_A", "voltage_V", "power_W", "charge_Ah", "energy_Wh", "power_factor", "amps", "temperature_degC"],
        rng.randint(0, 3),
    ):
        columns[name] = _column(count, rng)
    table = pa.table(columns)
    if rng.random() < 0.1 and count:
        table = pa.table(
            [*table.columns, table.column(table.num_columns - 1)], names=[*table.column_names, table.column_names[-1]]
        )
    group = rng.choice([1, 7, 1000])
    return {"a.parquet": _stored(table, row_group_size=group, compression=rng.choice(["none", "zstd", "gzip"]))}


def _column(count: int, rng: random.Random) -> pa.Array:
    numbers = [
        rng.choice([0.0, -0.0, 1.5, -40.0, 1e308, -1e308, 1e-320, float("nan"), float("inf"), None, 1e14])
        for _ in range(count)
    ]
    match rng.randrange(8):
        case 0:
            return pa.array([1] * count, pa.int32())
        case 1:
            return pa.array([1.5] * count, pa.float32())
        case 2:
            return pa.array([[1.5]] * count, pa.list_(pa.float64()))
        case 3:
            return pa.array([None] * count, pa.float64())
        case 4:
            return pa.array(["1.5"] * count).dictionary_encode()
        case 5:
            return pa.array([rng.gauss(5, 3) for _ in range(count)], pa.float64())
    return pa.array(numbers, pa.float64())


def _wrong_notes(rng: random.Random) -> dict[str, bytes]:
    table = pq.read_table(BytesIO(plain_log()))
    notes: Any = json.loads(pq.read_metadata(BytesIO(plain_log())).metadata[METADATA_KEY])
    for _ in range(rng.randint(1, 3)):
        match rng.randrange(4):
            case 0 | 1:
                notes[rng.choice(list(notes))] = rng.choice(_WRONG_NOTES)
            case 2:
                notes.pop(rng.choice(list(notes)), None)
            case 3:
                notes["format"] = rng.choice(
                    ["1.9", "2.0", "999.0", "", "x", "-1.0", "1", 1, 1.0, None, [], "1.0.0", "0.1", "\u0661.0"]
                )
    raw = json.dumps(notes).encode()
    if rng.random() < 0.1:
        raw = rng.choice([b"", b"null", b"[]", b"1", b"{", b"[" * 100_000, b'"x"', bytes_damaged(raw, rng)])
    return {"a.parquet": _stored(table, raw)}


def _folder(rng: random.Random) -> dict[str, bytes]:
    readings = _readings()
    files = {}
    for k in range(rng.randint(1, 3)):
        shifted = Readings(readings.time_us + rng.choice([k, k, 0]) * 1_200_000_000, readings.quantities)
        meta = LogMeta(
            side=rng.choice(["dc"] * 5 + ["ac"]), gap_limit_s=rng.choice([None, 10.0]), undated=rng.random() < 0.1
        )
        files[f"a.parquet/part{k}.parquet"] = _made(shifted, meta)
    strange = {
        "notes.txt": b"hello",
        ".hidden.parquet": b"",
        "b.parquet": b"x",
        "sub/c.parquet": plain_log(),
        "d.parquet.journal": b"x",
    }
    for name in rng.sample(list(strange), rng.randint(0, 2)):
        files[f"a.parquet/{name}"] = strange[name]
    return files


def _journal(rng: random.Random) -> dict[str, bytes]:
    whole = _plain_journal()
    match rng.randrange(4):
        case 0:
            torn = whole[: rng.randrange(len(whole))]
        case 1:
            torn = whole + rng.randbytes(rng.choice([1, 100, 5000]))
        case 2:
            torn = _sealed_again(whole, rng)
        case _:
            torn = bytes_damaged(whole, rng, 3)
    files = {"a.parquet.journal": torn}
    if rng.random() < 0.3:
        files["a.parquet"] = plain_log()
    return files


def _sealed_again(whole: bytes, rng: random.Random) -> bytes:
    """Return a journal with records of wrong shapes, whose checksums are right."""
    bodies: list[Any] = [json.loads(line[:-9]) for line in whole.splitlines()]
    for _ in range(rng.randint(1, 4)):
        k = rng.randrange(len(bodies)) if rng.random() < 0.7 else 0
        match bodies[k]:
            case dict() as head:
                head[rng.choice(list(head))] = rng.choice(_WRONG_NOTES)
            case list() as record if record:
                record[rng.randrange(len(record))] = rng.choice(_WRONG_NOTES)
            case _:
                bodies[k] = rng.choice(_WRONG_NOTES)
    out, key = b"", 0
    for body in bodies:
        line, check = seal(body, len(out), key)
        key = key or check
        out += line
    return out


def run(case: Case, folder: Path) -> str:
    """Run the commands and return how each ended."""
    results = run_commands(case, folder)
    return "all 0" if all(result["status"] == 0 for result in results) else "some refused"
