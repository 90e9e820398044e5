"""Files behind a URL, in any store that fsspec reaches: what there is, and a copy to work on.

fsspec is imported here alone, and only for a URL; it comes with the extra ``fleet``.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path, PurePosixPath
from typing import Any, Final

from ..errors import InputError
from ..safe_files.whole_file import passing_folder

_WITHOUT: Final = "reading from a URL needs the extra 'fleet': pip install 'shuntbook[fleet]'"


def is_url(place: str) -> bool:
    """Tell whether a place is a URL, such as ``s3://bucket/logs`` or ``file:///logs``."""
    return "://" in place


def listing(url: str) -> list[tuple[str, str, str]]:
    """Return all files below a URL, or the one at it: name from there, URL and stamp, in order of name.

    Raises
    ------
    InputError
        If the store is unknown or does not answer, or nothing is there.
    """
    with _in_words(url):
        store, root = _store(url)
        files = store.find(root)
        if not files:
            raise InputError(f"{url}: nothing is found there")
        base = PurePosixPath(root).parent if files == [root] else PurePosixPath(root)
        names = {PurePosixPath(file).relative_to(base).as_posix(): file for file in files}
        # Hidden folders hold what programs keep for themselves, as on a disk of one's own.
        shown = {name: file for name, file in names.items() if not any(p.startswith(".") for p in name.split("/"))}
        return [(name, store.unstrip_protocol(file), str(store.ukey(file))) for name, file in sorted(shown.items())]


@contextmanager
def as_files(*places: str | None) -> Iterator[list[Path | None]]:
    """Give each place as a path: itself where it is one, else a copy of what is behind the URL for the while.

    Raises
    ------
    InputError
        If something cannot be fetched.
    """
    with passing_folder() if any(map(_far, places)) else nullcontext(Path()) as folder:
        yield [None if place is None else _fetched(place, folder, k) for k, place in enumerate(places)]


def _far(place: str | None) -> bool:
    return place is not None and is_url(place)


def _fetched(place: str, folder: Path, k: int) -> Path:
    if not is_url(place):
        return Path(place)
    path = folder / f"{k}-{PurePosixPath(place).name}"
    with _in_words(place):
        store, source = _store(place)
        with store.open(source, "rb") as remote, path.open("wb") as here:
            shutil.copyfileobj(remote, here, 1 << 20)
    return path


def _store(url: str) -> tuple[Any, str]:
    try:
        from fsspec.core import url_to_fs
    except ModuleNotFoundError:
        raise InputError(f"{url}: {_WITHOUT}") from None
    store, path = url_to_fs(url)
    return store, str(path)


@contextmanager
def _in_words(url: str) -> Iterator[None]:
    """Tell what a store has to say in one sentence: its errors are its own."""
    try:
        yield
    except InputError:
        raise
    except FileNotFoundError:
        raise InputError(f"{url}: nothing is found there") from None
    except Exception as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise InputError(f"{url}: cannot be read ({reason})") from None
