"""Whether positive is charging or drawing, asked of an export with what its readings say: what `look` says of a log."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ...analysis.quality.sign_check import SignCheck, SignFold
from ...analysis.readings.chunk import Chunk
from ...ingest.exports.beginning import first_readings, in_order_of_time
from ...ingest.exports.delimited.plan import Layout, named
from ...ingest.log.gap_limit import IntervalCount
from ...ingest.log.log import level_of

if TYPE_CHECKING:
    from ...ingest.errors import Choice, Question
    from ...ingest.exports.convert import Through
    from ...ingest.exports.delimited.plan import ColumnPlan
    from ...ingest.exports.delimited.rows import RowBatch
    from ...ingest.exports.delimited.stated import Stated
    from ...ingest.exports.intake import Intake
    from ...ingest.log.log import Readings

#: So many readings are asked: enough for a day of one each second; common practice, no source.
MOST_READINGS: Final = 100_000
#: With fewer steps `convert` asks nothing: in a short export two or three go one way by chance once in a few; common
#: practice, no source.
SURE_STEPS: Final = 4
_NO_EVIDENCE: Final = (
    "The readings do not say which: too few sudden changes of the current move the voltage, or no voltage is read."
)


@dataclass(frozen=True)
class SignSeen:
    """The question which way is positive, and what speaks for which answer.

    ``question`` has two choices, charging first. ``likely`` is the one that the readings speak for, None where they say
    nothing; ``is_settled`` tells that a person, or the export's own words, said it. ``agrees`` tells whether what is
    taken goes with the readings; None where they say nothing.
    """

    question: Question
    likely: Choice | None
    is_settled: bool
    agrees: bool | None

    @property
    def asked(self) -> bool:
        """Whether somebody who knows nothing of signs might be wrong without the question."""
        return not self.is_settled and not self.agrees


def sign_seen(sources: Sequence[str], stated: Stated) -> SignSeen | None:
    """Return what the first readings of an export say of its sign; None where none has to be known.

    That is so behind an inverter, in notes, and where two columns hold one way each.

    Raises
    ------
    InputError
        If it cannot be read, or something else has to be answered first.
    """
    if stated.profile is not None and stated.profile.notes:
        return None
    from ...ingest.exports.questions.signs import positive  # not where `convert` has nothing to ask

    layout, readings = first_readings(sources[0], stated, MOST_READINGS)
    plan = _signed_column(layout, stated)
    if plan is None:
        return None
    check = _checked(readings, stated)
    # Of the column as it is written: there the person can see it.
    is_turned = plan.turned != stated.reverse_sign
    evidence = _evidence(check, is_turned=is_turned)
    question = positive(evidence, evidence, plan.quantity, named(layout.dialect, plan))
    agrees = None if check is None else check.plausible
    charging, drawing = question.choices
    likely = None if agrees is None else charging if agrees == is_turned else drawing
    return SignSeen(question, likely, _is_settled(plan, stated), agrees)


def sign_is_open(intake: Intake, stated: Stated) -> bool:
    """Tell whether neither a person nor the export itself says which way is positive."""
    layout = intake.export.layouts[0]
    if not isinstance(layout, Layout):
        return not stated.reverse_sign
    plan = _signed_column(layout, stated)
    return plan is not None and not _is_settled(plan, stated)


def sign_watched(intake: Intake, stated: Stated) -> Through:
    """Return what an export's rows go through on their way to a log: it asks where the volts speak against the sign.

    Nothing is asked where the sign is settled, or none has to be known. So many readings as `sign_seen` takes are
    looked at together, and the next ones as long as they say nothing.
    """
    layout = intake.export.layouts[0]
    if not isinstance(layout, Layout) or not sign_is_open(intake, stated):
        return iter
    plan = _signed_column(layout, stated)
    if plan is None or not {"current_A", "voltage_V"} <= set(intake.export.quantities):
        return iter

    def through(batches: Iterable[RowBatch]) -> Iterator[RowBatch]:
        block: list[Readings] = []
        count, is_open = 0, True
        for batch in batches:
            if is_open:
                block.append(batch.readings)
                count += len(batch.readings.time_us)
                if count >= MOST_READINGS:
                    is_open, block, count = _says_nothing(block, layout, plan, stated), [], 0
            yield batch
        if is_open and count:
            _says_nothing(block, layout, plan, stated)

    return through


def _says_nothing(block: Sequence[Readings], layout: Layout, plan: ColumnPlan, stated: Stated) -> bool:
    """Tell whether readings do not say that the sign is right; ask where they say that it is not."""
    check = _checked(in_order_of_time(block), stated)
    if check is None or check.plausible is None or check.steps < SURE_STEPS:
        return True
    if check.plausible:
        return False
    from ...ingest.exports.questions.signs import contrary_volts  # hardly any export is asked about

    raise contrary_volts(
        layout.name,
        _evidence(check, is_turned=False),
        f"the volts {_moves(check, is_turned=False)[0]}",
        named(layout.dialect, plan),
        by_profile=bool(stated.entries),
    )


def _signed_column(layout: Layout, stated: Stated) -> ColumnPlan | None:
    """Return the column that flows both ways by its sign; None where there is none at the bank."""
    plans = {plan.quantity: plan for plan in layout.columns}
    plan = plans.get("current_A", plans.get("power_W"))
    side = stated.filled().side or ("ac" if layout.ac else "dc")
    return None if plan is None or plan.minus is not None or side == "ac" else plan


def _is_settled(plan: ColumnPlan, stated: Stated) -> bool:
    entry = stated.entries.get(plan.quantity)
    is_stated = entry is not None and bool({"sign", "direction"} & entry.model_fields_set)
    return stated.reverse_sign or is_stated or plan.turned or plan.directions is not None


def _checked(readings: Readings, stated: Stated) -> SignCheck | None:
    intervals = IntervalCount()
    intervals.add(readings.time_us, level_of(readings.quantities))
    fold = SignFold(readings.quantities, stated.gap_s or intervals.gap_limit().limit_s)
    fold.add(Chunk(readings.time_us, readings.quantities))
    return fold.result()


def _evidence(check: SignCheck | None, *, is_turned: bool) -> str:
    if check is None or check.plausible is None:
        return _NO_EVIDENCE
    moves, way = _moves(check, is_turned=is_turned)
    return f"The volts {moves}: {way}."


def _moves(check: SignCheck, *, is_turned: bool) -> tuple[str, str]:
    """Return what the volts do, and which way the amps count as positive by that."""
    # What is written rises where what is taken falls, if the sign is turned on the way.
    rising = check.steps - check.against if is_turned else check.against
    falling = check.steps - rising
    move, steps, way = ("rise", rising, "charging") if rising > falling else ("fall", falling, "drawing")
    # Of the first readings, as they are written: counted, the steps would not be as many as `look` counts of the log.
    often = "each time" if steps == check.steps else f"in {100 * steps / check.steps:.0f} % of the steps"
    return f"{move} when the amps rise, {often}", way
