"""A table with one row a log in Parquet: the same rows give the same bytes."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from ..errors import InputError
from ..log.arrow import new_file, stored_notes
from ..safe_files.whole_file import whole_file

#: Under this key the file's metadata says what its rows are.
KIND_KEY: Final = b"shuntbook_table"


def write_table(path: Path, rows: Sequence[Mapping[str, Any]], schema: pa.Schema, kind: str) -> None:
    """Write rows, a mapping from column to value each, whole or not at all.

    A later run knows its own file by its `kind`.
    """
    table = pa.Table.from_pylist(list(rows), schema=schema.with_metadata({KIND_KEY: kind.encode()}))
    with whole_file(path) as hidden, new_file(hidden) as file:
        pq.write_table(table, file, compression="zstd", write_page_checksum=True)


def refuse_another_table(path: Path, kind: str, *, force: bool) -> None:
    """Stop before a table would replace anything but an older one of its kind.

    Raises
    ------
    InputError
        If `path` is something else and `force` is false.
    """
    if os.path.lexists(path) and not force and (path.is_symlink() or not is_table(path, kind)):
        raise InputError(f"--out: {path} is no {kind} and is left as it is; choose another name or add --force")


def is_table(path: Path, kind: str) -> bool:
    """Tell whether a file is a table of this kind; one that is not there is none."""
    try:
        stored = stored_notes(path).get(KIND_KEY)
    except (InputError, pa.ArrowException, OSError):
        return False
    return bool(stored == kind.encode())
