"""The folder that the desk stands over: what is in it, and where a new file may go.

They are ordinary files, the same that the commands read and write: nothing about them is kept anywhere else.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from ...ingest.errors import InputError
from ...ingest.film.pictures.stills import STILLS

FileKind = Literal["log", "export", "film", "site", "profile", "display", "page", "other"]

#: Endings of files that may be exports; others are shown as what they are, and can be dropped on the desk all the same.
_EXPORTS: Final = (".csv", ".tsv", ".txt", ".log", ".xlsx", ".xls", ".ods", ".gz", ".zst", ".zip")
#: Endings of films, as cameras and phones write them; a folder of stills is one, too.
FILMS: Final = (".mp4", ".m4v", ".mov", ".avi", ".mkv", ".webm", ".3gp", ".mts")
#: Rows that could not be read, and lists of what the desk or the demo wrote: to be looked at, not to be read again.
_NO_EXPORTS: Final = (".parquet.rejects.csv", "written-by-desk.txt", "written-by-demo.txt")
_LOG, _PAGE, _TOML = ".parquet", ".html", ".toml"
#: The shortest limit that usual file systems have for a name. [bytes]
_LONGEST_NAME = 255
#: More than a person looks through; the command line knows no such limit.
MOST_FILES: Final = 2000
#: Far more than any settings file. [bytes]
_MOST_TOML = 200_000
#: What begins a bank's table, in a text that is no TOML too.
_HAS_BANK: Final = re.compile(r"(?mi)^\s*\[+\s*(?:bank|battery|batteries)\b")
#: Names that Windows keeps for devices, whatever ending they have.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}
#: What no name may hold on one system or the other.
_FORBIDDEN = set('<>:"/\\|?*')


@dataclass(frozen=True)
class Entry:
    """A file of the folder: its name, what it is, its size [bytes] and when it was last changed [s since 1970]."""

    name: str
    kind: FileKind
    size: int
    changed_s: float


@dataclass(frozen=True)
class Folder:
    """A folder of a person's, by its absolute path."""

    path: Path

    def entries(self) -> list[Entry]:
        """Return its files, the newest first; hidden ones, folders and what is no ordinary file are left out."""
        return sorted(self._entries(), key=lambda entry: (-entry.changed_s, entry.name))[:MOST_FILES]

    def _entries(self) -> Iterator[Entry]:
        with os.scandir(self.path) as files:
            for file in files:
                # A name that a browser cannot send back leads nowhere; a file may go while the folder is read.
                with suppress(OSError, UnicodeEncodeError):
                    file.name.encode()
                    if file.name.startswith("."):
                        continue
                    facts = file.stat()
                    if file.is_file():
                        yield Entry(file.name, kind_of(Path(file.path)), facts.st_size, facts.st_mtime)
                    elif file.is_dir() and (sizes := _sizes_of_stills(file.path)):
                        yield Entry(file.name, "film", sum(sizes), facts.st_mtime)

    def without_path(self, sentence: str) -> str:
        """Return a sentence that names files as the folder does: a page need not say where it is each time."""
        return sentence.replace(f"{self.path}{os.sep}", "")

    def of_kind(self, kind: FileKind) -> list[Entry]:
        """Return its files of one kind, the newest first."""
        return [entry for entry in self.entries() if entry.kind == kind]

    def film(self, name: str) -> Path:
        """Return the path of a film of this folder, or of a folder of stills; `InputError` where there is none."""
        path = self.path / name
        return path if _stands_here(name) and path.is_dir() and _sizes_of_stills(path) else self.existing(name)

    def new_name(self, name: str, ending: str) -> str:
        """Return a name with its ending for a new file; `InputError` where it can be none, or something has it."""
        name = name if name.lower().endswith(ending) else f"{name}{ending}"
        if os.path.lexists(self.place(name)):
            raise InputError(f"there is already {name}, and it stays as it is; name another")
        return name

    def existing(self, name: str) -> Path:
        """Return the path of a file of this folder; `InputError` where there is no such file in it.

        It may have a name that not every system takes, such as ``10:30.csv``.
        """
        path = self.path / name if _stands_here(name) else self.place(name)
        if not path.is_file():
            raise InputError(f"{name}: is no longer in the folder; choose another file")
        return path

    def place(self, name: str) -> Path:
        """Return where a file of this name stands or would stand.

        Raises
        ------
        InputError
            If it is no name that every system can have, or would lead out of the folder or to a hidden file.
        """
        wrong = _wrong_with(name)
        if wrong:
            raise InputError(f"{name[:60]!r} cannot be a file's name here: {wrong}; choose another")
        return self.path / name

    def free_name(self, name: str) -> str:
        """Return this name, or one like it with a number where it is taken: ``export.csv`` to ``export-2.csv``.

        What not every system takes in a name is a dash in it.
        """
        stem, dot, ends = "".join("-" if c in _FORBIDDEN else c for c in name).partition(".")
        # before all its endings, or export.csv.gz would no longer be known for what it is
        number, free = 1, self.place(f"{stem}{dot}{ends}")
        while os.path.lexists(free):
            number += 1
            free = self.place(f"{stem}-{number}{dot}{ends}")
        return free.name


def _stands_here(name: str) -> bool:
    """Tell whether a name can be that of a file right in the folder, on this system."""
    leads_elsewhere = bool(set("/\\") & set(name)) or (os.name != "posix" and ":" in name)
    return bool(name) and not leads_elsewhere and not name.startswith(".") and name.isprintable()


def _wrong_with(name: str) -> str | None:
    """Return why this can be no file's name; None where it can."""
    if not name or name.startswith(".") or name.endswith((".", " ")) or name != name.strip():
        return "it is empty, hidden, or ends in a dot or a space"
    if any(c in _FORBIDDEN or not c.isprintable() for c in name):
        return 'it has a character that names may not have, such as / \\ : * ? " < > |'
    if name.split(".", maxsplit=1)[0].lower() in _DEVICES:
        return "some systems keep it for a device"
    if len(name.encode(errors="replace")) > _LONGEST_NAME:
        return "it is too long"
    return None


def _sizes_of_stills(folder: str | Path) -> list[int]:
    """Return how large the pictures in a folder are. [bytes]"""
    with suppress(OSError), os.scandir(folder) as files:
        return [file.stat().st_size for file in files if file.name.lower().endswith(STILLS) and file.is_file()]
    return []


def kind_of(path: Path) -> FileKind:
    """Tell what a file is: settings by what stands in them, all else by its ending."""
    name = path.name.lower()
    if name.endswith(_LOG):
        return "log"
    if name.endswith(_PAGE):
        return "page"
    if name.endswith(_TOML):
        return _kind_of_toml(path)
    if name.endswith(FILMS):
        return "film"
    return "export" if name.endswith(_EXPORTS) and not name.endswith(_NO_EXPORTS) else "other"


def _kind_of_toml(path: Path) -> FileKind:
    """Tell site files, which have a bank, also where they are no TOML; displays', which have boxes; and sources'."""
    try:
        with path.open("rb") as file:
            text = file.read(_MOST_TOML).decode("utf-8-sig", "replace")
        tables = tomllib.loads(text)
    except OSError:
        return "profile"
    except (ValueError, RecursionError):
        return "site" if "site" in path.stem.lower() or _HAS_BANK.search(text) else "profile"
    if {"bank", "battery"} & {key.lower() for key in tables}:
        return "site"
    return "display" if _has_boxes(tables.get("fields")) else "profile"


def _has_boxes(fields: object) -> bool:
    return isinstance(fields, list) and any(isinstance(each, dict) and "corners" in each for each in fields)
