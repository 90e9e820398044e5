"""Rows out of order on their way through a scratch folder beside the log: from the spool to columns, and to the log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from ..log.arrow import floats, integers, parquet_file
from ..log.log import ROWS_AT_ONCE, LogWriter, Readings, to_batch
from ..log.stored import Scratch, forget, slices
from ..safe_files.whole_file import hidden_beside, named_in_errors


@contextmanager
def scratch_beside(out: Path) -> Iterator[Scratch]:
    """Give a place for columns beside the log; nothing of it is left behind."""
    with ExitStack() as stack:
        with named_in_errors(out):
            folder = stack.enter_context(hidden_beside(out, folder=True))
        yield Scratch(folder)


def laid_out(spool: Path, quantities: Sequence[str], rows: int, scratch: Scratch) -> Readings:
    """Return the spooled readings in the order they came, each column by itself."""
    time_us, start = scratch.times(rows), 0
    columns = {name: scratch.amounts(rows) for name in quantities}
    with parquet_file(spool) as file:
        for group in range(file.num_row_groups):
            # One group at a time: the reader of several keeps all that it has read.
            for batch in file.iter_batches(ROWS_AT_ONCE, row_groups=[group], use_threads=False):
                part = slice(start, start + len(batch))
                time_us[part], start = integers(batch.column("time"), 0), part.stop
                for name, x in columns.items():
                    x[part] = floats(batch.column(name))
            forget(time_us, *columns.values())
    return Readings(time_us, columns)


def write_slices(writer: LogWriter, readings: Readings) -> None:
    """Write readings to the log, some at a time."""
    time_us, quantities = readings.time_us, readings.quantities
    for part in slices(len(time_us)):
        writer.write(to_batch(Readings(time_us[part], {name: x[part] for name, x in quantities.items()})))
        forget(time_us, *quantities.values())
