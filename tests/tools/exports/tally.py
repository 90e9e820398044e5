"""Many exports judged in worker processes, and counted by style."""

from __future__ import annotations

import multiprocessing
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zlib import crc32

import numpy as np

# these modules register their styles
from . import amounts, books, changes, counts, dates, mixtures, signs, tables  # noqa: F401
from .damage import DAMAGES
from .judging import VERDICTS, Judgement, judge
from .sheet import STYLES, Export

EVERY = {**STYLES, **DAMAGES}


@dataclass(frozen=True)
class Case:
    """A style and the number of one of its files."""

    style: str
    seed: int
    number: int

    @property
    def name(self) -> str:
        """What its file is called when it is kept."""
        return f"{self.style}_{self.seed}_{self.number}"

    def export(self) -> Export:
        """Return the file, always the same one."""
        return EVERY[self.style](np.random.default_rng([crc32(self.style.encode()), self.seed, self.number]))


@dataclass
class Tally:
    """How many files of each style came out how, and the wrong ones."""

    of_style: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    worth_reading: list[tuple[Case, Judgement]] = field(default_factory=list)

    def add(self, case: Case, judgement: Judgement) -> None:
        """Count one."""
        self.of_style[case.style][judgement.verdict] += 1
        if judgement.verdict not in ("right", "asked"):
            self.worth_reading.append((case, judgement))

    @property
    def whole(self) -> Counter[str]:
        """The sum over all styles."""
        return sum(self.of_style.values(), Counter())

    def rows(self) -> Iterator[str]:
        """Yield a line a style and one for all, beneath their titles."""
        yield "".join([f"{'style':<40}", *(verdict.rjust(len(verdict) + 2) for verdict in VERDICTS)])
        for name, counted in [*sorted(self.of_style.items()), ("all", self.whole)]:
            yield "".join([f"{name:<40}", *(str(counted[v] or "-").rjust(len(v) + 2) for v in VERDICTS)])


def judged(case: Case) -> Judgement:
    """Make a file and judge it, in a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        return judge(case.export(), Path(folder))


def cases_of(names: Sequence[str], count: int, seed: int) -> list[Case]:
    """Return so many cases, the styles in turn."""
    return [Case(names[k % len(names)], seed, k // len(names)) for k in range(count)]


def tally_of(cases: Sequence[Case], *, processes: int) -> Tally:
    """Judge cases in processes of their own."""
    tally = Tally()
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for case, judgement in zip(cases, pool.imap(judged, cases, chunksize=8), strict=True):
            tally.add(case, judgement)
    return tally


def keep(cases: Sequence[tuple[Case, Judgement]], folder: Path) -> None:
    """Write files that came out wrong, with what was said of them beside each."""
    folder.mkdir(parents=True, exist_ok=True)
    for case, judgement in cases:
        export = case.export()
        (folder / f"{case.name}{export.suffix}").write_bytes(export.content)
        text = (
            f"{judgement.verdict}\n{judgement.sentence}\noptions {' '.join(export.options)}\nanswers {export.answers}\n"
            f"truth {export.truth}\n"
        )
        (folder / f"{case.name}.txt").write_text(text, encoding="utf-8")
