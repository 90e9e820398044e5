"""Site files read for a form, and written from one: over a file only while it is still as it was when it was opened."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from threading import Lock
from typing import Final

from ...ingest.safe_files.whole_file import named_in_errors, write_bytes
from ...ingest.toml.toml_file import settings_text

#: One form at a time looks whether a file is as it was, and writes it.
_WRITING: Final = Lock()
#: A name longer than this is cut for the file's. [characters]
_LONGEST_STEM: Final = 60


def read_site_text(path: Path) -> tuple[str, str]:
    """Return a site file's text letter by letter, and the digest of its bytes.

    Raises
    ------
    InputError
        If it cannot be read, or is no text that could be a settings file.
    """
    settings_text(path)
    with named_in_errors(path, what=None):
        content = path.read_bytes()
    return content.decode(), digest_of(content)


def digest_of(content: bytes) -> str:
    """Return what tells whether a file is still as it was."""
    return hashlib.sha256(content).hexdigest()


def wrote_over(path: Path, text: str, digest: str) -> bool:
    """Write a site file over one that has this digest, whole or not at all; tell whether it still had it.

    Raises
    ------
    InputError
        If nothing can be written there.
    OSError
        If the disk fails.
    """
    with _WRITING:
        try:
            content = path.read_bytes()
        except FileNotFoundError:
            return False
        if digest_of(content) != digest:
            return False
        # A file that says all this already keeps its date: pages that rest on it are still up to date.
        if content != text.encode():
            write_bytes(path, text.encode())
        return True


def file_name_of(site_name: str) -> str:
    """Return a file's name for a system: its letters and digits, so that it leads nowhere else."""
    stem = "-".join(re.findall(r"\w+", site_name.lower()))[:_LONGEST_STEM].strip("-_")
    return f"{stem or 'site'}.toml"
