"""Meet the program with wrong input of every kind, made by chance from a seed.

Run it from the repository's root, in an environment with ``.[test]``::

    python tests/tools fuzz --kind csv --cases 20000 --seed 1 --keep found
    python tests/tools fuzz --kind all --cases 500
    python tests/tools fuzz --kind big
    python tests/tools fuzz --replay found/csv-1-17.json

A case ends in a result, or in one plain sentence with status 2 or 3. Whatever else happens is told: a traceback, more
than 10 s, more than 1 GB, a file harmed or left behind, a number that the damage cannot explain. ``--kind big`` meets
``convert`` with a million columns, a gigabyte of zeros packed small, and lines of 200 MB.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from fuzz.big import run_big
from fuzz.case import load
from fuzz.kinds import KINDS
from fuzz.law import Fault
from fuzz.workers import Tally, run_all, run_case

#: How much of a fault is shown. [characters]
_SHOWN = 3000


def main() -> int:
    """Run what was asked for; status 1 if anything broke the law."""
    parser = argparse.ArgumentParser(description="Meet the program with wrong input, made by chance from a seed.")
    parser.add_argument("--kind", choices=[*KINDS, "all", "big"], default="all")
    parser.add_argument("--cases", type=int, default=1000, help="of each kind")
    parser.add_argument("--from-case", type=int, default=0, help="the first one's number")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="a folder for cases that break the law")
    parser.add_argument("--replay", type=Path, help="run such a case again")
    given = parser.parse_args()
    if given.replay:
        return _replay(given.replay)
    if given.kind == "big":
        return run_big()
    numbers = range(given.from_case, given.from_case + given.cases)
    wrong = 0
    for kind in KINDS if given.kind == "all" else [given.kind]:
        began = time.monotonic()
        tally = run_all(kind, given.seed, numbers, processes=given.processes, keep=given.keep)
        _print(kind, tally, time.monotonic() - began)
        wrong += len(tally.faults)
    return 1 if wrong else 0


def _replay(path: Path) -> int:
    try:
        print(run_case(load(path)))
    except Fault as fault:
        print(fault)
        return 1
    return 0


def _print(kind: str, tally: Tally, took_s: float) -> None:
    for name, fault in tally.faults:
        print(f"--- {name}\n{fault[-_SHOWN:]}")
    ended = ", ".join(f"{count} {how}" for how, count in tally.ended.most_common())
    print(f"{kind}: {tally.cases} cases in {took_s:.0f} s, {len(tally.faults)} faults ({ended})", flush=True)
