"""A forecast as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isfinite
from typing import TYPE_CHECKING, Final

from ....analysis.bank.sag import Sag
from ....analysis.bank.system_word import to_add
from ....analysis.equipment.judged import Judged, worded
from ....analysis.not_known import Missing
from ..wording.numbers import amount, capital, counted, duration, number, percent, shortened, uncapital, value_and_ends
from ..wording.site_sentences import by_charger, unsafe_conductors
from ..wording.site_sentences import within as in_brackets
from ..wording.wear import cost, worn
from .answer import Block, Reply
from .columns import Columns
from .lesson import lesson_lines
from .site import conductor_lines, mains_side

if TYPE_CHECKING:
    from ....analysis.bank.bank import Recharge, Runtime
    from ....analysis.bank.limits import BankCheck
    from ....analysis.equipment.inverter_check import InverterCheck
    from ....analysis.equipment.plate_power import ChainStep
    from ....analysis.forecast.bank_use import BankForecast
    from ....analysis.forecast.forecast import Forecast, InverterForecast
    from ....analysis.forecast.measured_load import MeasuredLoad
    from ....analysis.forecast.taken import Taken
    from ....analysis.nameplate.estimate import Estimate
    from ....analysis.stats.interval95 import Within


def forecast_answer(
    forecast: Forecast, log: str | None = None, *, until_full: bool = False, sun_h: float | None = None
) -> Reply:
    """Return whether the system carries a load, what it takes and when that is paid back; the steps are reasons.

    `until_full` says that the time is that of filling a tank; `sun_h` are the hours of full sun that were asked for.
    """
    taken, bank = forecast.taken, forecast.bank
    how_long = duration(forecast.hours * 3600) + (" (until the tank is full)" if until_full else "")
    basis = f"by its runs in {shortened(log)}" if log is not None else "by its plate, nothing measured"
    measured = [] if forecast.seen is None else [*_behaviour(forecast.seen), ""]
    return Reply(
        [
            *unsafe_conductors(forecast.conductors),
            forecast.word.sentence,
            *mains_side(forecast),
            _out_of_the_bank(taken, how_long),
            *more_than_held(forecast),
            *_beside(forecast),
            f"{_full(bank)}{_price(bank)}",
            _paid_by(bank),
            *([] if sun_h is None or isinstance(bank.payback, Missing) else [_on_that_day(bank.payback, sun_h)]),
            *weakest_part(forecast),
            f"{capital(shortened(forecast.load))} for {how_long}, {basis}.",
        ],
        [
            *lesson_lines(forecast.lesson),
            "",
            "Where each figure is from:",
            Columns([_step(step, taken) for step in taken.chain], right=(1,), indent="  "),
            "",
            *measured,
            *_taken(forecast, taken),
            "",
            *_bank(bank, taken),
            *_inverter(forecast.inverter),
            *conductor_lines(forecast.conductors),
            "",
            *(f"assumed: {text}" for text in _assumed(forecast)),
            "",
            "Before you work on any of it:",
            *(f"  {text}" for text in forecast.cautions),
        ],
        "paper beside measured, all that was judged, the cautions"
        if taken.measured
        else "each step on paper and with losses, all that was judged",
        caution=CAUTION if forecast.inverter is None else CAUTION_MAINS,
    )


#: The cautions that matter to any load, in a line; all of them are among the reasons.
CAUTION: Final = "Before you work on it: load off first, then its fuse out; a short can burn you."
CAUTION_MAINS: Final = "Bank and mains can kill: switch off, lock off, prove dead before you work on it."


def _out_of_the_bank(taken: Taken, how_long: str) -> str:
    """Say what is taken; with its interval where the load was measured."""
    amounts = f"{in_brackets(taken.charge_Ah, 'Ah')}, {in_brackets(taken.energy_Wh, 'Wh')}"
    interval = "; in brackets what 95 of 100 such stretches take" if taken.charge_Ah.high > taken.charge_Ah.low else ""
    return f"Out of the bank in {how_long}: {amounts}{interval}."


def more_than_held(forecast: Forecast) -> list[str]:
    """Say that the load takes more than a full bank holds, and what is to be given for a likelier figure."""
    taken, rate = forecast.taken, forecast.bank.rate
    times = taken.charge_Ah.value / (taken.running_A * rate.hours)
    if times <= 1:
        return []
    more = f"That is {times:.2g} times what a full bank holds"
    if taken.measured or taken.duty < 1:
        return [f"{more}: without sun or a charger it is empty before."]
    return [
        f"{more}: it was taken to run all the time, which few loads do. Give the time that it runs, or its share of "
        "the time (loads.duty_pct)."
    ]


def _beside(forecast: Forecast) -> list[str]:
    """Say what people would have reckoned: the first step is the sum on paper."""
    first = forecast.taken.chain[0]
    if first.step != "paper":
        return []
    plate = forecast.by_plate
    by_plate = "" if plate is None else f", its plate {amount(plate.charge_Ah, 'Ah')} {_running(plate)}"
    return [f"The sum on paper says {amount(first.value, first.unit)}{by_plate}."]


def _running(plate: Estimate) -> str:
    """Say for how much of the time a plate's estimate has the load running."""
    share = plate.run_h / plate.hours
    return "if it ran all the time" if share >= 1 else f"if it ran {percent(share)} of the time"


def _full(bank: BankForecast) -> str:
    before, after = bank.state_before_pct, bank.state_after_pct
    for state in (before, after):
        if isinstance(state, Missing):
            return state.sentence
    assert not isinstance(before, Missing) and not isinstance(after, Missing)
    return f"The bank is {number(after.value)} % full after it, {number(before.value)} % before."


def _price(bank: BankForecast) -> str:
    """Say what it costs of the bank; nothing where its maker's life or its price is not given."""
    return "" if bank.wear.cost is None else f" It costs {cost(bank.wear)} of the bank's life."


def _paid_by(bank: BankForecast) -> str:
    """Say how long the sun takes to pay it back, and each charger by itself."""
    paid, chargers = bank.payback, ", ".join(by_charger(each) for each in bank.chargers)
    if isinstance(paid, Missing):
        alone = [f"It is paid back by {chargers}."] if chargers else []
        # A site without panels misses nothing where something else charges the bank.
        return " ".join([*([] if chargers and "array" in paid.add else [paid.sentence]), *alone])
    sun = f"The sun pays it back in {duration(paid.sun_h * 3600)} of good sun or more"
    return f"{sun}, {chargers}." if chargers else f"{sun}."


def _on_that_day(paid: Recharge, sun_h: float) -> str:
    """Say what a day with so much sun has to give for it."""
    if isinstance(paid.days, Missing):
        return paid.days.sentence
    return f"On a day with {sun_h:g} h of full sun that is {percent(paid.days)} of what the array brings."


def weakest_part(forecast: Forecast) -> list[str]:
    """Say which one part has the least to spare; empty where nothing was judged."""
    # First what fails or is doubtful; where all holds, what is asked the largest share of what it may give.
    order = ("fails", "doubtful", "holds")
    parts = [
        (order.index(part.verdict), -part.asked.high / part.rating, f"{whose}: {part.sentence}")
        for whose, part in _judged(forecast)
    ]
    sag = forecast.bank.check.sag
    if isinstance(sag, Sag):
        lowest = max(sag.lowest_V.low, 0.0) or inf
        parts.append((order.index(sag.verdict), -sag.cut_off_V / lowest, f"the bank's voltage: it {_sag(sag)}"))
    return [f"The weakest part is {min(parts)[2]}"] if parts else []


def _judged(forecast: Forecast) -> Iterator[tuple[str, Judged]]:
    """Yield each comparison with what it is of."""
    bank, inverter = forecast.bank, forecast.inverter
    yield from (("the bank", part) for part in bank.check.parts)
    if bank.together is not None:
        yield from (("the bank, with all loads", part) for part in bank.together.parts)
    if inverter is not None:
        name = f"the {shortened(inverter.inverter)}"
        checks = (inverter.alone.running, inverter.alone.starting, inverter.seen_running, inverter.seen_starting)
        yield from ((name, part) for part in checks if isinstance(part, Judged))


def _step(step: ChainStep, taken: Taken) -> list[str]:
    # The last steps are what is taken, and are written as it is above.
    result = {"energy": taken.energy_Wh, "charge": taken.charge_Ah}.get(step.step)
    value = number(step.value) if result is None else in_brackets(result, step.unit).partition(" ")[0]
    return [step.step, f"{value} {step.unit}".rstrip(), step.origin]


def within(figure: Within, unit: str) -> str:
    """Return a figure with the ends of its interval where it has any: ``17.2 Wh, 0 to 45 (95 %)``."""
    # A plate's figure has no ends; of a single run they may lie at infinity.
    if figure.low == figure.high or not (isfinite(figure.low) and isfinite(figure.high)):
        return amount(figure.value, unit).rstrip()
    value, low, high = value_and_ends(figure.value, figure.low, figure.high)
    return f"{f'{value} {unit}'.rstrip()}, {low} to {high} (95 %)"


def _behaviour(seen: MeasuredLoad) -> list[Block]:
    """Return what the log showed of the load, each figure with its interval."""
    side = "at the bank" if seen.side == "dc" else "behind the inverter"
    # Its upper end: what a fuse or an inverter must bear is the greatest start, not the usual one.
    highest = seen.start_A
    bound = "" if seen.start_resolved else "at least "
    figures = [
        ("settled draw", [within(x, unit) for x, unit in ((seen.run_W, "W"), (seen.run_A, "A")) if x is not None]),
        ("highest at a start", [] if highest is None else [f"{bound}{amount(highest.high, 'A')}"]),
        ("extra at a start", [within(seen.start_Wh, "Wh")]),
        ("starts an hour", [within(seen.starts_per_h, "")]),
        ("share of the time", [within(seen.duty.scaled(100), "%")]),
        ("bank voltage", [] if seen.bank_V is None or seen.side == "ac" else [within(seen.bank_V, "V")]),
    ]
    rows = [[what, "; ".join(texts)] for what, texts in figures if texts]
    return [
        f"as measured {side}, {counted(seen.runs.runs, 'run')} in {duration(seen.covered_h * 3600)}",
        Columns(rows, indent="  "),
    ]


def _taken(forecast: Forecast, taken: Taken) -> list[str]:
    whole = f"takes from the bank  {within(taken.energy_Wh, 'Wh')}; {within(taken.charge_Ah, 'Ah')}"
    lines = [whole]
    if taken.duty < 1:
        lines.append(
            f"  running {percent(taken.duty)} of the time; without a break it would be "
            f"{amount(taken.unbroken_Wh, 'Wh')}, {amount(taken.unbroken_Ah, 'Ah')}"
        )
    lines.append(f"while running        {amount(taken.running_W, 'W')}, {amount(taken.running_A, 'A')} at the bank")
    if forecast.by_plate is not None:
        plate = forecast.by_plate
        lines.append(
            f"by its plate         {amount(plate.energy_Wh, 'Wh')}, {amount(plate.charge_Ah, 'Ah')} in the same time, "
            f"running {percent(plate.run_h / plate.hours)} of it"
        )
    return lines


def _bank(bank: BankForecast, taken: Taken) -> list[str]:
    share = bank.usable_share
    of_usable = share.sentence if isinstance(share, Missing) else f"{percent(share)} of the charge you allow to be used"
    check = bank.check
    lines = [f"bank: {check.verdict or 'not judged'}", *bank_lines(check), *_all_loads(bank.together)]
    lines += [f"  {of_usable}", f"  {_rate(bank)}"]
    before, after = bank.state_before_pct, bank.state_after_pct
    if isinstance(before, Missing) or isinstance(after, Missing):
        lines.append(f"  {(before if isinstance(before, Missing) else after).sentence}")  # type: ignore[union-attr]
    else:
        lines.append(f"  {number(before.value)} % full before, {number(after.value)} % after")
    lines.append(f"  {_runtime(bank.runtime, 'running without a break')}")
    if taken.duty < 1 and not isinstance(bank.usual_runtime, Missing):
        lines.append(f"  {_runtime(bank.usual_runtime, 'running as much as above')}")
    return [
        *lines,
        f"  {_payback(bank)}",
        *(f"  paid back by {by_charger(each, ends=True)}" for each in bank.chargers),
        f"  wear of the bank: {worn(bank.wear)}",
    ]


def _rate(bank: BankForecast) -> str:
    rated = "" if bank.rate.rated_A is None else f"; it was rated at {amount(bank.rate.rated_A, 'A')}"
    # The trade writes C over hours; who does not know it reads the hours.
    hours = number(bank.rate.hours)
    return f"the draw while running would take its rated size in {hours} h (C/{hours}){rated}"


def bank_lines(check: BankCheck) -> list[str]:
    """Return every comparison behind the word on the bank, and what was not judged."""
    lines = [f"  {part.sentence}" for part in check.parts]
    lines += [f"  {text[0].upper()}{text[1:]}." for text in dict.fromkeys(each.not_judged for each in check.not_judged)]
    of_sag = _sag(check.sag)
    return [*lines, f"  {of_sag}" if isinstance(check.sag, Missing) else f"  its voltage {of_sag}"]


def _all_loads(check: BankCheck | None) -> list[str]:
    if check is None:
        return []
    word = check.verdict or f"not judged, {to_add(check)}"
    # Only the comparisons that decided, or all where none did: the lines of the load alone stand above.
    decisive = [part for part in check.parts if part.verdict == check.verdict] or check.parts
    return [f"  with all loads of the site ({word}): {part.sentence}" for part in decisive]


def _runtime(left: Runtime | Missing, how: str) -> str:
    if isinstance(left, Missing):
        return left.sentence
    text = f"lasts {duration(left.counted_h.value * 3600)} from now {how}, by counting"
    if left.peukert_h is not None:
        text += f"; {duration(left.peukert_h.value * 3600)} by Peukert's law and the cold"
    return text


def _sag(sag: Sag | Missing) -> str:
    if isinstance(sag, Missing):
        return f"the voltage at the next start is {sag.not_judged}."
    compared = f"falls to {within(sag.lowest_V, 'V')} at the next start; {sag.below} below {sag.cut_off_V:g} V"
    return worded(compared, sag.verdict, sag.by_figures, sag.conditions)


def _payback(bank: BankForecast) -> str:
    paid = bank.payback
    if isinstance(paid, Missing):
        return paid.sentence
    text = (
        f"the sun pays it back in {duration(paid.sun_h * 3600)} of good sun or more ({amount(paid.owed_Ah, 'Ah')} owed)"
    )
    if not isinstance(paid.days, Missing):
        text += f", {percent(paid.days)} of a usual day's yield"
    return text


def _inverter(inverter: InverterForecast | None) -> list[str]:
    if inverter is None:
        return ["", "inverter: it hangs on none"]
    # What holds does so on paper; what fails or is doubtful may do so by what was seen.
    by = " by its ratings" if inverter.verdict == "holds" else ""
    lines = [
        "",
        f"inverter '{shortened(inverter.inverter)}': {inverter.verdict or 'not judged'}{by}",
        *_check("by the plate, alone", inverter.alone),
    ]
    # With no other load on it the second check would repeat the first.
    if len(inverter.together.loads) > 1:
        lines += _check(f"with all that hangs on it ({inverter.together.verdict or 'not judged'})", inverter.together)
    for what, part in (("seen running", inverter.seen_running), ("seen at a start", inverter.seen_starting)):
        if part is not None:
            lines.append(f"  {what}: {uncapital(part.sentence)}")
    return lines


def _check(what: str, check: InverterCheck) -> list[str]:
    return [f"  {what}: {part.sentence}" for part in (check.running, check.starting, *check.left_out)]


def _assumed(forecast: Forecast) -> list[str]:
    """Return every assumption once, in the order of the lines above."""
    bank, inverter = forecast.bank, forecast.inverter
    parts = [forecast.taken.assumptions, bank.assumptions]
    parts.append(bank.check.assumptions)
    for figure in (bank.runtime, bank.sag, bank.payback):
        parts.append(() if isinstance(figure, Missing) else figure.assumptions)
    parts += [each.assumptions for each in bank.chargers]
    if inverter is not None:
        parts += [inverter.alone.assumptions, inverter.assumptions]
    return list(dict.fromkeys(text for part in parts for text in part))
