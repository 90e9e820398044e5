"""Ways to hurt a command: it runs in a forked process, which is killed, refused, or left without room on the way."""

from __future__ import annotations

import errno
import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any

import tzlocal

#: What changes names on a disk, as Python's audit events call it, and calls that put bytes there.
_NAMES = {"os.rename", "os.remove", "os.mkdir", "os.rmdir"}
_BYTES = ("write", "fsync", "fdatasync", "ftruncate")
_PATIENCE_S = 300.0
_NOBODY = 65534


@dataclass(frozen=True)
class Ended:
    """How a command ended: its status (that of a signal is negative), what it said, how many steps it took."""

    status: int
    output: str
    steps: int = 0


@dataclass
class Steps:
    """Counts the steps that a process takes on the disk, and does something at one of them.

    A step is a name that is made, changed or removed in the folder, or bytes that go to the disk through Python's
    own calls; those of Arrow are met by limits and full disks instead.
    """

    folder: Path
    at: int = 0
    do: Callable[[], None] = lambda: None
    taken: int = 0
    only_names: bool = False

    def watch(self) -> None:
        """Begin."""
        sys.addaudithook(self._audit)
        if not self.only_names:
            for name in _BYTES:
                setattr(os, name, self._counted(getattr(os, name)))

    def _counted(self, call: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(call)
        def counted(handle: int, *rest: Any) -> Any:
            if os.path.realpath(f"/dev/fd/{handle}").startswith(str(self.folder)):
                self._step()
            return call(handle, *rest)

        return counted

    def _audit(self, event: str, details: tuple[Any, ...]) -> None:
        writes = event == "open" and isinstance(details[2], int) and details[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        if not writes and event not in _NAMES:
            return
        place = details[0]
        if isinstance(place, (str, bytes, os.PathLike)) and self._is_here(os.fsdecode(place)):
            self._step()

    def _is_here(self, place: str) -> bool:
        return os.path.abspath(place).startswith(str(self.folder))  # noqa: PTH100 - Path.resolve would be audited

    def _step(self) -> None:
        self.taken += 1
        if self.taken == self.at:
            self.do()


def kill() -> None:
    """End this process as a crash would."""
    os.kill(os.getpid(), signal.SIGKILL)


def refuse(number: int) -> Callable[[], None]:
    """Return what makes a step fail with an error of the operating system."""

    def fail() -> None:
        raise OSError(number, os.strerror(number))

    return fail


def send(number: int) -> Callable[[], None]:
    """Return what sends this process a signal at a step."""
    return lambda: signal.raise_signal(number)


def limit_files(size: int) -> Callable[[], None]:
    """Return what keeps every file of a process below a size: a write beyond it fails in Arrow as in Python. [bytes]"""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))

    return limit


def be_nobody() -> None:
    """Give up the rights of root, to whom no folder is closed."""
    tzlocal.get_localzone_name()  # nobody may be kept from reading where it is installed
    if not os.geteuid():
        os.setgroups([])
        os.setgid(_NOBODY)
        os.setuid(_NOBODY)


def give_to_nobody(folder: Path) -> None:
    """Let somebody without rights work in a folder that root has made."""
    if not os.geteuid():
        folder.parent.chmod(0o755)
        for path in (folder, *folder.rglob("*")):
            os.chown(path, _NOBODY, _NOBODY)


def run_unhurt(folder: Path, words: Sequence[str]) -> Ended:
    """Run a command to its end."""
    return run_hurt(folder, words, Steps(folder))


def run_hurt(
    folder: Path,
    words: Sequence[str],
    steps: Steps,
    *,
    before: Callable[[], None] = lambda: None,
    meanwhile: Callable[[int], None] = lambda _process: None,
    output_in: Path | None = None,
) -> Ended:
    """Run a command in a fork of this process, hurt `before` it begins, at one of its `steps`, or `meanwhile`."""
    output, count = (folder.with_name(folder.name + end) for end in (".output", ".count"))
    if output_in is not None:
        output, count = output_in / output.name, output_in / count.name
    count.unlink(missing_ok=True)
    ready, begin = os.pipe()
    process = os.fork()
    if not process:
        _be_child(folder, words, steps, output, count, begin, before)
    os.close(begin)
    os.read(ready, 1)
    os.close(ready)
    meanwhile(process)
    return Ended(
        _wait(process), output.read_text(errors="replace"), int(count.read_text() or 0) if count.exists() else 0
    )


def _wait(process: int) -> int:
    until = time.monotonic() + _PATIENCE_S
    while time.monotonic() < until:
        ended, status = os.waitpid(process, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.002)
    os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    raise AssertionError("the command never ended")


def _be_child(
    folder: Path,
    words: Sequence[str],
    steps: Steps,
    output: Path,
    count: Path,
    begin: int,
    before: Callable[[], None],
) -> None:
    """Run the command as its entry point would, and end this process without what the parent would do at its end."""
    from shuntbook.cli.main import main

    status = 1
    try:
        out = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
        counts = os.open(count, os.O_WRONLY | os.O_CREAT, 0o666)
        nothing = os.open(os.devnull, os.O_RDONLY)
        for handle, stream in ((nothing, 0), (out, 1), (out, 2)):
            os.dup2(handle, stream)
        sys.stdin, sys.stdout, sys.stderr = (open(n, mode, closefd=False) for n, mode in ((0, "r"), (1, "w"), (2, "w")))  # noqa: SIM115
        os.chdir(folder)
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
        before()
        steps.watch()
        os.write(begin, b".")
        main(list(words))
    except SystemExit as ended:
        status = int(ended.code or 0)
    except KeyboardInterrupt:  # between its beginning and the command's
        status = 130
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        steps.at = 0
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        sys.stdout.flush()
        sys.stderr.flush()
        os.write(counts, str(steps.taken).encode())
        os._exit(status)


DISK_FULL = errno.ENOSPC
