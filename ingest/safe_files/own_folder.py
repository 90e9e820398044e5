"""A folder of results: replaced as long as it is as it was written, and never where somebody's own would be lost."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Final

from ..errors import InputError
from .whole_file import hidden_beside, named_in_errors, refuse_no_text, sync_path, write_bytes, write_text

#: The files that were written, each with its SHA-256, as ``sha256sum`` lists and checks them.
LIST: Final = "written-by-shuntbook.txt"
_LISTED = re.compile(r"([0-9a-f]{64})  (.+)")


def refuse_foreign(folder: Path, names: Iterable[str], *, force: bool, what: str) -> None:
    """Stop before anything is written where files of these names would replace something of somebody else's.

    What was written here and not changed since may be replaced; with `force` other files, too.

    Raises
    ------
    InputError
        If `folder` is a file or lies in a folder that does not exist, or holds such a file.
    """
    refuse_no_text(folder, what=what)
    with named_in_errors(folder, what=what):
        if os.path.lexists(folder) and not folder.is_dir():
            raise InputError(f"{what}: {folder} is a file; name a folder")
        if not folder.parent.is_dir():
            raise InputError(f"{what}: there is no folder {folder.parent}; make it first or choose another place")
        listed = _listed(folder)
        # All names before any is written: half a folder of results would be worse than none.
        for path in (folder / name for name in (*names, LIST)):
            if path.exists() and not path.is_file():
                kind = "folder" if path.is_dir() else "pipe or a device"
                raise InputError(f"{what}: {path} is a {kind} where a file is to be; choose another folder")
            if not force and os.path.lexists(path) and not _is_own(path, listed):
                raise InputError(
                    f"{what}: {path} was not written here, or was changed since, and is left as it is; "
                    "choose another folder or add --force"
                )


def _listed(folder: Path) -> list[str]:
    """Return the lines on what was written here; none where the list is not one of ours."""
    path = folder / LIST
    if path.is_symlink() or not path.is_file():
        return []
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    return lines if all(map(_LISTED.fullmatch, lines)) else []


def _is_own(path: Path, listed: Sequence[str]) -> bool:
    if path.name == LIST:
        return bool(listed)
    return not path.is_symlink() and path.is_file() and _line(path.name, path.read_bytes()) in listed


def _line(name: str, content: bytes) -> str:
    return f"{sha256(content).hexdigest()}  {name}"


def write_together(folder: Path, texts: Mapping[str, str], *, what: str) -> None:
    """Write text files in UTF-8 and their list: a new folder is whole or absent, in an old one each file is.

    Raises
    ------
    InputError
        If nothing can be written in that place.
    OSError
        If it is the disk that failed.
    """
    with named_in_errors(folder, what=what):
        if folder.is_dir():
            _write(folder, texts)
            return
        with hidden_beside(folder, folder=True) as hidden:
            _write(hidden, texts)
            hidden.rename(folder)
            sync_path(folder.parent)


def _write(folder: Path, texts: Mapping[str, str]) -> None:
    """Write files and their list; until all are written it names old and new ones, so that a torn run is our own."""
    contents = {name: text.encode() for name, text in texts.items()}
    new = [_line(name, content) for name, content in contents.items()]
    if old := _listed(folder):
        _write_list(folder, [*old, *new])
    for name, content in contents.items():
        write_bytes(folder / name, content)
    _write_list(folder, new)


def _write_list(folder: Path, lines: Sequence[str]) -> None:
    write_text(folder / LIST, "".join(f"{line}\n" for line in lines))
