"""How far a run over many logs is, on standard error, where a person looks on."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Step = Callable[[], object]


@contextmanager
def progress() -> Iterator[Callable[[int, int], Step]]:
    """Give what begins a bar: told how many logs there are and how many are finished, it returns a step.

    Without a terminal nothing is shown.
    """
    if not sys.stderr.isatty():
        yield lambda _total, _finished: lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("logs"), BarColumn(), MofNCompleteColumn(), TextColumn("left"), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:

        def begin(total: int, finished: int) -> Step:
            shown = bar.add_task("logs", total=total, completed=finished)
            return lambda: bar.advance(shown)

        yield begin
