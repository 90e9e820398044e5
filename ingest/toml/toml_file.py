"""Read a TOML file, a site file or a profile.

The model says what may be in the file; it is expected to be strict (``strict=True, extra="forbid",
allow_inf_nan=False``). What tells mistakes is loaded only where there are some.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from ..errors import InputError
from .bounds import beyond_bounds, refuse_unbounded

M = TypeVar("M", bound=BaseModel)
LARGEST_BYTES = 200_000  # far more than any settings file; guards against being handed a log


def read_toml(path: Path, model: type[M]) -> M:
    """Read a TOML file in UTF-8, with or without a byte order mark, and check it against what it may say.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, or breaks a rule of the model. The text has the mistakes, one a
        line, up to 20: ``site.toml:5: bank.capacity_Ah: must be greater than 0 (got -200)``. Items of a list
        count from 1.
    """
    text = settings_text(path)
    try:
        data = tomllib.loads(text)
        if not beyond_bounds(data):
            return model.model_validate(data)
        raise ValueError
    except (ValueError, RecursionError):  # a validation error is a ValueError
        from .mistakes import sentences_of

        raise InputError(*sentences_of(path, text, model)) from None


def settings_text(path: Path) -> str:
    """Return the text of a settings file, without a byte order mark, its lines ended as on any system.

    Raises
    ------
    InputError
        If it cannot be read, or is no text that could be one.
    """
    if path.is_dir():
        raise InputError(f"{path}: is a folder; name the TOML file inside it")
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check its name and folder") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(raw) > LARGEST_BYTES:
        raise InputError(f"{path}: is too large for a settings file; is it a log?")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not text in UTF-8; save it again in an editor as plain text, UTF-8") from None
    if "\0" in text:
        raise InputError(f"{path}: is not a text file; name a TOML file")
    text = text.replace("\r\n", "\n")
    refuse_unbounded(path, text)
    return text
