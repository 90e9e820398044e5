"""The answer, in the same words everywhere: what the load took by itself, and beside it what the bank gave."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from ....analysis.cycles.cycle import CycleSummary, lower_end
from ....analysis.cycles.taken_by_load import RunPieces, TakenByLoad, taken_between, taken_by_load
from ....analysis.health.finding import is_swapped
from . import numbers
from .numbers import at_least

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts
    from ....analysis.cycles.cycle import Cycles
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.day_figures import DayFigures, LoadUse
    from ....analysis.several_logs.over_logs import OverLogs

#: What stands in place of an amount where draw and return seem to be swapped.
UNTIL_TURNED: Final = "until the log is turned"
#: What stands before a lower bound.
AT_LEAST: Final = "at least "


@dataclass(frozen=True)
class LoadTotal:
    """What all runs of one load took together, ready to be shown: figures with their 95 % intervals.

    ``load`` is its name with the article; ``charge`` and ``energy`` are None where they were not measured. ``runs`` are
    those seen, ``counted`` those whose amount is known and in the figure, ``in_part`` those without an end, which count
    as far as they were seen. ``either``: two loads of like draw ran, and the log does not tell which is which.
    ``too_brief`` are runs beside those, so many at the least, that nobody could measure: figures say ``at least`` then.
    ``in_clouds``: clouds step by about its draw, and may have made some of the runs; there is no interval then.
    """

    load: str
    runs: int
    charge: str | None
    energy: str | None
    counted: int
    in_part: int = 0
    either: bool = False
    too_brief: int = 0
    in_clouds: bool = False

    @property
    def in_runs(self) -> str:
        """How many runs are in the figure: ``10 runs``, ``8 of 10 runs`` where not all have an amount."""
        if self.too_brief:
            return f"{self.counted:,} of {numbers.counted(self.runs + self.too_brief, 'run')} or more"
        runs = numbers.counted(self.runs, "run")
        if self.counted < self.runs:
            return f"{self.counted:,} of {runs}"
        if self.in_clouds:
            return f"{runs}, some of them perhaps clouds"
        part = f"{self.in_part:,} of them seen only in part" if self.runs > 1 else "seen only in part"
        return f"{runs}, {part}" if self.in_part else runs

    @property
    def amounts(self) -> str:
        """What it took in both units, for instance ``8.35 Ah ± 0.08 (206 Wh ± 2)``, or in the one that is known."""
        return one_or_both([text for text in (self.charge, self.energy) if text is not None])

    @property
    def took(self) -> str:
        """The answer without its subject: ``took 8.35 Ah ± 0.08 (206 Wh ± 2) in 10 runs``."""
        return f"took {self.amounts} in {self.in_runs}"

    @property
    def sentence(self) -> str:
        """The answer in one sentence, for instance ``The well pump took 8.35 Ah ± 0.08 (206 Wh ± 2) in 10 runs.``"""
        who = f"{numbers.capital(self.load)}{', or another load of like draw,' if self.either else ''}"
        if self.counted < self.runs:
            return f"{who} {self.took}; of the others the amount is not known."
        if self.too_brief:
            return f"{who} {self.took}; the others were too brief to be measured."
        return f"{who} {self.took}."


def load_total(cycles: Cycles, name: str) -> LoadTotal | None:
    """Return what all runs of a load took, `name` with its article; None where no run was seen or nothing measured."""
    total, two = total_of(taken_by_load(cycles), name), cycles.two_kinds
    if total is None:
        return None
    either = two is not None and two.own is None
    return replace(total, either=either, in_clouds=cycles.in_clouds)


def total_of(taken: TakenByLoad, name: str, *, least: bool = False) -> LoadTotal | None:
    """Return what was added up of a load's runs, `name` with its article; None where nothing was measured.

    Amounts are lower bounds where runs were too brief, and where they are said to be the `least`.
    """
    if taken.charge_Ah is None and taken.energy_Wh is None:
        return None
    # Both amounts are said of the same runs: where fewer have the one, the other stands alone.
    most = max(taken.runs_with_Ah, taken.runs_with_Wh)
    charge = (taken.charge_Ah, taken.charge_u95_Ah) if taken.runs_with_Ah == most else (None, None)
    energy = (taken.energy_Wh, taken.energy_u95_Wh) if taken.runs_with_Wh == most else (None, None)
    in_part, brief = taken.runs_in_part if most == taken.runs else 0, taken.runs_too_brief
    figures = _figures(charge, energy, least=least or brief > 0)
    return LoadTotal(name, taken.runs, *figures, most, in_part, too_brief=brief)


_Amount = tuple[float | None, float | None]


def _figures(charge: _Amount, energy: _Amount, *, least: bool) -> tuple[str | None, str | None]:
    """Return both amounts as texts, None for one that is not known; of lower bounds the first says so for both."""
    in_Ah = None if charge[0] is None else amount_told(*charge, "Ah", least=least)
    in_Wh = None if energy[0] is None else amount_told(*energy, "Wh", least=least)
    first_says = "" if in_Ah is None else AT_LEAST
    return in_Ah, None if in_Wh is None else in_Wh.removeprefix(first_says)


def amount_told(x: float | None, u95: float | None, unit: str, *, least: bool) -> str:
    """Return an amount with half of its interval, or as a lower bound."""
    return f"{AT_LEAST}{at_least(x)} {unit}" if least and x else numbers.plus_minus(x, u95, unit)


def bounded(text: str, *, least: bool) -> str:
    """Return a count, a rate or a share; said to be a lower bound where it is the `least`."""
    return f"{AT_LEAST}{text}" if least and text != numbers.UNKNOWN else text


def starts_told(of: CycleSummary | DayFigures) -> str:
    """Return how often a load started in a log or on a day."""
    seen = of.count if isinstance(of, CycleSummary) else of.runs
    return numbers.UNKNOWN if seen is None else bounded(f"{seen + of.too_brief:,}", least=of.at_least)


def rate_told(of: CycleSummary | DayFigures) -> str:
    """Return how often it started in an hour."""
    seen, rate = (of.count, of.starts_per_hour) if isinstance(of, CycleSummary) else (of.starts, of.starts_per_h)
    # Those too brief to be measured are so many more in the same time.
    return bounded(numbers.number(rate and rate * (1 + of.too_brief / max(seen, 1))), least=of.at_least)


def use_told(use: LoadUse, unit: Literal["Ah", "Wh"]) -> str:
    """Return what a load took by itself in a stretch of time."""
    amount = (use.charge_Ah, use.charge_u95_Ah) if unit == "Ah" else (use.energy_Wh, use.energy_u95_Wh)
    return amount_told(*amount, unit, least=use.at_least)


def load_took(log: LogReport) -> LoadTotal | None:
    """Return what the load of a log took by itself; None where no run was seen, nothing measured, or the sign wrong."""
    from . import log_sentences  # not where a capture asks what a load took

    # A wrong figure told large is worse than none.
    return None if is_swapped(log.findings) else load_total(log.cycles, log_sentences.load_name(log))


def load_between(cycles: Cycles, start_us: int, stop_us: int) -> str:
    """Say what the load that was looked for took between two instants [us]; empty where that is not known."""
    two = cycles.two_kinds
    # Where no run was seen at all, two loads are not told apart, or runs are missing, nothing is said of one.
    if not cycles.cycles or cycles.summary.too_brief or (two is not None and two.own is None):
        return ""
    taken, pieces = taken_between(cycles, start_us, stop_us)
    cut = _in_pieces(pieces, others=taken.runs > 0)
    if not taken.runs:
        return cut or "no run"
    total = total_of(taken, "")
    return "" if total is None else f"{total.amounts} in {total.in_runs}{cut and ', and '}{cut}"


def _in_pieces(pieces: RunPieces, *, others: bool) -> str:
    """Say about how much runs took on this side of a note that lies within them; empty where there are none."""
    if not pieces.runs:
        return ""
    one, many = ("part of another", "parts of {} others") if others else ("part of a run", "parts of {} runs")
    which = one if pieces.runs == 1 else many.format(pieces.runs)
    both = ((pieces.charge_Ah, "Ah"), (pieces.energy_Wh, "Wh"))
    known = [f"{numbers.two_digits(x)} {unit}" for x, unit in both if x]
    return f"about {one_or_both(known)} in {which}" if known else f"an amount not known in {which}"


def one_or_both(amounts: list[str]) -> str:
    """Return amounts in one unit or in both, for instance ``8.35 Ah ± 0.08 (206 Wh ± 2)``; empty without any."""
    return f"{amounts[0]} ({amounts[1]})" if len(amounts) == 2 else "".join(amounts)


def load_took_over(over: OverLogs) -> LoadTotal | None:
    """Return what the load took by itself in all logs that are added up; None where no run was seen, or one is swapped.

    Of runs whose amount is not known it says how many they are.
    """
    from . import log_sentences  # not where a capture asks what a load took

    taken = taken_over(over)
    if taken is None:
        return None
    ran = [log for log in added_up(over) if log.cycles.cycles]
    total = total_of(taken, log_sentences.load_name(ran[0]), least=over.at_least)
    return total and replace(total, in_clouds=any(log.cycles.in_clouds for log in ran))


def taken_over(over: OverLogs) -> TakenByLoad | None:
    """Add up what the load took in all logs that count; None where no run was seen, or a log's sign seems wrong."""
    logs = [log for log in added_up(over) if log.cycles.cycles]
    if over.whole is None or not logs or any(is_swapped(log.findings) for log in logs):
        return None
    runs, use = over.whole.starts, over.whole.use
    each = [taken_by_load(log.cycles) for log in logs]
    # Of a part of a log, where logs overlap, nobody knows which of its runs have an amount.
    apart = sum(part.runs for part in each) == runs
    charge, energy = (use.charge_Ah, use.charge_u95_Ah, runs), (use.energy_Wh, use.energy_u95_Wh, runs)
    if any(log.cycles.summary.charge_Ah is None for log in logs):
        charge = _sum([(x.charge_Ah, x.charge_u95_Ah, x.runs_with_Ah) for x in each] if apart else [], use.at_least)
    if any(log.cycles.summary.energy_Wh is None for log in logs):
        energy = _sum([(x.energy_Wh, x.energy_u95_Wh, x.runs_with_Wh) for x in each] if apart else [], use.at_least)
    return TakenByLoad(runs, 0, charge[2], energy[2], *charge[:2], *energy[:2], over.too_brief)


_Summed = tuple[float | None, float | None, int]


def _sum(amounts: list[_Summed], least: bool) -> _Summed:
    """Return a sum of what is known, half of its interval and how many runs it is of."""
    # One lower bound makes the sum of all one.
    ends = [(lower_end(x, u95) if least else x, u95) for x, u95, _ in amounts]
    known = [(x, u95) for x, u95 in ends if x is not None]
    halves = [u95 for _, u95 in known if u95 is not None]
    half = sum(halves) if known and len(halves) == len(known) and not least else None
    return (sum(x for x, _ in known) if known else None), half, sum(runs for *_, runs in amounts)


def first_answer(log: LogReport) -> str:
    """Return the answer of a log in one sentence: what its load took, or that no run of it was seen."""
    from . import log_sentences  # not where a capture asks what a load took

    if is_swapped(log.findings):
        return f"What {log_sentences.load_name(log)} took is not known {UNTIL_TURNED}."
    total = load_took(log)
    if total is not None:
        return total.sentence
    if log.cycles.summary.count:
        runs = numbers.counted(log.cycles.summary.count, "time")
        return f"{numbers.capital(log_sentences.load_name(log))} ran {runs}; what it took is not known."
    return log_sentences.ran(log)


def bank_gave(log: LogReport) -> str | None:
    """Say what all loads took out of the bank together, and what surely came past it: else a load took more than all.

    None of a log from behind an inverter, without amounts, or with a sign that seems to be wrong.
    """
    both = _bank_gave(log)
    if both is None:
        return None
    straight = _straight(log)
    past = "" if straight is None else f", and at least {straight} straight from {_source(log)}"
    return f"Out of the bank, all loads: {both}{past}."


def bank_gave_over(over: OverLogs) -> str | None:
    """Say what all loads took out of the bank in all logs that are added up; None as for one log."""
    whole = over.whole
    if over.side != "dc" or whole is None or any(is_swapped(log.findings) for log in added_up(over)):
        return None
    both, straight = _drawn(whole.charge, whole.energy), _straight_over(over)
    past = f", and at least {straight} straight from {_source(over.logs[0].log)}" if straight else ""
    return None if both is None else f"Out of the bank, all loads: {both}{past}."


def added_up(over: OverLogs) -> list[LogReport]:
    """Return the logs that take part in what several show together."""
    left_out = {id(left.log) for left in over.left_out}
    return [one.log for one in over.logs if id(one.log) not in left_out]


def _bank_gave(log: LogReport) -> str | None:
    return all_loads_took(log) or None if log.facts.side == "dc" else None


def all_loads_took(log: LogReport) -> str:
    """Return what all loads took together where the meter sits; empty without amounts or where the sign seems wrong."""
    if is_swapped(log.findings):
        return ""
    # Amps behind an inverter are no charge of the bank.
    return _drawn(log.charge.charge if log.facts.side == "dc" else None, log.charge.energy) or ""


def _drawn(charge: Amounts | None, energy: Amounts | None) -> str | None:
    both = [
        numbers.plus_minus(amounts.drawn, amounts.drawn_u95, unit)
        for amounts, unit in ((charge, "Ah"), (energy, "Wh"))
        if amounts is not None
    ]
    return one_or_both(both) or None


def past_the_bank(log: LogReport) -> str:
    """Say how much of what the load took surely did not come out of the bank, as it goes on in a sentence; or nothing.

    It belongs to the figure: beside what the bank gave to all loads that alone would look impossible.
    """
    return _past(_straight(log), log)


def past_the_bank_over(over: OverLogs) -> str:
    """Say the same of what the load took in all logs that are added up."""
    return _past(_straight_over(over), over.logs[0].log)


def _past(straight: str | None, log: LogReport) -> str:
    source = "the array" if log.has_array else "what charged it"
    return "" if straight is None else f", at least {straight} of it straight from {source}"


def _straight(log: LogReport) -> str | None:
    from ....analysis.one_log.from_array import straight_in  # a capture has no sun to tell of

    least, unit = straight_in(log)
    return f"{at_least(least)} {unit}" if least > 0 else None


def _straight_over(over: OverLogs) -> str | None:
    from ....analysis.one_log.from_array import straight_in_all

    least, unit = straight_in_all(added_up(over), 0 if over.whole is None else over.whole.starts)
    return f"{at_least(least)} {unit}" if least > 0 else None


def _source(log: LogReport) -> str:
    # Without an array in the site file it may have been a charger.
    return "the array" if log.has_array else "what charged the bank"
