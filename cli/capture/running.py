"""Captures that run by themselves: begun, found, spoken to and ended by a program that may come and go."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from ...ingest.errors import InputError
from ...ingest.safe_files.file_lock import remove_left_behind
from ...ingest.safe_files.whole_file import refuse_existing
from .inbox import MOST_OF_NOTE, LeftEnd, LeftNote, leave
from .state_file import FoundCapture, find_capture, find_captures

#: A meter without a profile is listened to for ten seconds, and tried three times. [s]
_STARTS_WITHIN_S = 45.0
#: A long log takes a while to be finished. [s]
_ENDS_WITHIN_S = 60.0
_LOOK_EVERY_S = 0.05
#: Far more than a capture says in the end. [bytes]
_MOST_SAID = 65_536
#: Lines of so many letters are never broken by who writes them.
_UNBROKEN = "1000"
_MAIN = "from shuntbook.cli.main import main; main()"
#: Of Windows, where a child goes on by itself if it has no console of its starter's.
_WITHOUT_CONSOLE = 0x0000_0008 | 0x0000_0200  # DETACHED_PROCESS, CREATE_NEW_PROCESS_GROUP (Microsoft, from memory)

#: Those begun here that have not ended: one that nobody asks after would stay in the system's list of processes.
_children: list[subprocess.Popen[bytes]] = []


def running_captures(folder: Path) -> list[FoundCapture]:
    """Return the captures whose log lies in a folder, whoever began them: those that run, then those cut off.

    Only the user's own are told of. One that was cut off stands there until a command opens its log, which completes
    it.
    """
    _children[:] = [child for child in _children if child.poll() is None]
    return find_captures(folder)


def start_capture(
    folder: Path, out: str, words: Sequence[str], *, within_s: float = _STARTS_WITHIN_S
) -> FoundCapture | None:
    """Begin ``shuntbook capture WORDS --out OUT`` in a folder, and return it as soon as it reads its meter.

    It is a process of its own, in a session of its own: it goes on when this program is killed or its terminal is
    closed. Nothing is shown anywhere; what it says is in files beside its log (`last_words`). With several meters
    ``out`` is a folder, or what their logs' names begin with, and the capture is found by the log that comes first.
    None if it has ended by itself meanwhile, with a log.

    Raises
    ------
    InputError
        If it does not begin, in its own words; nothing was captured then.
    """
    log = folder / out
    if not log.is_dir():
        refuse_existing(log, force=None)
    command = [sys.executable, "-c", _MAIN, "capture", f"--out={out}", "--quiet", *words]
    result, remarks = _output_paths(log)
    with _new_output(result) as output, _new_output(remarks) as errors:
        child = subprocess.Popen(
            command,
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=errors,
            close_fds=True,
            # What it says is shown on a page, which breaks lines by itself.
            env={**os.environ, "PYTHONIOENCODING": "utf-8", "PYTHONUNBUFFERED": "1", "COLUMNS": _UNBROKEN},
            **_apart(),
        )
    _children.append(child)
    until = time.monotonic() + within_s
    while child.poll() is None:
        if (capture := _of_process(log, child.pid)) is not None:
            return capture
        # One that is over at once may still show its page to those who come late.
        if result.stat().st_size:
            return None
        if time.monotonic() > until:
            child.terminate()
            child.wait()
            raise InputError(f"{log}: the capture did not begin within {within_s:g} s and was ended; is the meter on?")
        time.sleep(_LOOK_EVERY_S)
    if child.returncode:
        raise InputError(last_words(log).removeprefix("shuntbook: ") or f"{log}: the capture ended without a word")
    return None


def leave_note(log: Path, text: str, *, at_us: int | None = None) -> None:
    """Put a note into the log of a running capture, of now or of the moment at which it was typed [us].

    With ``hand:`` a line such as ``900 W`` is a reading, as at its own keyboard. `InputError` if the capture does not
    run, or the note is empty or too long.
    """
    if not text.strip():
        raise InputError("the note is empty; write a word or two")
    if len(text) > MOST_OF_NOTE:
        raise InputError(f"the note has {len(text):,} characters; write {MOST_OF_NOTE} at most")
    _leave(log, LeftNote(text, time.time_ns() // 1000 if at_us is None else at_us))


def end_capture(log: Path, *, within_s: float = _ENDS_WITHIN_S) -> str:
    """End a running capture, wait until its log is finished, and return what it said of it.

    `InputError` if it does not run, or does not end in time: it goes on finishing its log then.
    """
    _leave(log, LeftEnd())
    until = time.monotonic() + within_s
    while (capture := find_capture(log)) is not None and capture.running:
        if time.monotonic() > until:
            raise InputError(f"{log}: the capture has not ended within {within_s:g} s; its log is still being finished")
        time.sleep(_LOOK_EVERY_S)
    return last_words(log)


def last_words(log: Path) -> str:
    """Return what a capture that was begun by `start_capture` came to, or why it came to nothing.

    It is empty before that, and where another began it.
    """
    for path in (path for begun in _begun_as(log) for path in _output_paths(begun)):
        with suppress(OSError), path.open("rb") as file:
            if words := file.read(_MOST_SAID).decode("utf-8", "replace").strip():
                return words
    return ""


def _leave(log: Path, left: LeftNote | LeftEnd) -> None:
    capture = find_capture(log)
    try:
        if capture is None or not capture.running:
            raise FileNotFoundError
        leave(log, left)
    except FileNotFoundError:
        raise InputError(f"{log}: is not being captured any more") from None
    except OSError as error:
        raise InputError(f"{log}: nothing can be left for its capture ({error.strerror})") from None


def _of_process(log: Path, process: int) -> FoundCapture | None:
    """Return the capture that a process began, once it can be found."""
    captures = running_captures(log if log.is_dir() else log.parent)
    return next((one for one in captures if one.running and one.state.process == process), None)


def _begun_as(log: Path) -> list[Path]:
    """Return under which names the capture of a log may have been begun: of several meters it is another."""
    parts = log.stem.split("-")
    shared = ["-".join(parts[:k]) for k in range(len(parts) - 1, 0, -1)]
    return [log, *(log.with_name(f"{name}{log.suffix}") for name in shared if name), log.parent]


def _output_paths(log: Path) -> tuple[Path, Path]:
    """Return where the results of a log's capture go, and its remarks and mistakes."""
    return log.with_name(f".{log.name}.output.txt"), log.with_name(f".{log.name}.remarks.txt")


def _new_output(path: Path) -> Any:  # noqa: ANN401 - a file, as `subprocess` takes it
    """Open a new file for what a capture says, for its owner alone: the link of a page may stand in it."""
    remove_left_behind(path)
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")


def _apart() -> dict[str, Any]:
    """Return what sets a child apart from this process's terminal and end, as `subprocess.Popen` takes it."""
    return {"creationflags": _WITHOUT_CONSOLE} if os.name == "nt" else {"start_new_session": True}
