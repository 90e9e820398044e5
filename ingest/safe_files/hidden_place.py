"""Hidden files and folders in which a result is written, beside its place."""

from __future__ import annotations

import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from .file_lock import claim, is_at


@contextmanager
def hidden_beside(path: Path, *, folder: bool = False) -> Iterator[Path]:
    """Give a new, empty hidden file or `folder` beside `path`; if it is still there when the block ends, it is removed.

    It is held meanwhile. One that nobody holds was left by a process that was killed, and is removed by the next that
    writes to the same place; where a file system knows no locks, and on Windows, it stays. As it is new, a link that
    somebody put there is never followed.

    Raises
    ------
    OSError
        If nothing can be made there.
    """
    _remove_left_behind(path)
    hidden, handle = _made(path, folder=folder)
    try:
        yield hidden
    finally:
        _remove(hidden)
        if handle is not None:
            os.close(handle)


def _made(path: Path, *, folder: bool) -> tuple[Path, int | None]:
    while True:
        hidden = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
        if folder:
            hidden.mkdir()
        else:
            os.close(os.open(hidden, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        with suppress(BlockingIOError, FileNotFoundError):  # who looks for what was left may have come between
            handle = claim(hidden)
            if handle is None or is_at(handle, hidden):
                return hidden, handle
            os.close(handle)


def _remove_left_behind(path: Path) -> None:
    ours = re.compile(re.escape(f".{path.name}.") + r"[0-9a-f]{8}\.part")
    left: list[Path] = []
    with suppress(OSError), os.scandir(path.parent) as there:  # one may write where one may not look
        left = [path.with_name(entry.name) for entry in there if ours.fullmatch(entry.name)]
    for hidden in left:
        with suppress(OSError):  # somebody holds it, or was quicker
            if (handle := claim(hidden)) is not None:
                _remove(hidden)
                os.close(handle)


def _remove(hidden: Path) -> None:
    with suppress(OSError):
        if hidden.is_dir() and not hidden.is_symlink():
            shutil.rmtree(hidden)
        else:
            hidden.unlink(missing_ok=True)
