"""What is in a log, what it is good for and what is the matter with it, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ....analysis.quality.coverage import EVEN
from ....analysis.readings.chunk import MICROSECONDS
from ....analysis.site.units import SI, DisplayUnits
from ..wording.clock import clock, local, passed_twice
from ..wording.numbers import SAMPLING, amount, counted, duration, number, plus_minus
from .answer import Reply
from .columns import Columns
from .span import span_in_short, span_lines

if TYPE_CHECKING:
    from ....analysis.quality.clipping import Clipping
    from ....analysis.quality.fitness import Fitness, Use
    from ....analysis.quality.quality import Quality
    from ....analysis.quality.sign_check import SignCheck
    from ....analysis.quality.spikes import Spikes
    from ....analysis.quality.stuck import Stuck
    from ....analysis.readings.log_facts import LogFacts

#: So many stretches that stood still are told on the terminal; all are in ``--json``.
_MOST_STUCK = 4
#: A lone reading is told where it stands out by this share of all that the signal ranges over (common practice, no
#: source). [1]
_WORTH_TELLING = 0.1
_WHAT = {"current_A": "current", "voltage_V": "voltage", "power_W": "power"}


def look_answer(
    facts: LogFacts, quality: Quality, verdict: Fitness, in_doubt: Sequence[str] = (), shown: DisplayUnits = SI
) -> Reply:
    """Return what a log is good for and what is the matter with it; what is in it besides is among the reasons.

    `in_doubt` is what the spacings leave open, in sentences.
    """
    turned = quality.sign is not None and quality.sign.plausible is False
    sign, matters = _sign_lines(facts, quality.sign), [f"check: {line}" for line in _matters(facts, quality)]
    return Reply(
        [
            *(sign if turned else []),
            *in_doubt,
            verdict_line(verdict),
            *matters,
            *([] if matters or turned or in_doubt else [_sound(facts)]),
            *_sign_in_short(facts, quality.sign),
            *_counter_lines(quality),
            *_rest_lines(facts, quality),
            *_available(span_in_short(facts, quality.span), quality),
            Columns(*_ranges(quality, shown), right=range(1, 5)),
            *(f"note: {remark}" for remark in facts.remarks),
        ],
        [
            f"{facts.name}: {facts.meter or 'a meter'} on side {facts.side}, from {facts.source}",
            *_available(span_lines(facts, quality.span), quality),
            _reading_line(facts, quality),
            _rows(facts),
            *sign,
        ],
        "how it was read, the rows kept, how the sign is known",
    )


def _sound(facts: LogFacts) -> str:
    """Say that nothing is the matter with what was read, and how much of it could not be."""
    sound = "Nothing is the matter with it that shows in its readings"
    return f"{sound}; {counted(facts.rows_rejected, 'row')} could not be read." if facts.rows_rejected else f"{sound}."


def _sign_in_short(facts: LogFacts, sign: SignCheck | None) -> list[str]:
    """Say that the sign is right where it is; what else is known of it stands elsewhere."""
    if sign is None or facts.side == "ac" or not sign.plausible:
        return []
    return ["The sign is right: the voltage falls when the draw rises."]


def verdict_line(verdict: Fitness) -> str:
    """Return in one line what a log is good for, and why not for more."""
    good = [use.what for use in verdict.uses if use.grade == "good"]
    parts = [f"good for {_listed(good)}"] if good else []
    parts += [f"for {use.what} with care ({_reasons(use)})" for use in verdict.uses if use.grade == "with care"]
    parts += _not_good([use for use in verdict.uses if use.grade == "not"])
    # With neither charge nor energy nothing else can be told, so it is said once and plainly.
    if len(parts) == 1 and not good and verdict.amounts.grade == "not":
        return f"Good for nothing as it is: {_reasons(verdict.amounts)}."
    line = "; ".join(parts)
    return f"{line[0].upper()}{line[1:]}."


def _not_good(uses: list[Use]) -> list[str]:
    """Return what a log is not good for; once where the reasons are the same."""
    # A log of amps alone is no good for three things for one reason: that is one clause.
    together: dict[str, list[str]] = {}
    for use in uses:
        together.setdefault(_reasons(use), []).append(use.what)
    return [f"not for {_listed(names)} ({reasons})" for reasons, names in together.items()]


def _reasons(use: Use) -> str:
    return ", and ".join(use.reasons)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _available(lines: list[str], quality: Quality) -> list[str]:
    """Return lines on the time with the share of it in which there were readings beside the gaps, its reason."""
    if not quality.span.gaps or quality.availability is None:
        return lines
    return [*lines[:-1], f"{lines[-1]} (availability {100 * quality.availability:.3g} %)"]


def _reading_line(facts: LogFacts, quality: Quality) -> str:
    usual = f"every {facts.usual_interval_s:g} s as a rule" if facts.usual_interval_s else "at no usual spacing"
    gap = f"; a gap is longer than {facts.gap_limit_s:g} s" if facts.has_gaps else ""
    return f"a reading {usual}{_evenness(quality)}, {SAMPLING[facts.sampling]}{gap}"


def _rows(facts: LogFacts) -> str:
    others = ((facts.rows_rejected, "not readable"), (facts.rows_merged, "merged with one of the same time"))
    counts = [f"{facts.rows_kept:,} of {facts.rows_read:,} rows kept", *(f"{n:,} {word}" for n, word in others if n)]
    return ", ".join(counts)


def _evenness(quality: Quality) -> str:
    spacing = quality.spacing
    if spacing.irregularity is None or spacing.irregularity <= EVEN:
        return ""
    return f" (unevenly: most from {number(spacing.low_s)} to {number(spacing.high_s)} s)"


def _ranges(quality: Quality, shown: DisplayUnits) -> tuple[list[list[str]], list[str]]:
    """Return a row for each quantity, and the heads of the columns."""
    rows = []
    for name, part in quality.ranges.items():
        missing = f"{part.missing:,}" if part.missing else "none"
        figures = [number(shown.of_quantity(name, x)) for x in (part.low, part.mean, part.high)]
        rows.append([shown.name_of(name), *figures, missing])
    return rows, ["quantity", "lowest", "mean", "highest", "missing"]


def _sign_lines(facts: LogFacts, sign: SignCheck | None) -> list[str]:
    if sign is None or facts.side == "ac":
        return []
    if sign.plausible is None:
        return ["sign: cannot be told, too few steps of the current move the voltage"]
    # Under load a bank's voltage falls: if it rises with the amps, these are counted the wrong way round.
    with_it = sign.steps - sign.against
    if sign.plausible:
        return [
            f"sign: right, the voltage falls when the draw rises (in {with_it} of {counted(sign.steps, 'step')}; "
            f"{_resistance(sign.resistance_ohm or 0.0)})"
        ]
    return [
        f"sign: PROBABLY TURNED, the voltage rises when the draw does (in {sign.against} of "
        f"{counted(sign.steps, 'step')}); turn it with 'shuntbook convert {facts.name} --reverse-sign --out OTHER'"
    ]


def _resistance(ohm: float) -> str:
    return f"{number(ohm)} ohm" if ohm >= 1 else f"{number(1000 * ohm)} mohm"


def _matters(facts: LogFacts, quality: Quality) -> Iterator[str]:
    """Yield what is the matter with a log; nothing where nothing is."""
    yield from (doubt.text for doubt in quality.doubts)
    yield from (_stuck(facts, run) for run in quality.stuck[:_MOST_STUCK])
    if len(quality.stuck) > _MOST_STUCK:
        yield f"... and it stood still {len(quality.stuck) - _MOST_STUCK} times more (all with --json)"
    yield from (_clipped(part) for part in quality.clipping)
    if _worth_telling(quality):
        yield _spikes(facts, quality.spikes)


def _worth_telling(quality: Quality) -> bool:
    """Tell whether one of the spikes is a good part of all that the log reads."""
    part = quality.ranges.get(quality.spikes.signal or "")
    if part is None or part.low is None or part.high is None:
        return False
    most = max((abs(spike.value - spike.neighbours) for spike in quality.spikes.largest), default=0.0)
    return most > _WORTH_TELLING * (part.high - part.low)


def _stuck(facts: LogFacts, run: Stuck) -> str:
    what, unit = _WHAT[run.quantity], run.quantity.rsplit("_", 1)[1]
    meanwhile = "while the rest went on" if run.others_moved else "and nothing else moved either"
    return (
        f"the {what} stood at exactly {run.value:.6g} {unit} from {clock(run.start_us, facts)} on for "
        f"{duration((run.stop_us - run.start_us) / MICROSECONDS)}, {meanwhile}: did the meter or its line hang?"
    )


def _clipped(part: Clipping) -> str:
    what, unit = _WHAT[part.quantity], part.quantity.rsplit("_", 1)[1]
    if part.at_range:
        count = counted(part.at_range, "reading")
        return f"the {what} is at the end of the meter's range in {count}: it was at least that"
    ends = [(part.high, part.high_value), (part.low, part.low_value)]
    counts = [f"{counted(n, 'reading')} at exactly {value:.6g} {unit}" for n, value in ends if n and value is not None]
    return f"the {what} is cut off ({_listed(counts)}): the end of the meter's range? It was at least that"


def _spikes(facts: LogFacts, spikes: Spikes) -> str:
    unit = (spikes.signal or "").rsplit("_", 1)[-1]
    first = spikes.largest[0] if spikes.count == 1 else max(spikes.largest, key=lambda s: abs(s.value - s.neighbours))
    most = "" if spikes.count == 1 else "the largest "
    # In the unit of what they falsify: charge where there are amps, else energy.
    adds = amount(spikes.charge_Ah, "Ah") if spikes.charge_Ah is not None else amount(spikes.energy_Wh, "Wh")
    return (
        f"{counted(spikes.count, 'lone reading')} far off the ones around, {most}{number(first.value)} {unit} at "
        f"{clock(first.at_us, facts)} between {number(first.neighbours)} {unit}; counted all the same, "
        f"{'it adds' if spikes.count == 1 else 'they add'} {adds} (--drop-spikes leaves them out)"
    )


def _counter_lines(quality: Quality) -> list[str]:
    if not quality.counter_resets:
        return []
    times = "once" if quality.counter_resets == 1 else f"{quality.counter_resets:,} times"
    return [f"counter: the meter set its own back {times}; charge follows it across that"]


def _rest_lines(facts: LogFacts, quality: Quality) -> list[str]:
    """Propose the quietest stretch for a check of the meter's zero; only the person knows whether it was a rest."""
    rest, first_us = quality.rest, quality.span.start_us
    if rest is None or first_us is None:
        return []
    start, stop = clock(rest.start_us, facts), clock(rest.stop_us, facts, near_us=rest.start_us)
    # Nought lies within the 95 % interval of the mean (twice its standard uncertainty): nothing to correct.
    if abs(rest.mean_A) <= 2 * rest.u_A:
        within = number(2 * rest.u_A)
        exactly = "" if within == "0" else f" to within {within} A"
        return [f"zero: nought{exactly} at rest, from {start} to {stop}"]
    offset = f"{plus_minus(rest.mean_A, 2 * rest.u_A, 'A')} in {counted(rest.readings, 'reading')}"
    if not rest.by_volts:
        return [
            f"zero: level near nought from {start} to {stop}, {offset}; without volts it cannot be told whether "
            "something flowed then"
        ]
    # Whole seconds within the rest, since that is what one types: begun later, ended sooner.
    from_s, to_s = -(-rest.start_us // MICROSECONDS), rest.stop_us // MICROSECONDS
    option = "..".join(_typed(at_s * MICROSECONDS, facts, first_us) for at_s in (from_s, to_s))
    return [
        f"zero: level near nought from {start} to {stop}, {offset}, and the volts stand still; if nothing was drawn "
        f"or returned then, that is the meter's offset: --zero-at {option}"
    ]


def _typed(us: int, facts: LogFacts, first_us: int) -> str:
    """Return an instant as a person can type it in an option."""
    if facts.undated:
        return f"{(us - first_us) / MICROSECONDS:.0f}s"
    moment = local(us, facts)
    # With its offset only where the clock alone would not say which of two hours is meant.
    return (moment if passed_twice(moment) else moment.replace(tzinfo=None)).isoformat()
