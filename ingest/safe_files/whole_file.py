"""Files that are whole or absent: written beside their place and moved there when they are finished."""

from __future__ import annotations

import errno
import os
import re
import shutil
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from ..errors import InputError
from .file_lock import claim, is_at

#: The hidden files and folders of this process that are being written, and those that pass.
_unfinished: set[Path] = set()


def remove_unfinished() -> None:
    """Remove what is being written, for a process that ends at once."""
    for hidden in list(_unfinished):
        _remove(hidden)


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
    _unfinished.add(hidden)
    try:
        yield hidden
    finally:
        _remove(hidden)
        _unfinished.discard(hidden)
        if handle is not None:
            os.close(handle)


@contextmanager
def passing_folder() -> Iterator[Path]:
    """Give a new folder where the system keeps what passes; it is gone when the block, or this process, ends."""
    with TemporaryDirectory(prefix="shuntbook-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        _unfinished.add(folder)
        try:
            yield folder
        finally:
            _unfinished.discard(folder)


def _made(path: Path, *, folder: bool) -> tuple[Path, int | None]:
    while True:
        hidden = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
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
    with suppress(OSError), os.scandir(path.parent) as entries:  # one may write where one may not look
        left = [path.with_name(entry.name) for entry in entries if ours.fullmatch(entry.name)]
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


#: Errors of the disk itself, whatever the place and name.
DISK_FAILED = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS}


def refuse_existing(path: Path, *, force: bool | None, what: str = "--out") -> None:
    """Stop before anything is written where a result would replace something.

    Raises
    ------
    InputError
        If `path` exists and `force` is not set (None where there is no such option), is a folder, a pipe or a device,
        lies in a folder that does not exist, or has a name that no table, page or other machine could tell.
    """
    refuse_no_text(path, what=what)
    with named_in_errors(path, what=what):
        is_folder, exists = path.is_dir(), os.path.lexists(path)
        is_file = path.is_file() or not path.exists()
    if is_folder:
        raise InputError(f"{what}: {path} is a folder; name a file in it")
    if not is_file:
        raise InputError(f"{what}: {path} is a pipe or a device, which nothing can take the place of; name a file")
    if exists and not force:
        way_out = "choose another name" if force is None else "choose another name or add --force"
        raise InputError(f"{what}: {path} exists already and is left as it is; {way_out}")
    if not path.parent.is_dir():
        raise InputError(f"{what}: there is no folder {path.parent}; make it first or choose another place")


def refuse_no_text(path: Path, *, what: str = "--out") -> None:
    """Stop before a result gets a name that no table, page or other machine could tell: `InputError`."""
    try:
        str(path).encode()
    except UnicodeEncodeError:
        raise InputError(f"{what}: {path} is no name in UTF-8; choose one of letters") from None


def is_same(one: str | Path, other: str | Path) -> bool:
    """Tell whether two names, links followed, lead to one place; a link that leads to itself leads nowhere else.

    Some file systems take `Log.csv` and `log.csv` for one name: so what is there is asked, and names are compared
    only of what is not there yet.
    """
    with suppress(OSError):
        return Path(one).samefile(other)
    return os.path.realpath(one) == os.path.realpath(other)


def refuse_input(
    out: Path, inputs: Iterable[str | Path | None], *, called: str = "what this is made from", what: str = "--out"
) -> None:
    """Stop before a result would replace what it is made from, whatever --force says.

    Raises
    ------
    InputError
        If `out` is one of `inputs`; the sentence says what they are `called`.
    """
    for name in inputs:
        if name is not None and is_same(name, out):
            raise InputError(f"{what}: {out} is {called}; choose another name")


def reason_of(error: OSError) -> str:
    """Return the operating system's words for an error; Arrow has its own around them."""
    return os.strerror(error.errno) if error.errno else str(error)


@contextmanager
def named_in_errors(out: Path, *, what: str | None = "--out") -> Iterator[None]:
    """Tell what goes wrong in opening `out`, or a hidden file beside it, by the name that the person gave.

    Raises
    ------
    InputError
        If nothing can be written in that place.
    OSError
        If it is the disk that failed; with `out` for the file's name.
    """
    try:
        yield
    except OSError as error:
        reason = reason_of(error)
        # Another place or name would not help against a full or broken disk.
        if error.errno in DISK_FAILED:
            raise OSError(error.errno, reason, str(out)) from error
        named = f"{what}: {out}" if what else str(out)
        raise InputError(f"{named} cannot be written ({reason}); choose another place or name") from None


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a hidden path to write to; it takes the place of `path` only if the block ends without an error.

    The bytes are on the disk before the name is: a power cut leaves the old file or the new one, never half of one.
    """
    with ExitStack() as stack:
        with named_in_errors(path, what=None):
            hidden = stack.enter_context(hidden_beside(path))
        yield hidden
        take_place(hidden, path)


def take_place(hidden: Path, path: Path) -> None:
    """Give a finished hidden file its name: the bytes are on the disk before the name is. A link there is replaced."""
    with named_in_errors(path, what=None):
        sync_path(hidden)
        # One step of the file system: who looks sees the old file or the new one.
        hidden.replace(path)
        sync_path(path.parent)


def take_free_place(hidden: Path, path: Path) -> None:
    """Give a finished hidden file a name that nothing has; `FileExistsError` where something got it meanwhile."""
    with named_in_errors(path, what=None):
        sync_path(hidden)
    try:
        path.hardlink_to(hidden)  # the one step that fails where the name is taken
    except OSError:
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        with named_in_errors(path, what=None):  # the file system knows no second names
            hidden.rename(path)
    hidden.unlink(missing_ok=True)
    with named_in_errors(path, what=None):
        sync_path(path.parent)


def sync_path(path: Path) -> None:
    """Put a file, or a folder's list of names, on the disk; a folder only where the system can do that."""
    if path.is_dir() and os.name != "posix":
        return
    # Windows puts a file on the disk only for who may write it; a folder is opened to be read.
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    except OSError:
        if not path.is_dir():  # some file systems cannot sync a folder; a file they can
            raise
    finally:
        os.close(handle)


def write_text(path: Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all."""
    with whole_file(path) as hidden:
        hidden.write_text(text, encoding="utf-8", newline="\n")


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file, whole or not at all."""
    with whole_file(path) as hidden:
        hidden.write_bytes(content)


def copy_file(source: Path, path: Path) -> None:
    """Copy a file, whole or not at all."""
    with whole_file(path) as hidden:
        shutil.copyfile(source, hidden)
