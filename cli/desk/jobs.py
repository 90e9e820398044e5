"""Commands that the desk has done: each is `shuntbook` itself in a process of its own.

So what the desk writes is what the command line writes, whole or absent; a command that fails, or a desk that is
killed, takes nothing with it.
"""

from __future__ import annotations

import asyncio
import os
import shlex
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

#: More than any command says in its answer; the rest is read and let go. [bytes]
_MOST_SAID = 2_000_000
#: So many commands are remembered whose end nobody waits for. [1]
_MOST_BEGUN: Final = 50
_MAIN: Final = "from shuntbook.cli.main import main; main()"


@dataclass(frozen=True)
class Ended:
    """How a command ended: its exit status, what it printed as its result, and what it remarked beside that."""

    status: int
    result: str
    remarks: str

    @property
    def sentence(self) -> str:
        """What is wrong, in the command's own words; without its name in front, which a page need not say."""
        lines = [line.removeprefix("shuntbook: ") for line in self.remarks.splitlines()]
        return "\n".join(lines) or "It ended without a word."


@dataclass(frozen=True)
class BegunJob:
    """A command that was begun, and whose end nobody waits for: its arguments, and since when [s since 1970]."""

    arguments: Sequence[str]
    since_s: float
    task: asyncio.Task[Ended]

    @property
    def ended(self) -> Ended | None:
        """How it ended; None while it runs."""
        return self.task.result() if self.task.done() and not self.task.cancelled() else None


class Jobs:
    """Runs commands in a folder, two at a time: a computer that a pump's capture runs on has more to do."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._room = asyncio.Semaphore(2)
        self._begun: dict[str, BegunJob] = {}

    async def run(self, arguments: Sequence[str]) -> Ended:
        """Run ``shuntbook`` with these arguments, and wait for its end."""
        async with self._room:
            process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-c", _MAIN, *arguments),
                cwd=self._folder,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                # on Windows a pipe would else have the code page of the terminal
                env={**os.environ, "PYTHONIOENCODING": "utf-8"},
            )
            try:
                result, remarks = await process.communicate()
            except asyncio.CancelledError:
                # the desk is being closed: what was half written is removed by the command itself
                process.terminate()
                raise
        return Ended(process.returncode or 0, _text(result), _text(remarks))

    def begin(self, result: str, arguments: Sequence[str]) -> BegunJob:
        """Begin a command that may take as long as a film lasts; it is known by the result that it is to write."""
        for done in [name for name, job in self._begun.items() if job.task.done()][:-_MOST_BEGUN]:
            del self._begun[done]
        self._begun[result] = BegunJob(arguments, time.time(), asyncio.ensure_future(self.run(arguments)))
        return self._begun[result]

    def begun(self, result: str) -> BegunJob | None:
        """Return what was begun to write a result; None where nothing was."""
        return self._begun.get(result)


def typed(arguments: Sequence[str]) -> str:
    """Return a command as a person would type it."""
    return " ".join(["shuntbook", *map(shlex.quote, arguments)])


def _text(output: bytes) -> str:
    return output[:_MOST_SAID].decode("utf-8", "replace")
