"""The answer, in the same words everywhere: what the load took by itself, and beside it what the bank gave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import numbers

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycles
    from ....analysis.one_log.log_report import LogReport


@dataclass(frozen=True)
class LoadTotal:
    """What all runs of one load took together, ready to be shown: figures with their 95 % intervals.

    ``load`` is its name with the article; ``charge`` and ``energy`` are None where they were not measured.
    """

    load: str
    runs: int
    charge: str | None
    energy: str | None

    @property
    def sentence(self) -> str:
        """The answer in one sentence, for instance ``The well pump took 8.35 Ah ± 0.08 (206 Wh ± 2) in 10 runs.``"""
        took = [text for text in (self.charge, self.energy) if text is not None]
        amounts = took[0] if len(took) == 1 else f"{took[0]} ({took[1]})"
        return f"{numbers.capital(self.load)} took {amounts} in {numbers.counted(self.runs, 'run')}."


def load_total(cycles: Cycles, name: str) -> LoadTotal | None:
    """Return what all runs of a load took, `name` with its article; None where no run was seen or nothing measured."""
    summary = cycles.summary
    if not summary.count or (summary.charge_Ah is None and summary.energy_Wh is None):
        return None
    charge, energy = (
        None if x is None else numbers.plus_minus(x, u95, unit)
        for x, u95, unit in (
            (summary.charge_Ah, summary.charge_u95_Ah, "Ah"),
            (summary.energy_Wh, summary.energy_u95_Wh, "Wh"),
        )
    )
    return LoadTotal(name, summary.count, charge, energy)


def load_took(log: LogReport) -> LoadTotal | None:
    """Return what the load of a log took by itself; None where no run was seen or nothing measured."""
    from .log_sentences import load_name  # a capture says what a load took, and nothing of a whole log

    return load_total(log.cycles, load_name(log))


def bank_gave(log: LogReport) -> str | None:
    """Say what all loads took out of the bank together; None of a log from behind an inverter, or without amounts."""
    if log.facts.side != "dc":
        return None
    both = [
        numbers.plus_minus(amounts.drawn, amounts.drawn_u95, unit)
        for amounts, unit in ((log.charge.charge, "Ah"), (log.charge.energy, "Wh"))
        if amounts is not None
    ]
    if not both:
        return None
    return f"Out of the bank, all loads: {both[0] if len(both) == 1 else f'{both[0]} ({both[1]})'}."
