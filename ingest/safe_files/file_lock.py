"""A file held by one process at a time: the operating system lets go of it when the process ends, however it ends."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from ..errors import InputError

_AS_BYTES = getattr(os, "O_BINARY", 0)
#: A link is no file of ours; what is neither file nor folder (a pipe, say) would let its opener wait.
_NO_LINK = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)

#: On Windows an open file can neither be removed nor lose its name to another.
OPEN_FILES_KEEP_NAMES: Final = os.name == "nt"

if sys.platform == "win32":
    import msvcrt

    #: Windows keeps others from reading what is locked, so a byte is locked where no file of ours reaches.
    _FAR_OFF = 0x7FFF_FFFE

    def _lock(handle: int) -> None:
        os.lseek(handle, _FAR_OFF, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError as error:
            raise BlockingIOError(*error.args) from None
        finally:
            os.lseek(handle, 0, os.SEEK_SET)

    def _wait_for(folder: Path) -> int | None:  # noqa: ARG001 - Windows cannot hold a folder
        return None

    def claim(place: Path) -> int | None:  # noqa: ARG001 - nor let a held file take another name
        """Return None: nothing is held."""
        return None

else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _wait_for(folder: Path) -> int | None:
        handle = os.open(folder, os.O_RDONLY)
        with suppress(OSError):  # some network shares cannot hold a folder
            fcntl.flock(handle, fcntl.LOCK_EX)
        return handle

    def claim(place: Path) -> int | None:
        """Hold a file or folder that is there, never what a link points to.

        Returns
        -------
        int or None
            Its handle, held until it is closed or the process ends; None where the file system knows no locks.

        Raises
        ------
        BlockingIOError
            If another process holds it.
        OSError
            If it is not there or cannot be opened.
        """
        handle = os.open(place, os.O_RDONLY | _NO_LINK)
        try:
            _lock(handle)
        except BlockingIOError:
            os.close(handle)
            raise
        except OSError:
            os.close(handle)
            return None
        return handle


def hold(path: Path, flags: int) -> int | None:
    """Open a file, `flags` as of `os.open`, and hold it.

    Returns its handle, held until it is closed or the process ends; None if another holds it.

    Raises
    ------
    InputError
        If it is a link or no file, or the file system knows no locks.
    """
    # Whoever held it may have removed it while this one waited to open it: then the handle leads to a file without a
    # name.
    while True:
        handle = _opened(path, flags)
        try:
            _lock(handle)
            if is_at(handle, path):
                return handle
        except BlockingIOError:
            os.close(handle)
            return None
        except OSError as error:
            os.close(handle)
            raise InputError(
                f"{path}: this place does not let a file be held by one program alone ({error.strerror}); "
                "choose a folder on a disk of this computer"
            ) from None
        os.close(handle)  # it was removed between opening and holding it


def put_away(handle: int, path: Path, keep_as: Path | None = None) -> None:
    """Remove a held file, or give it another name, and let go of it.

    It is let go of last, so that no other process can begin to use what is about to vanish. Windows cannot remove an
    open file, but refuses to remove one that another process has opened since.
    """
    if OPEN_FILES_KEEP_NAMES:
        os.close(handle)
    try:
        if keep_as is not None:
            path.replace(keep_as)
        else:
            path.unlink(missing_ok=True)
    finally:
        if not OPEN_FILES_KEEP_NAMES:
            os.close(handle)


def remove_left_behind(path: Path) -> bool:
    """Remove a file that no process holds, as one that was killed leaves it; tell whether there was one."""
    try:
        handle = hold(path, os.O_RDWR)
    except FileNotFoundError:
        return False
    if handle is None:
        return False
    put_away(handle, path)
    return True


@contextmanager
def in_turn(folder: Path) -> Iterator[None]:
    """Wait until no other process is in this block with the same folder.

    Where a folder cannot be held (Windows, some network shares) nobody waits.
    """
    handle = _wait_for(folder)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _opened(path: Path, flags: int) -> int:
    if path.is_symlink() or (path.exists() and not path.is_file()):
        raise InputError(f"{path}: is a link or no file; it is left as it is: move it away or choose another place")
    return os.open(path, flags | _AS_BYTES | _NO_LINK, 0o666)


def is_at(handle: int, path: Path) -> bool:
    """Tell whether an open file is the one that has this name."""
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except FileNotFoundError:
        return False
