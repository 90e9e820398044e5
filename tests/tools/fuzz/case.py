"""A case: what is handed to the program, as it can be kept in a file and run again."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass
class Case:
    """One case.

    Attributes
    ----------
    kind : str
        Which part of the program it is for; a key of `kinds.KINDS`.
    name : str
        Seed and number, by which it can be made again.
    files : dict of str to bytes
        What lies in the folder, by relative path.
    calls : list of list of str
        Command lines, run one after the other in the folder.
    chunks : list of bytes
        What a device or browser sends, for kinds that run no command.
    known : dict
        What must come out as far as the mutation tells, in JSON.
    """

    kind: str
    name: str = ""
    files: dict[str, bytes] = field(default_factory=dict)
    calls: list[list[str]] = field(default_factory=list)
    chunks: list[bytes] = field(default_factory=list)
    known: dict[str, Any] = field(default_factory=dict)

    def write_files(self, folder: Path) -> None:
        """Put the files into a folder."""
        for name, content in self.files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)

    def save(self, folder: Path) -> Path:
        """Keep it as a file; return its path."""
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{self.kind}-{self.name.replace(' ', '-')}.json"
        stored = {
            **self.__dict__,
            "files": {name: base64.b64encode(content).decode() for name, content in self.files.items()},
            "chunks": [base64.b64encode(chunk).decode() for chunk in self.chunks],
        }
        path.write_text(json.dumps(stored, indent=1), encoding="utf-8")
        return path


def load(path: Path) -> Case:
    """Return a case that was kept."""
    stored = json.loads(path.read_text(encoding="utf-8"))
    stored["files"] = {name: base64.b64decode(text) for name, text in stored["files"].items()}
    stored["chunks"] = [base64.b64decode(text) for text in stored["chunks"]]
    return Case(**stored)
