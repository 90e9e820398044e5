"""Whether the bank gives what is asked of it: by its protection's limits, its resistance, and lead-acid by its size.

A bank of lead-acid can always be held against its size. Of any other kind its protection decides, which opens without
a warning: where its limits are not given it was not judged, and nothing else makes it hold.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from ..equipment.bank_voltage import charging_V
from ..equipment.judged import Condition, Judged, Judgement, worst
from ..equipment.solar import performance_ratio_of
from ..not_known import Missing
from ..site.battery_kinds import LEAD_ACID, SIZE_SOURCE, DrawOverSize, kind_of
from ..site.tables import Array, Bank, Charger
from ..stats.interval95 import Within
from .resistance import Resistance
from .sag import Sag, most_W


@dataclass(frozen=True)
class Asked:
    """What is asked of the bank.

    `running_A` flows without a break, None where it is not known; `starting_A` while the hardest load starts, None
    where no start asks more than running. `whose` says what starts, as it stands in a sentence: ``with 'pump'
    starting``; `start_W` is its power, where it is from a plate. What is `left_out` makes of it a lower bound, and so
    do readings that may have missed the highest of a start (`seen_in_part`).
    """

    running_A: Within | None
    starting_A: Within | Missing | None
    start_s: float
    whose: str
    start_W: Within | None = None
    left_out: tuple[Missing, ...] = ()
    seen_in_part: bool = False
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True)
class BankCheck:
    """What the bank makes of what is asked of it.

    `verdict` is the worst word of all that was compared; None, not judged, where nothing wrong was found and what
    decides is missing: then `not_judged` holds it, with the keys to add. `parts` are what was compared, but for the
    sag; `volts_open` tells that something switches off at a voltage, and that at a start is not known.
    """

    verdict: Judgement | None
    parts: tuple[Judged, ...]
    sag: Sag | Missing
    not_judged: tuple[Missing, ...]
    assumptions: tuple[str, ...]
    volts_open: bool = False

    @property
    def worst_part(self) -> Judged | Sag | None:
        """What the verdict is from."""
        parts = (*self.parts, *((self.sag,) if isinstance(self.sag, Sag) else ()))
        return next((part for part in parts if part.verdict == self.verdict), None)

    @property
    def decides(self) -> tuple[str, ...]:
        """Keys of the site file that would let it be judged."""
        return tuple(dict.fromkeys(key for each in self.not_judged for key in each.add))


def check_bank(
    bank: Bank,
    asked: Asked,
    sag: Sag | Missing,
    ohms: Resistance | Missing,
    *,
    before_V: float,
    charging: tuple[Judged, ...] = (),
) -> BankCheck:
    """Judge a bank for what is asked of it, and for what is put in (`charging`, from `charging_judged`).

    `sag` is its voltage at the start, already judged, `before_V` that before it. A sag that is missing leaves the word
    of the rest as it is: it stands by itself.
    """
    parts = [*_of_protection(bank, asked), *_of_size(bank, asked), *_of_resistance(asked, ohms, before_V), *charging]
    unknown = list(_unknown(bank, asked))
    known = [part.verdict for part in parts] + ([sag.verdict] if isinstance(sag, Sag) else [])
    verdict = worst(*known) if known else None
    # A fault that was found stays one; but nothing holds while what decides is not known.
    if unknown and verdict == "holds":
        verdict = None
    return BankCheck(verdict, tuple(parts), sag, tuple(unknown), asked.assumptions)


def _unknown(bank: Bank, asked: Asked) -> Iterator[Missing]:
    """Yield what keeps the bank from being judged."""
    # Protection electronics open without a warning; a lead-acid bank has none and is judged by its size instead.
    if bank.chemistry not in LEAD_ACID and bank.max_discharge_A is None:
        keys = ("bank.max_discharge_A",) if bank.chemistry else ("bank.max_discharge_A", "bank.chemistry")
        yield Missing("word on the bank", keys, "what its protection lets out is not given")
    if isinstance(asked.starting_A, Missing):
        yield asked.starting_A
    if asked.running_A is None:
        yield Missing("word on the bank", (), "what is drawn from it is not known")
    yield from asked.left_out


def _of_protection(bank: Bank, asked: Asked) -> Iterator[Judged]:
    """Yield the comparisons with what the bank's protection lets out."""
    continuous_A, moment_A = bank.continuous_A, bank.moment_A
    if asked.running_A is not None and continuous_A is not None:
        yield Judged("running", asked.running_A, "A", continuous_A, _WITHOUT_A_BREAK)
    elif asked.running_A is not None and moment_A is not None:
        # A limit for a moment alone leaves open whether the load may run on.
        alone = f"give the continuous limit, too: max_discharge_A = [continuous, {moment_A:g}]"
        more = (Condition("doubtful", f"it runs for longer than {bank.max_discharge_s:g} s, so {alone}"),)
        yield Judged("running", asked.running_A, "A", moment_A, _for_a_moment(bank), more)
    if not isinstance(asked.starting_A, Within):
        return
    # A start short enough is held against the limit for a moment, any other against what may flow without a break.
    if moment_A is not None and asked.start_s <= (bank.max_discharge_s or 0.0):
        lasts = Condition("holds", f"the start lasts {asked.start_s:g} s of the {bank.max_discharge_s:g} s it may")
        yield Judged(asked.whose, asked.starting_A, "A", moment_A, _for_a_moment(bank), (lasts, *_in_part(asked)))
    elif continuous_A is not None:
        why = (*_why(bank, asked), *_in_part(asked))
        yield Judged(asked.whose, asked.starting_A, "A", continuous_A, _WITHOUT_A_BREAK, why)
    elif moment_A is not None:
        longer = f"the start lasts {asked.start_s:g} s, and how much may flow so long is not given"
        conditions = (Condition("doubtful", longer),)
        yield Judged(asked.whose, asked.starting_A, "A", moment_A, _for_a_moment(bank), conditions)


_WITHOUT_A_BREAK: Final = "A that the bank lets out without a break (continuous)"


def _for_a_moment(bank: Bank) -> str:
    return f"A that the bank lets out for {bank.max_discharge_s:g} s"


def _why(bank: Bank, asked: Asked) -> tuple[Condition, ...]:
    """Say why a start is held against the continuous limit."""
    if bank.max_discharge_s is None:
        more = "if it lets out more for a moment, write max_discharge_A = [continuous, moment] and max_discharge_s"
        return (Condition("holds", more),)
    return (Condition("holds", f"the start lasts {asked.start_s:g} s, longer than {bank.max_discharge_s:g} s"),)


def _in_part(asked: Asked) -> tuple[Condition, ...]:
    if not asked.seen_in_part:
        return ()
    return (Condition("doubtful", "the readings are too far apart to show the whole of a start"),)


def _of_size(bank: Bank, asked: Asked) -> Iterator[Judged]:
    """Yield the comparisons of a lead-acid bank's draw with its size."""
    kind = kind_of(bank.chemistry)
    if asked.running_A is not None and kind.running is not None:
        yield _sized(bank, "running", asked.running_A, kind.running)
    if isinstance(asked.starting_A, Within) and kind.starting is not None:
        yield _sized(bank, asked.whose, asked.starting_A, kind.starting, _in_part(asked))


def _sized(bank: Bank, what: str, amps: Within, over: DrawOverSize, more: tuple[Condition, ...] = ()) -> Judged:
    ease_A, most_A = over.at_ease * bank.capacity_Ah, over.most * bank.capacity_Ah
    # Beyond ease a bank still gives the amps, but its voltage and its life suffer.
    strained = Condition("doubtful", f"up to {ease_A:.3g} A a bank of {bank.capacity_Ah:g} Ah gives at ease")
    conditions = (*((strained,) if amps.high > ease_A else ()), *more)
    return Judged(what, amps, "A", most_A, f"A that its size allows ({SIZE_SOURCE})", conditions)


def _of_resistance(asked: Asked, ohms: Resistance | Missing, before_V: float) -> Iterator[Judged]:
    """Yield whether the bank's resistance lets the start's power through at all, where that is not sure."""
    if asked.start_W is not None and isinstance(ohms, Resistance):
        gives_W = most_W(before_V, ohms.mohm.value / 1000)
        unit = f"W that {ohms.mohm.value:.3g} mΩ let through at the very most"
        # The upper end of the resistance is the bank at its worst: then less comes through than was asked, perhaps.
        worst_W = most_W(before_V, ohms.mohm.high / 1000)
        unsure = Condition("doubtful", f"the bank may have {ohms.mohm.high:.3g} mΩ, which let through {worst_W:,.0f} W")
        conditions = (unsure,) if asked.start_W.high > worst_W else ()
        judged = Judged(asked.whose, asked.start_W, "W", gives_W, unit, conditions)
        if judged.verdict != "holds":
            yield judged


def charging_judged(
    bank: Bank, array: Array | None, returned_A: float | None = None, *, chargers: Sequence[Charger] = ()
) -> tuple[Judged, ...]:
    """Judge what is put into a bank against ``max_charge_A``; nothing without that.

    An array in full sun gives at least its watts by performance ratio and charging voltage, at most whole and at
    nominal voltage; each charger what it is rated. `returned_A` is the highest that a log shows. [A]
    """
    parts, most_A = [], bank.max_charge_A
    if most_A is None:
        return ()
    if array is not None:
        parts.append(Judged("from the array in full sun", _array_A(bank, array), "A", most_A, _TAKES))
    for charger in chargers:
        parts.append(Judged(f"from '{charger.name}'", Within.exactly(charger.rated_A), "A", most_A, _TAKES))
    if returned_A is not None and returned_A > 0:
        parts.append(Judged("put in at most, as read", Within.exactly(returned_A), "A", most_A, _TAKES))
    return tuple(parts)


_TAKES: Final = "A that the bank takes in"


def _array_A(bank: Bank, array: Array) -> Within:
    volts, _ = charging_V(bank)
    ratio = performance_ratio_of(array)
    share = 1.0 if isinstance(ratio, Missing) else ratio.value
    if array.controller == "pwm" and array.current_A is not None:
        return Within(array.current_A, share * array.current_A, array.current_A)
    # Cold, clear sun on clean panels may bring all of the plate; into an empty bank, near nominal voltage.
    usual_A = array.power_W / volts
    return Within(usual_A, share * usual_A, array.power_W / bank.nominal_V)
