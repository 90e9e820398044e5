"""What a source profile may say, checked strictly."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import Literal

from pydantic import Field, PrivateAttr, field_validator, model_validator

from ..errors import InputError
from ..exports.times.stamps import TimeStyle
from ..quantities import QUANTITIES
from ..toml.places import key_lines
from ..toml.toml_file import read_toml
from .columns import ColumnEntry, Place, ProfilePart
from .modbus_part import ModbusPart, SunSpecPart
from .serial_part import SerialPart

#: Keys by which a site file shows that it was given in a profile's place.
SITE_KEYS = ("bank", "inverters", "loads")
#: Encodings of Python's that are for names and programs, not for texts.
_OF_NAMES = {"idna", "punycode", "undefined", "unicode_escape", "unicode-escape", "raw_unicode_escape"}


class FileEntry(ProfilePart):
    """How the text is laid out, where it cannot be recognised."""

    delimiter: Literal["comma", "semicolon", "tab", "bar", "caret", "tilde", "blank"] | None = None
    decimal: Literal["point", "comma"] | None = None
    encoding: str | None = None
    header_line: int | None = Field(default=None, ge=0)
    sheet: str | None = None

    @field_validator("encoding")
    @classmethod
    def _is_encoding(cls, name: str | None) -> str | None:
        if name is not None and not _is_of_texts(name):
            raise ValueError("is no encoding that exports are written in; utf-8, utf-16, latin-1 and cp1252 are")
        return name


def _is_of_texts(name: str) -> bool:
    """Tell whether an encoding turns any bytes into text, a part of them at a time."""
    try:
        decoder = codecs.getincrementaldecoder(name)(errors="replace")
        return name.lower() not in _OF_NAMES and decoder.decode("0,\n".encode(name), final=True) == "0,\n"
    except (LookupError, ValueError, TypeError, AttributeError, AssertionError):
        return False


class TimeEntry(ProfilePart):
    """Which column, or which two, hold the time."""

    column: Place | None = None
    date: Place | None = None
    clock: Place | None = None
    style: TimeStyle | None = None

    @model_validator(mode="after")
    def _one_way(self) -> TimeEntry:
        if (self.column is None) == (self.date is None) or (self.date is None) != (self.clock is None):
            raise ValueError("name either column, or both date and clock")
        return self


class Profile(ProfilePart):
    """How a source's fields become quantities."""

    name: str | None = None
    side: Literal["dc", "ac"] | None = None
    sampling: Literal["instant", "mean", "held"] | None = None
    counter: Literal["net", "moved"] | None = None
    zone: str | None = None
    gap: str | None = None
    notes: bool = False
    serial: SerialPart | None = None
    modbus: ModbusPart | None = None
    sunspec: SunSpecPart | None = None
    file: FileEntry = Field(default_factory=FileEntry)
    time: TimeEntry | None = None
    quantities: dict[str, ColumnEntry] = Field(default_factory=dict)
    _path: Path | None = PrivateAttr(default=None)

    def line_of(self, *where: str) -> str:
        """Return where a key stands, as ``meter.toml:12``, or the table that it is missing from."""
        if self._path is None:
            return "the profile"
        lines = key_lines(self._path.read_text(encoding="utf-8-sig"))
        line = next((lines[where[:n]] for n in range(len(where), 0, -1) if where[:n] in lines), 0)
        return f"{self._path}:{line}" if line else str(self._path)

    @model_validator(mode="before")
    @classmethod
    def _no_site_file(cls, data: object) -> object:
        # Before the keys are checked: otherwise each key of a site file would be a mistake by itself.
        theirs = [key for key in SITE_KEYS if isinstance(data, dict) and key in data]
        if theirs:
            raise ValueError(
                f"this looks like a site file (it has {', '.join(theirs)}), not a source profile; "
                "a profile says what an export's columns or a meter's fields are"
            )
        return data

    @model_validator(mode="after")
    def _known_quantities(self) -> Profile:
        unknown = [name for name in self.quantities if name not in QUANTITIES]
        if unknown:
            raise ValueError(f"{unknown[0]!r} is no quantity; the quantities are {', '.join(QUANTITIES)}")
        return self


def load_profile(name: str) -> Profile:
    """Return a profile by its path, or by its name if it comes with shuntbook.

    Raises
    ------
    InputError
        If there is none, or it holds mistakes: all of them, each with its line and key.
    """
    path = Path(name)
    # A file of that name goes first: nobody's own profile is overruled by one of ours.
    if not path.exists():
        own = sorted(Path(__file__).parent.glob("*.toml"))
        known = {file.stem: file for file in own}
        if name not in known:
            choices = f"; those that come with shuntbook are {', '.join(known)}" if known else ""
            raise InputError(f"--profile: there is no file {name}{choices}")
        path = known[name]
    profile = read_toml(path, Profile)
    profile._path = path
    return profile
