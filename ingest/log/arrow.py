"""Between Arrow and NumPy by their buffers, and between Arrow and files by their bare names.

``pa.array``, ``pa.scalar`` and ``to_numpy`` import pandas where it is installed, half a second that convert, capture
and charge have no use for. These few functions do the same without.

Arrow takes a name with a colon for a URL, knows none that is not UTF-8, and waits for ever, deaf to signals, where a
pipe is opened that nobody writes to. Its files are therefore opened here.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from ..errors import InputError

#: For ``pc.fill_null``, which makes a scalar of Python's own False by ``pa.scalar``.
FALSE = pa.Array.from_buffers(pa.bool_(), 1, [None, pa.py_buffer(b"\0")])[0]


@contextmanager
def parquet_file(path: Path, *, checked: bool = False) -> Iterator[pq.ParquetFile]:
    """Open a Parquet file, whatever it is called; `checked` compares its pages with their checksums.

    Raises
    ------
    InputError
        If it is a pipe or a device.
    OSError, pyarrow.ArrowException
        If it cannot be opened, or is no Parquet file.
    """
    if path.exists() and not path.is_file():
        raise InputError(f"{path}: is neither a file nor a folder; name a log, which is a file")
    with (
        pa.OSFile(os.fsencode(path)) as source,
        pq.ParquetFile(source, page_checksum_verification=checked) as file,
    ):
        yield file


def stored_notes(path: Path) -> dict[bytes, bytes]:
    """Return the metadata under its keys that a Parquet file carries; raises as `parquet_file` does."""
    with parquet_file(path) as file:
        return dict(file.metadata.metadata or {})


def new_file(path: Path) -> pa.NativeFile:
    """Open a file for Arrow to write to, whatever it is called."""
    return pa.OSFile(os.fsencode(path), "wb")


def floats(array: pa.Array) -> NDArray[np.float64]:
    """Return an array of float64 as NumPy's; NaN where it is null."""
    values: NDArray[np.float64] = _values(array, np.dtype(np.float64))
    if not array.null_count:
        return values
    return np.where(valid(array), values, np.nan)


def integers(array: pa.Array, null: int) -> NDArray[np.int64]:
    """Return an array of int64, or of a type stored as one, as NumPy's; `null` where it is null."""
    values: NDArray[np.int64] = _values(array, np.dtype(np.int64))
    if not array.null_count:
        return values
    return np.where(valid(array), values, null)


def booleans(array: pa.Array) -> NDArray[np.bool_]:
    """Return an array of booleans as NumPy's; false where it is null."""
    bits = _bits(array.buffers()[1], array)
    return bits & valid(array) if array.null_count else bits


def valid(array: pa.Array) -> NDArray[np.bool_]:
    """Return where an array is not null."""
    bitmap = array.buffers()[0]
    if bitmap is None:
        return np.full(len(array), array.null_count == 0)
    return _bits(bitmap, array)


def column(
    x: NDArray[np.int64] | NDArray[np.float64], kind: pa.DataType, filled: NDArray[np.bool_] | None = None
) -> pa.Array:
    """Return NumPy's eight-byte values as an array of `kind`; null where `there` is false."""
    bitmap = None if filled is None or filled.all() else pa.py_buffer(np.packbits(filled, bitorder="little").tobytes())
    return pa.Array.from_buffers(kind, len(x), [bitmap, pa.py_buffer(np.ascontiguousarray(x))])


def strings(texts: Sequence[str | None]) -> pa.Array:
    """Return texts as an array; its items serve as scalars."""
    encoded = [(text or "").encode() for text in texts]
    ends = np.cumsum([0, *map(len, encoded)], dtype=np.int32)
    filled = np.array([text is not None for text in texts], dtype=bool)
    bitmap = None if filled.all() else pa.py_buffer(np.packbits(filled, bitorder="little").tobytes())
    return pa.Array.from_buffers(pa.string(), len(texts), [bitmap, pa.py_buffer(ends), pa.py_buffer(b"".join(encoded))])


def flat(array: pa.Array | pa.ChunkedArray) -> pa.Array:
    """Return a column as one array."""
    if isinstance(array, pa.ChunkedArray):
        return array.chunk(0) if array.num_chunks == 1 else array.combine_chunks()
    return array


def _values(array: pa.Array, kind: np.dtype[np.float64] | np.dtype[np.int64]) -> NDArray[Any]:
    if not len(array):
        return np.empty(0, dtype=kind)
    return np.frombuffer(array.buffers()[1], kind, len(array), array.offset * kind.itemsize)


def _bits(bitmap: pa.Buffer, array: pa.Array) -> NDArray[np.bool_]:
    first = array.offset
    raw = np.frombuffer(bitmap, np.uint8)
    return np.unpackbits(raw, count=first + len(array), bitorder="little")[first:].astype(bool)
