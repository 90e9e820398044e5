"""Commands that the desk has done: each is `shuntbook` itself in a process of its own.

So what the desk writes is what the command line writes, whole or absent; a command that fails, or a desk that is
killed, takes nothing with it.
"""

from __future__ import annotations

import asyncio
import os
import shlex
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

#: More than any command says in its answer; the rest is read and let go. [bytes]
_MOST_SAID = 2_000_000
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


class Jobs:
    """Runs commands in a folder, two at a time: a computer that a pump's capture runs on has more to do."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._room = asyncio.Semaphore(2)

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


def typed(arguments: Sequence[str]) -> str:
    """Return a command as a person would type it."""
    return " ".join(["shuntbook", *map(shlex.quote, arguments)])


def _text(output: bytes) -> str:
    return output[:_MOST_SAID].decode("utf-8", "replace")
