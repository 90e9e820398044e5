"""A folder of results: replaced as long as it is as it was written, and never where somebody's own would be lost."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Final

from .errors import InputError
from .hidden_place import hidden_beside
from .whole_file import sync_path, told_by_name, whole_file, write_text

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
    with told_by_name(folder, what=what):
        if os.path.lexists(folder) and not folder.is_dir():
            raise InputError(f"{what}: {folder} is a file; name a folder")
        if not folder.parent.is_dir():
            raise InputError(f"{what}: there is no folder {folder.parent}; make it first or choose another place")
        listed = _listed(folder)
        for path in (folder / name for name in (*names, LIST)):
            if path.is_dir():
                raise InputError(f"{what}: {path} is a folder where a file is to be; choose another folder")
            if not force and os.path.lexists(path) and not _is_own(path, listed):
                raise InputError(
                    f"{what}: {path} was not written here, or was changed since, and is left as it is; "
                    "choose another folder or add --force"
                )


def _listed(folder: Path) -> dict[str, str]:
    """Return the files that were written here, with their sums; none where the list is not one of ours."""
    path = folder / LIST
    if path.is_symlink() or not path.is_file():
        return {}
    found = [_LISTED.fullmatch(line) for line in path.read_text(encoding="utf-8", errors="replace").splitlines()]
    return {match[2]: match[1] for match in found if match} if all(found) else {}


def _is_own(path: Path, listed: Mapping[str, str]) -> bool:
    if path.name == LIST:
        return bool(listed)
    return not path.is_symlink() and path.is_file() and listed.get(path.name) == _sum(path.read_bytes())


def _sum(content: bytes) -> str:
    return sha256(content).hexdigest()


def write_together(folder: Path, texts: Mapping[str, str], *, what: str) -> None:
    """Write text files in UTF-8 and their list: a new folder is whole or absent, in an old one each file is.

    Raises
    ------
    InputError
        If nothing can be written in that place.
    OSError
        If it is the disk that failed.
    """
    with told_by_name(folder, what=what):
        if folder.is_dir():
            _write(folder, texts)
            return
        with hidden_beside(folder, folder=True) as hidden:
            _write(hidden, texts)
            hidden.rename(folder)
            sync_path(folder.parent)


def _write(folder: Path, texts: Mapping[str, str]) -> None:
    contents = {name: text.encode() for name, text in texts.items()}
    for name, content in contents.items():
        with whole_file(folder / name) as hidden:
            hidden.write_bytes(content)
    write_text(folder / LIST, "".join(f"{_sum(content)}  {name}\n" for name, content in contents.items()))
