"""From a journal to a log: in bounded memory, whole or not at all, and never a reading twice."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import pyarrow as pa

from ..errors import InputError
from ..events import HOLDS, MISREAD
from ..log.arrow import stored_notes
from ..log.log import JOURNAL_SUFFIX, new_log, to_batch
from ..log.meta import METADATA_KEY, LogMeta, meta_from
from ..safe_files.file_lock import hold, in_turn, put_away, remove_left_behind
from ..safe_files.rejects import rejects_file, rejects_path
from ..zone import zone_named
from .journal import Journal, inbox_path, journal_path, state_path
from .lines import JournalReader, NothingCaptured
from .readings import Tally, in_order

#: A damaged end longer than this is more than a flush interval can cost, so the journal is kept. [bytes]
_TAIL_MOST = 1 << 16


@dataclass(frozen=True)
class Compacted:
    """What became of a journal: a log in its place, ``meta.rows_kept`` readings.

    The first and last reading are None if the log had been finished ``already`` and only its journal was still there.
    ``skipped`` readings came no later than the one before, and are kept among the rejects. ``torn_bytes`` at the
    journal's end could not be read; where they are so many that it was not removed, ``kept_as`` is its new name.
    """

    log: Path
    meta: LogMeta
    first_us: int | None = None
    last_us: int | None = None
    skipped: int = 0
    torn_bytes: int = 0
    rejects_file: Path | None = None
    kept_as: Path | None = None
    already: bool = False


def finish(journal: Journal) -> Compacted:
    """End a capture: turn its journal, which nobody else can touch meanwhile, into the log.

    Raises
    ------
    NothingCaptured
        If it holds no reading: there is no log then; what was refused is kept.
    OSError
        If the disk is full or failed: the journal stays, and the next command that opens the log tries again.
    """
    try:
        journal.sync()
    except BaseException:
        journal.close()
        raise
    return _put_in_place(journal.log, journal.detach(), cut_off=False)


def compact(log: Path) -> Compacted:
    """Turn the journal of a capture that was cut off, which lies beside its log, into the log.

    Raises
    ------
    FileNotFoundError
        If there is no journal.
    NothingCaptured
        If it holds no reading: there is no log then, and the journal is removed; what was refused is kept.
    InputError
        If the capture is still running, the journal's beginning is damaged, or another log is in its place.
    OSError
        If the disk is full or failed: the journal stays as it is.
    """
    # Two commands may find the same journal at once: the second waits, and then finds none.
    with in_turn(log.parent):
        handle = hold(journal_path(log), os.O_RDONLY)
        if handle is None:
            raise InputError(f"{log}: is still being captured; stop it first")
        try:
            return _put_in_place(log, handle, cut_off=True)
        finally:
            _clear_beside(log)


def _clear_beside(log: Path) -> None:
    """Remove what its capture, which was killed, has left beside a log whose journal is gone."""
    if journal_path(log).exists():
        return
    for path in (inbox_path(log), state_path(log)):
        with suppress(OSError, InputError):  # none of ours, or the next capture's already
            remove_left_behind(path)


def settle_unfinished(path: Path) -> str | None:
    """Complete the unfinished captures of a log, or of a folder of logs, before it is opened; tell what was done.

    Raises
    ------
    InputError
        If a capture is still running, or cannot be completed.
    OSError
        If the disk is full or failed: the journal stays as it is.
    """
    journals = sorted(path.glob("*.parquet" + JOURNAL_SUFFIX)) if path.is_dir() else [journal_path(path)]
    logs = [journal.with_name(journal.name.removesuffix(journal.suffix)) for journal in journals if journal.exists()]
    return "; ".join(filter(None, map(_settle, logs))) or None


def _settle(log: Path) -> str | None:
    try:
        return _sentence(compact(log))
    except FileNotFoundError:  # another command was quicker
        return None
    except NothingCaptured as nothing:
        if log.exists():  # a capture that was to replace it never began
            return str(nothing)
        raise
    except OSError as error:
        if error.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
            raise
        raise InputError(
            f"{log}: its capture was cut off and can only be completed where one may write; copy "
            f"{journal_path(log).name} to a folder of your own and open {log.name} there"
        ) from None


def _sentence(done: Compacted) -> str:
    if done.already or done.last_us is None:
        return f"{done.log}: its journal was still there and was removed; the log itself had been finished"
    last = datetime.fromtimestamp(done.last_us // 1_000_000, zone_named(done.meta.zone, what="the log's zone"))
    word = "reading" if done.meta.rows_kept == 1 else "readings"
    sentence = (
        f"{done.log}: an unfinished capture was found and completed: {done.meta.rows_kept:,} {word} "
        f"up to {last:%d %B %Y %H:%M:%S} ({done.meta.zone})"
    )
    return f"{sentence}; {_torn_words(done.torn_bytes, done.kept_as)}" if done.torn_bytes else sentence


def _torn_words(torn_bytes: int, kept_as: Path | None) -> str:
    words = f"the last {torn_bytes:,} bytes of its journal were damaged and hold no reading that can be trusted"
    return f"{words}; the journal is kept as {kept_as.name}" if kept_as else words


def _put_in_place(log: Path, handle: int, *, cut_off: bool) -> Compacted:
    """Write the log; only when it is safely there, put the held journal away."""
    try:
        done = _complete(log, cut_off=cut_off)
    except NothingCaptured:
        put_away(handle, journal_path(log))
        raise
    except BaseException:
        os.close(handle)
        raise
    put_away(handle, journal_path(log), done.kept_as)
    return done


def _complete(log: Path, *, cut_off: bool) -> Compacted:
    with JournalReader(journal_path(log)) as journal:
        meta = _meta_of(log)
        # The log of this very capture: the power went between finishing it and removing the journal. Written again it
        # would be the same, and its readers would see it change.
        if meta is not None and meta.capture_id == journal.meta.capture_id:
            return Compacted(log, meta, already=True)
        # What stands there came later or from elsewhere, and nobody asked to replace it.
        if log.exists() and not journal.replaces:
            raise InputError(
                f"{log}: is not the log of the unfinished capture beside it ({journal.path.name}); "
                "move one of them to another folder"
            )
        return _write(log, journal, cut_off=cut_off)


def _meta_of(log: Path) -> LogMeta | None:
    """Return a log file's metadata; None if it is not there or is no log."""
    try:
        return meta_from(log, stored_notes(log).get(METADATA_KEY))
    except (OSError, pa.ArrowException, InputError):
        return None


def _write(log: Path, journal: JournalReader, *, cut_off: bool) -> Compacted:
    tally = Tally(journal.path.name)
    with new_log(log, journal.quantities) as writer:
        # The rejects are in their place before the log is: no log lacks rows that are nowhere.
        with rejects_file(log, {journal.path.name}) as rejects:
            for readings in in_order(journal, tally, rejects):
                writer.write(to_batch(readings))
            if not tally.rows:
                raise _nothing(log, journal, tally)
        rejected = rejects.path if rejects.count else None
        meta = _filled(journal, tally, cut_off=cut_off)
        writer.finish(meta)
    torn = journal.torn_bytes
    kept_as = journal.path.with_name(f"{journal.path.name}.damaged-{(meta.capture_id or '')[:8]}")
    return Compacted(
        log,
        meta,
        first_us=tally.first_us,
        last_us=tally.last_us,
        skipped=tally.skipped,
        torn_bytes=torn,
        rejects_file=rejected,
        kept_as=kept_as if torn > _TAIL_MOST else None,
    )


def _nothing(log: Path, journal: JournalReader, tally: Tally) -> InputError:
    if journal.torn_bytes > _TAIL_MOST:
        return InputError(
            f"{journal.path}: this journal is damaged or cut short before its first reading; it is left as it is: "
            "move it away to go on without it"
        )
    sentence = f"{log}: the capture ended before there was a reading, so there is no log"
    if not tally.refused:
        return NothingCaptured(sentence)
    return NothingCaptured(f"{sentence}; what came and could not be read is in {rejects_path(log)}")


def _filled(journal: JournalReader, tally: Tally, *, cut_off: bool) -> LogMeta:
    remarks = [*journal.meta.remarks, *tally.sentences()]
    if cut_off:
        remarks.append("the capture was cut off; the log was completed from its journal")
    if journal.torn_bytes:
        remarks.append(_torn_words(journal.torn_bytes, None))
    rejected = tally.refused + tally.skipped
    stated_s, usual_s = journal.meta.gap_limit_s, tally.intervals.median_s()
    return replace(
        journal.meta,
        rows_read=tally.rows + tally.merged + rejected,
        rows_kept=tally.rows,
        rows_rejected=rejected,
        rows_merged=tally.merged,
        gap_limit_s=tally.intervals.gap_limit().limit_s if stated_s is None else stated_s,
        usual_interval_s=journal.meta.usual_interval_s if usual_s is None else usual_s,
        markers=sorted([*journal.meta.markers, *tally.markers]),
        clock_steps=[*journal.meta.clock_steps, *tally.clock_steps],
        display_holds_s=tally.of_display.get(HOLDS, journal.meta.display_holds_s),
        misread_share=tally.of_display.get(MISREAD),
        remarks=remarks,
    )
