"""The one table in a zip archive, read where it lies; and archives that are workbooks."""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...errors import InputError, quoted
from ..texts.decode import BLOCK_BYTES, Source
from .only_table import quoted_all, tables_among

if TYPE_CHECKING:
    from ..delimited.stated import Stated

#: A million rows at rest packed 12 to 1, sixty columns of zeros 97 to 1 (measured); deflate's limit is 1,032 (from
#: memory).
MOST_RATIO, SMALL_BYTES = 250, 1 << 26
#: An archive of more is no export of one meter (common practice, no source).
MOST_MEMBERS = 100
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def is_workbook(archive: zipfile.ZipFile) -> bool:
    """Tell whether an archive is a spreadsheet's file."""
    return any(name.startswith("xl/workbook.") or name == "content.xml" for name in archive.namelist())


def opened(source: Source) -> zipfile.ZipFile:
    """Return the archive that a source is."""
    try:
        return zipfile.ZipFile(source.path or source.raw())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputError(
            f"{source.name}: is a damaged or incomplete spreadsheet or zip archive ({error}); save it anew, or as CSV"
        ) from None


@dataclass
class MemberSource(Source):
    """A member of a zip archive as an export: unpacked a block at a time, never onto the disk."""

    member: str = ""

    def chunks(self) -> Iterator[bytes]:
        """Yield the unpacked bytes."""
        try:
            with opened(self) as archive, archive.open(self.member) as file:
                while chunk := file.read(BLOCK_BYTES):
                    yield chunk
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError) as error:
            raise InputError(f"{self.name}: {quoted(self.member)} in it is damaged or cut short ({error})") from None


def table_in(source: Source, archive: zipfile.ZipFile, stated: Stated) -> Source:
    """Return the one table in an archive.

    Raises
    ------
    InputError
        If there is none or there are several, it is locked, or unpacks to far more than readings do.
    """
    members = [part for part in archive.infolist() if not part.is_dir() and not _is_hidden(part.filename)]
    if not members:
        raise InputError(f"{source.name}: is a zip archive with no file in it")
    if len(members) > MOST_MEMBERS:
        raise InputError(f"{source.name}: is a zip archive of {len(members):,} files; unpack it and name the exports")
    for part in members:
        _check(part, source.name)
    sources = {
        part.filename: MemberSource(source.name, source.path, source.copy, whole=source, member=part.filename)
        for part in members
    }
    names = list(sources) if len(sources) == 1 else tables_among(sources, stated)
    if len(names) != 1:
        which = f"several tables ({quoted_all(names)})" if names else f"no table ({quoted_all(list(sources))})"
        raise InputError(f"{source.name}: is a zip archive with {which}; unpack it and name the export you mean")
    chosen = sources[names[0]]
    chosen.remarks = (f"read from {quoted(names[0])} in the zip archive",)
    return chosen


def _is_hidden(member: str) -> bool:
    return member.startswith("__MACOSX/") or member.rpartition("/")[2].startswith(".")


def _check(part: zipfile.ZipInfo, name: str) -> None:
    if part.flag_bits & 1:
        raise InputError(f"{name}: is locked with a password; unpack it yourself")
    if part.compress_type not in _METHODS:
        raise InputError(f"{name}: {quoted(part.filename)} in it is packed in a way that is not read; unpack it")
    if part.file_size > max(SMALL_BYTES, MOST_RATIO * part.compress_size):
        raise InputError(
            f"{name}: {quoted(part.filename)} in it would unpack to {part.file_size / 1e6:,.0f} MB, "
            f"more than {MOST_RATIO} times its size, as no table of readings does"
        )
