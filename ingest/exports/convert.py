"""Write what an adapter yields as a log: whole or not at all, its rejects beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, Question, ReadAnew
from ..log.arrow import flat, integers, parquet_file
from ..log.gap_limit import LONG_US, NEARLY_ALL_CHANGE, IntervalCount
from ..log.log import FILE_MARK, LogWriter, ahead, level_of, new_log, to_batch
from ..log.meta import LogMeta
from ..safe_files.rejects import Reject, RejectsFile, rejects_file
from ..safe_files.whole_file import hidden_beside, named_in_errors, take_place
from .delimited.rows import RowBatch
from .log_again import turned

if TYPE_CHECKING:
    from ..log.timeline import Settled
    from .adapter import Export
    from .one_kind import RejectKinds

#: Share of rows that may be unreadable before the person is asked.
MOST_REJECTED = 0.05
#: So many unreadable rows, and fewer readable ones, end a conversion before the file does.
ENOUGH_REJECTED = 300_000
#: What rows go through on their way to the log: it yields them as they are, and may ask.
Through = Callable[[Iterable[RowBatch]], Iterator[RowBatch]]


@dataclass
class Converted:
    """What a conversion did."""

    log: Path
    meta: LogMeta
    rejects_file: Path | None
    first_us: int
    last_us: int
    repeated_headers: int = 0
    ambiguous: int = 0


@dataclass
class _Tally:
    read: int = 0
    written: int = 0
    rejected: int = 0
    torn: int = 0
    headers: list[int] = field(default_factory=list)
    in_order: bool = True
    last_us: int | None = None
    first_us: int | None = None
    first_reject: Reject | None = None
    intervals: IntervalCount = field(default_factory=IntervalCount)
    kinds: RejectKinds | None = None

    def count(self, batch: RowBatch) -> None:
        time_us, rejects = batch.readings.time_us, batch.rejects
        self.headers += [self.written + above for above in batch.headers]
        self.written += len(time_us)
        self.torn += batch.torn
        self.rejected += len(rejects)
        self.read += len(time_us) + len(rejects)
        if rejects:
            from .one_kind import RejectKinds  # most exports have none

            self.kinds = self.kinds or RejectKinds()
            self.kinds.add(rejects)
        self.first_reject = self.first_reject or (rejects[0] if rejects else None)
        if len(time_us):
            self.first_us = int(time_us[0]) if self.first_us is None else self.first_us
            steps = np.diff(time_us, prepend=time_us[0] - 1 if self.last_us is None else self.last_us)
            self.in_order = self.in_order and bool((steps > 0).all()) and not self._was_set(steps)
            self.last_us = int(time_us[-1])
            # Once out of order, the spacings are counted anew when the rows are settled.
            if self.in_order:
                self.intervals.add(time_us, level_of(batch.readings.quantities))

    def _was_set(self, steps_us: NDArray[np.int64]) -> bool:
        """Tell whether the clock was set on the way, before which it showed a date of its making."""
        if self.first_us is None or steps_us.max() <= LONG_US:
            return False
        from ..log.restarts import begins_unset  # hardly any export leaps so far

        return begins_unset(self.first_us, steps_us)


@dataclass(frozen=True)
class _Limits:
    """The gap limit where it is stated [s], and what to call the export where sampling is asked about."""

    stated_s: float | None
    asks: str | None


def convert(
    export: Export,
    out: Path,
    meta: LogMeta,
    *,
    reverse_sign: bool,
    allow_rejects: bool,
    gap_limit_s: float | None,
    asks_sampling: bool = False,
    through: Through = iter,
) -> Converted:
    """Read an export to its end and write the log; what stands at `out` is replaced.

    ``meta`` is what is known beforehand; counts, limits and remarks are filled in. `reverse_sign` turns current and
    power (side ``dc``). `gap_limit_s` is given where it is stated. [s]
    `asks_sampling`: nobody said what one reading stands for, and who did this can be asked. `through` sees the rows
    before anything takes its name.

    Raises
    ------
    InputError
        If more than `MOST_REJECTED` of the rows cannot be read, or several for one and the same reason, and
        `allow_rejects` does not say to go on: only the rejects file is written then; if nothing can be written there;
        if another log's rejects stand there; or if it matters, and nobody said, whether each reading stands until the
        next one.
    """
    limits = _Limits(gap_limit_s, export.sources[0].name if asks_sampling else None)
    how = {"reverse_sign": reverse_sign, "allow_rejects": allow_rejects}
    once = partial(_converted_once, export, out, meta, limits=limits, through=through, **how)
    try:
        return once()
    except ReadAnew:
        return once()


def _converted_once(
    export: Export,
    out: Path,
    meta: LogMeta,
    *,
    reverse_sign: bool,
    allow_rejects: bool,
    limits: _Limits,
    through: Through,
) -> Converted:
    tally = _Tally()
    with ExitStack() as stack:
        rejects = stack.enter_context(rejects_file(out, {source.name for source in export.sources}))
        spool = stack.enter_context(_spool(out))
        writer = LogWriter(spool, export.quantities)
        try:
            # The rows go to a spool in the order they come; whether they are in order of time is known at the end, and
            # then most spools are the log already. Memory does not grow with the length.
            for batch in through(ahead(export.batches())):
                tally.count(batch)
                rejects.add(batch.rejects)
                _check_on_the_way(tally, allow_rejects, rejects.path, export)
                if len(batch.readings.time_us):
                    writer.write(to_batch(turned(batch.readings) if reverse_sign else batch.readings))
            _check(tally, allow_rejects, rejects.path, export)
            # After the last row: most files were hashed on the way, so that they are not read twice.
            for source in export.sources:
                source.stamp()
            meta = _filled(meta, export, tally)
            # The rejects take their name before the log, so that no log lacks rows that are nowhere.
            if tally.in_order:
                meta = _with_limits(meta, tally.intervals, limits)
                writer.finish(meta)
                rejects.finish()
                first = _keep(spool, out)
                return _converted(out, meta, rejects, tally, export, first)
            writer.finish(meta)
        except BaseException:
            writer.abandon()
            raise
        from ..log.timeline import settle  # most exports come in order and need none of it
        from .out_of_order import laid_out, scratch_beside, write_slices

        scratch = stack.enter_context(scratch_beside(out))
        settled = settle(
            laid_out(spool, export.quantities, tally.written, scratch),
            counted=export.counted,
            headers=tally.headers,
            least_pause_us=round((limits.stated_s or 0.0) * 1e6),
            scratch=scratch,
        )
        meta = _settled_meta(meta, settled, limits)
        with new_log(out, export.quantities) as final:
            write_slices(final, settled.readings)
            final.finish(meta)
            rejects.finish()
        time_us = settled.readings.time_us
        return _converted(out, meta, rejects, tally, export, (int(time_us[0]), int(time_us[-1])))


def _check(tally: _Tally, allow: bool, rejects: Path, export: Export) -> None:
    name, first = export.sources[0].name, tally.first_reject
    where = first.where if first else ""
    if not tally.written:
        if first is None:
            raise InputError(f"{name}: holds no row of readings")
        rows = f"none of its {tally.read} rows could be read; the first: {where}"
        raise InputError(f"{name}: {getattr(export, 'why_nothing', rows)}. All are in {rejects}")
    # A last line that was cut short says nothing about the others.
    if tally.rejected - tally.torn > MOST_REJECTED * tally.read and not allow:
        share = 100 * tally.rejected / tally.read
        evidence = f"{tally.rejected} of {tally.read} rows ({share:.0f} %) could not be read"
        no_log = f"so no log was written; the first: {where}. All are in {rejects}"
        raise _may_lack(
            f"{name}: {evidence}, {no_log}; add --allow-rejects to keep the rest", f"{evidence}; the first: {where}"
        )
    # Few as they are, they may be all that was charged, or all surges.
    if not allow and tally.kinds is not None and (most := tally.kinds.most()) is not None:
        count, first = most
        same = "for one and the same reason, so they may be all readings of one kind"
        evidence = f"{count} of {tally.read} rows could not be read {same}"
        raise _may_lack(
            f"{name}: {evidence}, and no log was written; the first: {first.where}. All are in {rejects}; mend those "
            "cells, or add --allow-rejects to leave those rows out",
            f"{evidence}; the first: {first.where}",
        )


def _may_lack(sentence: str, evidence: str) -> Question:
    from .questions.rows import leave_out  # most exports lack none

    return leave_out(sentence, evidence)


def _check_on_the_way(tally: _Tally, allow: bool, rejects: Path, export: Export) -> None:
    """Stop early where it can hardly be an export: a small packed file may unpack to no end of lines."""
    if tally.rejected > ENOUGH_REJECTED and tally.rejected > tally.written and not allow:
        evidence = f"its first {tally.rejected:,} unreadable rows are more than those that could be read"
        raise _may_lack(
            f"{export.sources[0].name}: {evidence}, so it was not read to its end and no log was written; "
            f"they are in {rejects}; add --allow-rejects to read all of it",
            evidence,
        )


def _filled(meta: LogMeta, export: Export, tally: _Tally) -> LogMeta:
    # First, since of many remarks the last find no room on a terminal: what is missing may be most of a day.
    sentences = ["the export seems to end in the middle of a line: perhaps it was cut short"] if tally.torn else []
    sentences += [*meta.remarks, *dict.fromkeys(line for layout in export.layouts for line in layout.remarks)]
    if export.local is not None and export.local.ambiguous:
        sentences.append(
            f"{export.local.ambiguous} rows stand in an hour that the clocks went through twice; "
            "the second time is taken from where they step back"
        )
    return replace(
        meta,
        source=[{"name": Path(s.name).name, "sha256": s.digest, "bytes": s.size} for s in export.sources],
        rows_read=tally.read,
        rows_kept=tally.written,
        rows_rejected=tally.rejected,
        misread_share=getattr(getattr(export, "misread", None), "share", None),
        display_holds_s=getattr(export, "holds_s", meta.display_holds_s),
        moved=list(export.moved),
        remarks=[*sentences, *export.moved],
    )


def _with_limits(meta: LogMeta, intervals: IntervalCount, limits: _Limits) -> LogMeta:
    """Return the metadata with the gap limit, stated or counted, and the usual interval."""
    usual_s, gap_limit_s = intervals.median_s(), limits.stated_s
    sentences = list(meta.remarks)
    limit = intervals.gap_limit()
    if limits.asks is not None and meta.sampling == "instant" and limit.held_or_not:
        from .questions.times import sampling

        raise sampling(limits.asks, NEARLY_ALL_CHANGE)
    # What is held stands until the next reading however long that takes: no pause is in doubt there.
    if gap_limit_s is None:
        sentences += [limit.sentence] if limit.sentence and meta.sampling != "held" else []
        other_s = None if meta.sampling == "held" else limit.other_s
        return replace(
            meta, gap_limit_s=limit.limit_s, other_gap_limit_s=other_s, usual_interval_s=usual_s, remarks=sentences
        )
    if usual_s is not None and gap_limit_s < usual_s and meta.sampling == "instant":
        sentences.append(
            f"the gap limit ({gap_limit_s:g} s) is shorter than the usual spacing ({usual_s:g} s), "
            "so nothing can be measured between readings; a longer --gap mends that"
        )
    return replace(meta, gap_limit_s=gap_limit_s, usual_interval_s=usual_s, remarks=sentences)


def _settled_meta(meta: LogMeta, settled: Settled, limits: _Limits) -> LogMeta:
    intervals = IntervalCount()
    for readings in settled.rhythm():
        intervals.add(readings.time_us, level_of(readings.quantities))
    meta = replace(
        meta,
        rows_kept=len(settled.readings.time_us),
        rows_merged=settled.merged,
        clock_steps=settled.clock_steps,
        moved=[*meta.moved, *settled.moved()],
        remarks=[*meta.remarks, *settled.sentences()],
    )
    return _with_limits(meta, intervals, limits)


def _converted(
    out: Path, meta: LogMeta, rejects: RejectsFile, tally: _Tally, export: Export, ends: tuple[int, int]
) -> Converted:
    local = export.local
    return Converted(
        log=out,
        meta=meta,
        rejects_file=rejects.path if rejects.count else None,
        first_us=ends[0],
        last_us=ends[1],
        repeated_headers=len(tally.headers),
        ambiguous=local.ambiguous if local else 0,
    )


@contextmanager
def _spool(out: Path) -> Iterator[Path]:
    """Give a hidden place beside the log for readings in the order they come; nothing of it is left behind."""
    with ExitStack() as stack:
        with named_in_errors(out):
            spool = stack.enter_context(hidden_beside(out))
        yield spool


def _keep(spool: Path, out: Path) -> tuple[int, int]:
    """Let the spooled readings, already in order, become the log."""
    take_place(spool, out)
    # Only the ends: the file was just written in order.
    with parquet_file(out) as file:
        groups = file.metadata.num_row_groups
        first = integers(flat(file.read_row_group(0, columns=["time"])["time"]), 0)[0]
        last = integers(flat(file.read_row_group(groups - 1, columns=["time"])["time"]), 0)[-1]
    return int(first), int(last)


def is_log(name: str) -> bool:
    """Tell whether a file or folder is a log, finished or not, rather than an export."""
    path = Path(name)
    if path.is_dir():
        return any(path.glob("*.parquet"))
    if not path.is_file():
        from ..journal.journal import journal_path  # an export is a file: most conversions end above

        return journal_path(path).is_file()
    with path.open("rb") as file:
        return file.read(len(FILE_MARK)) == FILE_MARK
