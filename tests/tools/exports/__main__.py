"""Read exports of made-up loggers, in many styles, and hold what comes out against the truth.

Run it from the repository's root, in an environment with ``.[test]``::

    python tests/tools exports --count 3000 --seed 1
    python tests/tools exports --count 60 --style groups_of_points --keep wrong
    python tests/tools exports --count 1000 --mutated

A file is right within 0.2 %, right after what it asked, refused, or wrong; wrong and said if rows were rejected, if a
note tells of the damage or if the interval is wide enough. What is wrong in silence is printed, and ends this with
status 1 if it is more than 1 in 1,000. ``--refused`` prints refusals, too.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from exports.damage import DAMAGES
from exports.judging import Judgement
from exports.sheet import STYLES
from exports.tally import EVERY, Case, Tally, cases_of, keep, tally_of

#: Of so many files one may be wrong in silence.
ONE_IN = 1000


def main() -> int:
    """Make files, read them, and print a table; status 1 if too many are wrong in silence."""
    given = _parsed()
    names = given.style or list(DAMAGES if given.mutated else STYLES)
    began = time.monotonic()
    tally = tally_of(cases_of(names, given.count, given.seed), processes=given.processes)
    wrong = [each for each in tally.worth_reading if given.refused or each[1].verdict != "refused"]
    _print(wrong, tally)
    print(f"{tally.whole.total()} files in {time.monotonic() - began:.0f} s")
    if given.keep:
        keep(wrong, given.keep)
    return int(tally.whole["broken"] > 0 or tally.whole["wrong and silent"] * ONE_IN > tally.whole.total())


def _parsed() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Read exports of made-up loggers and hold them against the truth.")
    parser.add_argument("--count", type=int, default=3000, help="how many files, the styles in turn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--style", action="append", choices=list(EVERY), metavar="NAME", help="this one, may be given again"
    )
    parser.add_argument("--mutated", action="store_true", help="damaged files instead of whole ones")
    parser.add_argument("--refused", action="store_true", help="print and keep what was refused, too")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, metavar="DIR", help="a folder for what is printed")
    return parser.parse_args()


def _print(wrong: list[tuple[Case, Judgement]], tally: Tally) -> None:
    for case, judgement in wrong:
        print(f"{case.name}: {judgement.verdict}: {judgement.sentence}")
    print("\n".join(tally.rows()))


if __name__ == "__main__":
    raise SystemExit(main())
