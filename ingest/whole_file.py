"""Files that are whole or absent: written beside their place and moved there when they are finished."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from .errors import InputError


def refuse_existing(path: Path, *, force: bool, what: str = "--out") -> None:
    """Stop before anything is written where a result would replace something.

    Raises
    ------
    InputError
        If `path` exists and `force` is false, is a folder, or lies in a folder that does not exist.
    """
    if path.is_dir():
        raise InputError(f"{what}: {path} is a folder; name a file in it")
    if path.exists() and not force:
        raise InputError(f"{what}: {path} exists already and is left as it is; choose another name or add --force")
    if not path.parent.is_dir():
        raise InputError(f"{what}: there is no folder {path.parent}; make it first or choose another place")


def refuse_input(out: Path, inputs: Iterable[str | Path | None], *, what: str = "--out") -> None:
    """Stop before a result would replace what it is made from, whatever --force says.

    Raises
    ------
    InputError
        If `out` is one of `inputs`.
    """
    for name in inputs:
        if name is not None and Path(name).resolve() == out.resolve():
            raise InputError(f"{what}: {out} is what this is made from; choose another name")


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a hidden path to write to; it takes the place of `path` only if the block ends without an error.

    The bytes are on the disk before the name is: a power cut leaves the old file or the new one, never half of one.
    """
    hidden = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield hidden
        _sync(hidden)
        hidden.replace(path)
        _sync(path.parent)
    finally:
        with suppress(OSError):
            hidden.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    if path.is_dir() and os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
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


def copy_file(source: Path, path: Path) -> None:
    """Copy a file, whole or not at all."""
    with whole_file(path) as hidden:
        shutil.copyfile(source, hidden)
