"""Report pages that the desk had made: which is of which log, and which nobody has changed since.

They stand in a list in the folder, as ``sha256sum -c`` reads it, each below the command that made it.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from ...ingest.safe_files.whole_file import write_text
from .chosen import as_argument
from .folder import Folder
from .jobs import typed

#: The list; its lines that begin with # are the commands.
PAGES_LIST: Final = "written-by-desk.txt"
_LISTED: Final = re.compile(r"# (?P<command>.+)\n(?P<digest>[0-9a-f]{64})  (?P<name>.+)\n")
_HEAD: Final = "# Pages that the desk had made. One that was changed since is left as it is.\n"


@dataclass(frozen=True)
class OwnPage:
    """A page: the command that made it, without its ``--force``, its name and its SHA-256."""

    command: str
    name: str
    digest: str


@dataclass(frozen=True)
class OwnPages:
    """The pages that the desk had made in a folder."""

    folder: Folder

    def up_to_date(self, log: str, site: str) -> str | None:
        """Return the page of a log and a site file ("" for none) that is newer than both; None where one must be made.

        What somebody changed in it stays as long as it is no older than what it shows.
        """
        page = self._of(log, site)
        if page is None or not (self.folder.path / page.name).is_file():
            return None
        made_ns = (self.folder.path / page.name).stat().st_mtime_ns
        sources = (self.folder.path / name for name in (log, site) if name)
        return page.name if all(source.stat().st_mtime_ns <= made_ns for source in sources) else None

    def to_make(self, log: str, site: str) -> list[str]:
        """Return the command that makes the page anew: in place of our own earlier one, else under a free name."""
        page = self._of(log, site)
        name = page.name if page is not None and self._is_as_made(page) else None
        place = name or self.folder.free_name(f"{log.removesuffix('.parquet')}.html")
        command = ["report", as_argument(log), *(["--site", as_argument(site)] if site else [])]
        return [*command, "--out", as_argument(place), *(["--force"] if name is not None else [])]

    def add(self, command: Sequence[str]) -> str:
        """Keep that a command made its page, and return the page's name."""
        words = [word for word in command if word != "--force"]
        name = words[-1].removeprefix("./")
        page = OwnPage(typed(words), name, sha256(self.folder.existing(name).read_bytes()).hexdigest())
        others = [each for each in self._all() if each.name != name]
        lines = (f"# {each.command}\n{each.digest}  {each.name}\n" for each in (*others, page))
        write_text(self.folder.path / PAGES_LIST, _HEAD + "".join(lines))
        return name

    def _of(self, log: str, site: str) -> OwnPage | None:
        """Return the newest page of a log and a site file."""
        begins = ["shuntbook", "report", as_argument(log), *(["--site", as_argument(site)] if site else []), "--out"]
        pages = [page for page in self._all() if shlex.split(page.command)[:-1] == begins]
        return pages[-1] if pages else None

    def _all(self) -> list[OwnPage]:
        place = self.folder.path / PAGES_LIST
        if place.is_symlink() or not place.is_file():
            return []
        text = place.read_text(encoding="utf-8", errors="replace")
        return [OwnPage(each["command"], each["name"], each["digest"]) for each in _LISTED.finditer(text)]

    def _is_as_made(self, page: OwnPage) -> bool:
        place = self.folder.path / page.name
        if place.is_symlink() or not place.is_file():
            return False
        return sha256(place.read_bytes()).hexdigest() == page.digest
