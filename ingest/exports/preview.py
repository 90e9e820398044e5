"""What an export is taken for by its beginning, with its first readings; no more than a sample is read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from ..errors import Choice, InputError, Question, ReadAnew
from ..quantities import SIGNED
from ..zone import zone_of_computer
from .beginning import as_export, excerpt
from .delimited.dialect import Dialect, split_line
from .delimited.plan import ColumnPlan, Layout, LayoutDraft, TimePlan
from .hand_notes import looks_like_note
from .intake import opened, take_in, zone_stated
from .log_again import turned

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from ..log.log import Readings
    from .adapter import Export
    from .delimited.rows import RowBatch
    from .delimited.stated import Stated

#: Lines that are shown above a header. Common practice, no source, as the longest cell. [characters]
_ABOVE: Final = 8
_LONGEST: Final = 200


@dataclass(frozen=True)
class PreviewLine:
    """A line of the file, counted from 1, in cells; ``kind`` is ``above``, ``header``, ``units`` or ``row``."""

    number: int
    kind: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class PreviewColumn:
    """A column, counted from 1, and what it is taken for.

    ``use`` is ``time``, ``quantity``, ``beside`` (it says the way or the unit of another) or ``not used``; ``reason``
    says how it is read, as ``convert --explain`` does. ``sign`` is empty where there is none. ``trouble`` is a sentence
    on what is wrong with it.
    """

    number: int
    name: str
    use: str = "not used"
    quantity: str | None = None
    unit: str = ""
    factor: float = 1.0
    sign: str = ""
    reason: str = "not used"
    trouble: str = ""


@dataclass(frozen=True)
class PreviewReading:
    """A reading as it comes out: draw is positive, each quantity in its own unit; None where it has none.

    ``time_us`` counts from 1970, or from the start where no date is known; ``time`` is the same as it is written.
    """

    time_us: int
    time: str
    values: Mapping[str, float | None]


@dataclass(frozen=True)
class Preview:
    """What an export is taken for by its beginning.

    At most one of ``question`` and ``error`` is there: what must be chosen, or the sentence on why it cannot be read,
    with the ``error_line`` that it is about where it names one. ``rejects`` are sentences on lines that cannot be read.
    """

    name: str
    lines: tuple[PreviewLine, ...] = ()
    columns: tuple[PreviewColumn, ...] = ()
    readings: tuple[PreviewReading, ...] = ()
    quantities: tuple[str, ...] = ()
    time_style: str = ""
    zone: str | None = None
    zone_assumed: bool = False
    undated: bool = False
    side: str = "dc"
    described: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    rejects: tuple[str, ...] = ()
    question: Question | None = None
    about: tuple[int, ...] = ()
    error: str | None = None
    error_line: int | None = None


@dataclass
class _Sample:
    """What is known so far."""

    draft: LayoutDraft = field(default_factory=LayoutDraft)
    layout: Layout | None = None
    export: Export | None = None
    readings: Readings | None = None
    rejects: list[tuple[int, str]] = field(default_factory=list)
    problem: InputError | None = None


def preview(sources: Sequence[str], stated: Stated, rows: int = 12) -> Preview:
    """Return what exports are taken for, by the beginning of the first one; never an error, but its sentence.

    What only later rows show, and whether files go together, `convert` says.
    """
    state, name = _Sample(), sources[0] if sources else "-"
    try:
        if not sources:
            raise InputError("name an export")
        if stated.profile is not None and stated.profile.notes:
            state.export = take_in(sources[:1], stated).export
        else:
            source = excerpt(opened(sources[0], stated, most_lines=_SAMPLE_LINES))
            name = source.name
            export = as_export(source, stated, state.draft)
            state.layout, state.export = export.layouts[0], export
        _read(state, stated)
    except InputError as error:
        state.problem = _as_notes(error, state.draft, stated)
    return _previewed(name, stated, state, rows)


#: Lines that show whether a text is notes. Common practice, no source.
_LOOKED_AT: Final = 50
#: Lines of a workbook's sheet that are looked at.
_SAMPLE_LINES: Final = 2000


def _as_notes(error: InputError, draft: LayoutDraft, stated: Stated) -> InputError:
    """Return what is wrong; the question whether these are notes where their lines look it, and are no table."""
    lines = [line for line in draft.text.split("\n")[:_LOOKED_AT] if line.strip()]
    is_told = draft.dialect is not None or (stated.profile is not None and not stated.in_part)
    if isinstance(error, Question) or is_told or not lines:
        return error
    notes = sum(looks_like_note(line) for line in lines)
    if 2 * notes <= len(lines):
        return error
    evidence = f"{notes} of {len(lines)} lines begin with a clock time and hold amounts or words, as notes do"
    yes = Choice("yes, typed from a display: each reading stands until the next line", {"profile": "hand"})
    return Question(str(error), "Are these notes, a line each?", evidence, [yes])


def _read(state: _Sample, stated: Stated) -> None:
    """Read the sample's rows, as `convert` would."""
    from ..log.gap_limit import NEARLY_ALL_CHANGE, IntervalCount
    from ..log.log import level_of
    from .questions.times import sampling

    export = state.export
    if export is None:
        return
    batch = _first_batch(export)
    if batch is None:
        return
    state.readings = turned(batch.readings) if stated.reverse_sign else batch.readings
    # The sample's own end is cut, which says nothing of the file.
    state.rejects = [(reject.line, reject.reason) for reject in batch.rejects][: len(batch.rejects) - batch.torn]
    if stated.filled().sampling is None and state.layout is not None and (np.diff(batch.readings.time_us) > 0).all():
        intervals = IntervalCount()
        intervals.add(batch.readings.time_us, level_of(batch.readings.quantities))
        if intervals.gap_limit().held_or_not:
            raise sampling(state.layout.name, NEARLY_ALL_CHANGE)


def _first_batch(export: Export) -> RowBatch | None:
    """Return the first rows, as they are read by what the sample's last row shows of the clock."""
    batches = iter(export.batches())
    batch = next(batches, None)
    try:
        for _ in batches:
            pass
    except ReadAnew:
        return next(iter(export.batches()), None)
    except InputError:
        pass  # of a clock that a longer file may tell
    return batch


def _previewed(name: str, stated: Stated, state: _Sample, rows: int) -> Preview:
    export, problem, layout = state.export, state.problem, state.layout
    question = problem if isinstance(problem, Question) else None
    zone = None
    if export is not None and not export.undated:
        zone = str(export.local.zone) if export.local is not None else zone_stated(stated) or zone_of_computer()
    time = layout.time if layout is not None else state.draft.time
    quantities = tuple(export.quantities) if export is not None else ()
    return Preview(
        name=name,
        lines=tuple(_lines(state.draft, rows)),
        columns=tuple(_columns(state, stated)),
        readings=tuple(_readings(state, zone, rows)),
        quantities=quantities,
        time_style=time.style.describe() if time is not None else "",
        zone=zone,
        zone_assumed=export is not None and export.needs_zone and zone_stated(stated) is None,
        undated=export is not None and export.undated,
        side=stated.filled().side or ("ac" if layout is not None and layout.ac else "dc"),
        described=tuple(export.layouts[0].describe()) if export is not None else (),
        remarks=tuple(export.layouts[0].remarks) if export is not None else (),
        rejects=tuple(f"line {line}: {why}" for line, why in state.rejects[:rows]),
        question=question,
        about=tuple(_about(question)),
        error=None if question is not None or problem is None else str(problem),
        error_line=_line_in(str(problem)) if problem is not None else None,
    )


def _about(question: Question | None) -> list[int]:
    """Return the numbers of the columns that a question is about."""
    numbers: set[int] = set()
    for choice in question.choices if question is not None else ():
        numbers |= {n for key, n in choice.sets.items() if key.endswith(".column") and isinstance(n, int)}
        numbers |= set(choice.unused)
    return sorted(numbers)


def _line_in(sentence: str) -> int | None:
    import re

    match = re.search(r"(?:, lines? |\.toml:)(\d+)", sentence)
    return int(match[1]) if match else None


def _lines(draft: LayoutDraft, rows: int) -> list[PreviewLine]:
    """Return the first lines, those above the header and the header's among them."""
    text = draft.text.split("\n")
    dialect = draft.dialect
    if dialect is None:
        return [PreviewLine(n, "row", (line[:_LONGEST],)) for n, line in enumerate(text[:rows], 1) if line.strip()]
    top = max(dialect.header_line or dialect.first_line, 1)
    first, last = max(top - _ABOVE, 1), dialect.first_line + rows - 1
    return [
        PreviewLine(number, _kind(number, dialect), tuple(cell.strip()[:_LONGEST] for cell in cells))
        for number, line in enumerate(text[first - 1 : last], first)
        if any(cells := split_line(line, dialect.delimiter))
    ]


def _kind(number: int, dialect: Dialect) -> str:
    if number >= dialect.first_line:
        return "row"
    if number == dialect.header_line:
        return "header"
    return "units" if dialect.header_line and number > dialect.header_line else "above"


def _columns(state: _Sample, stated: Stated) -> list[PreviewColumn]:
    dialect = state.draft.dialect
    if dialect is None:
        return []
    plans = list(state.layout.columns) if state.layout is not None else state.draft.columns
    time = state.layout.time if state.layout is not None else state.draft.time
    troubles = _troubles(dialect, state.rejects)
    return [
        replace(_column(k, dialect, plans, time, reverse=stated.reverse_sign), trouble=troubles.get(k, ""))
        for k in range(len(dialect.names))
    ]


def _column(
    index: int, dialect: Dialect, plans: Sequence[ColumnPlan], time: TimePlan | None, *, reverse: bool
) -> PreviewColumn:
    column = PreviewColumn(index + 1, dialect.names[index])
    if time is not None and index in time.indices:
        return replace(column, use="time", reason=time.style.describe())
    for plan in plans:
        if plan.index == index:
            factor = plan.scale * (-1.0 if plan.turned else 1.0)
            return replace(
                column,
                use="quantity",
                quantity=plan.quantity,
                unit=plan.unit.symbol,
                factor=factor,
                sign=_sign(plan, reverse=reverse),
                reason=f"{plan.quantity}: {plan.describe(dialect.names)}",
            )
    for plan in plans:
        if index in plan.indices:
            return replace(column, use="beside", quantity=plan.quantity, reason=plan.describe(dialect.names))
    return column


def _sign(plan: ColumnPlan, *, reverse: bool) -> str:
    if plan.quantity not in SIGNED:
        return ""
    return "return_positive" if plan.turned != reverse else "draw_positive"


def _troubles(dialect: Dialect, rejects: Sequence[tuple[int, str]]) -> dict[int, str]:
    """Return the first sentence on each column that has cells which cannot be read."""
    troubles: dict[int, str] = {}
    for line, why in rejects:
        for k, word in enumerate(dialect.names):
            if word and why.startswith(f"column {word!r}:"):
                troubles.setdefault(k, f"line {line}: {why}")
    return troubles


def _readings(state: _Sample, zone: str | None, rows: int) -> list[PreviewReading]:
    if state.readings is None or state.export is None:
        return []
    time_us, quantities = state.readings.time_us, state.readings.quantities
    clock = _clock_of(zone)
    return [
        PreviewReading(
            int(time_us[k]),
            _written(int(time_us[k]), clock, undated=state.export.undated),
            {name: None if np.isnan(x[k]) else float(x[k]) for name, x in quantities.items()},
        )
        for k in range(min(rows, len(time_us)))
    ]


def _clock_of(zone: str | None) -> ZoneInfo | None:
    from zoneinfo import ZoneInfo

    return ZoneInfo(zone) if zone else None


def _written(time_us: int, clock: ZoneInfo | None, *, undated: bool) -> str:
    if undated:
        return str(timedelta(microseconds=time_us))
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=time_us)
        moment = moment.astimezone(clock or UTC)
    except OverflowError:
        return f"{time_us / 1e6:g} s since 1970"
    second = f"{moment:%S.%f}".rstrip("0").rstrip(".")
    return f"{moment:%Y-%m-%d %H:%M}:{second} {moment:%Z}"
