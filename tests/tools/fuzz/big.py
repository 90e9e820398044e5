"""Exports that are too large in one way, each converted once in a process of its own."""

from __future__ import annotations

import gzip
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from .workers import HANG_S, MEMORY_MOST

MB = 1_000_000


def _columns(path: Path) -> None:
    path.write_text(
        "Time," + ",".join(f"c{k}" for k in range(1_000_000)) + "\n" + "2026-06-13 10:00:00" + ",1" * 1_000_000
    )


def _columns_of_amps(path: Path) -> None:
    rows = "".join(f"2026-06-13 10:00:0{k},1.5" + "," * 1_000_000 + "\n" for k in range(5))
    path.write_text("Time,Current (A)" + "," * 1_000_000 + "\n" + rows)


def _bomb(path: Path) -> None:
    with gzip.open(path, "wb", compresslevel=9) as file:
        for _ in range(1000):
            file.write(bytes(MB))


def _packed_line(path: Path) -> None:
    with gzip.open(path, "wb", compresslevel=1) as file:
        file.write(b"Time,Current (A)\n2026-06-13 10:00:00,1.5\n2026-06-13 10:00:01,")
        for _ in range(1000):
            file.write(b"9" * MB)


def _line(path: Path) -> None:
    with path.open("wb") as file:
        for _ in range(200):
            file.write(b"2026-06-13 10:00:00,1.5," * (MB // 24))


def _field(path: Path) -> None:
    rows = b"".join(b"2026-06-13 10:00:%02d,1.5\n" % k for k in range(40))
    path.write_bytes(b"Time,Current (A)\n" + rows + b'2026-06-13 10:01:00,"' + b"9" * 200 * MB + b'"\n' + rows)


def _feeds(path: Path) -> None:
    path.write_bytes(b"\n" * (200 * MB))


BIG: dict[str, Callable[[Path], None]] = {
    "a million columns": _columns,
    "a million columns, empty but for one": _columns_of_amps,
    "a gigabyte of zeros packed small": _bomb,
    "a line of a gigabyte packed small": _packed_line,
    "a line of 200 MB": _line,
    "a field of 200 MB": _field,
    "200 million line ends": _feeds,
}
_CODE = "from shuntbook.cli.main import main; main()"


def run_big() -> int:
    """Convert each, print what it took and said; status 1 where one breaks the law."""
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        for name, make in BIG.items():
            path = Path(folder) / "big.csv"
            make(path)
            wrong += _convert(name, path)
            path.unlink()
    return 1 if wrong else 0


def _processor_s() -> float:
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def _convert(name: str, path: Path) -> bool:
    out = path.with_name("log.parquet")
    began_s = _processor_s()
    command = [sys.executable, "-c", _CODE, "convert", str(path), "--out", str(out), "--zone", "UTC"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as process:
        _, err = process.communicate()
    took_s, peak = _processor_s() - began_s, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    left = {each.name for each in path.parent.iterdir()} - {path.name, out.name, f"{out.name}.rejects.csv"}
    good = process.returncode in (0, 2, 3) and peak < MEMORY_MOST and took_s < HANG_S and not left
    print(f"{'' if good else 'FAULT: '}{name}: status {process.returncode}, {took_s:.1f} s of processor time")
    print(f"  {err[:300].strip()} (most memory so far {peak / MB:.0f} MB)", flush=True)
    for each in path.parent.iterdir():
        if each != path:
            each.unlink()
    return not good
