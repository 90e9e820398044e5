"""What a source profile may say about a meter that sends lines of text over a serial port, checked strictly."""

from __future__ import annotations

import codecs
import re
from itertools import count
from typing import Literal

import pyarrow as pa
from pydantic import Field, field_validator, model_validator

from ..log.arrow import strings
from .columns import ProfilePart

#: What begins a group without a name; brackets that are escaped or stand in a class of characters are passed over.
_BRACKET = re.compile(r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|(?P<unnamed>\((?!\?))", re.DOTALL)
#: RE2 names all groups or none, as Arrow uses it.
_UNNAMED = "without_a_name_"


class LinePattern:
    """An expression that must fit a whole line; ``names`` are its groups', '' for one without.

    Arrow brings RE2, whose automata never go back: the time grows with the line's length and no faster, where those
    that go back, such as Python's own, may take longer than anybody waits. Looking ahead or back, and repeating what a
    group found, are therefore not known.

    Raises
    ------
    ValueError
        If it is no such expression; with the reason in words.
    """

    def __init__(self, pattern: str) -> None:
        numbers = count(1)
        named = _BRACKET.sub(
            lambda bracket: f"(?P<{_UNNAMED}{next(numbers)}>" if bracket["unnamed"] else bracket[0], pattern
        )
        _extract("", named)  # by itself, or what follows could be closed by its brackets
        self._whole = rf"\A(?:{named})\z"
        groups = [field.name for field in _extract("", self._whole).type]
        self.names = tuple("" if name.startswith(_UNNAMED) else name for name in groups)

    def values(self, line: str) -> list[str] | None:
        """Return what the groups found in a line, '' where one took no part; None if it does not fit."""
        groups = _extract(line, self._whole)[0].as_py()
        return None if groups is None else list(groups.values())


def _extract(line: str, pattern: str) -> pa.Array:
    import pyarrow.compute as pc  # sources that need no pattern start without it

    try:
        return pc.extract_regex(strings([line]), pattern)
    except (pa.ArrowInvalid, UnicodeEncodeError) as error:
        why = str(error).partition("\n")[0].removeprefix("Invalid regular expression: ")
        raise ValueError(
            "the pattern is no regular expression that can be used here "
            f"(RE2: nothing that looks ahead or back or repeats what a group found): {why}"
        ) from None


ChecksumKind = Literal["sum8", "xor8", "crc16_modbus", "crc16_ccitt"]
Delimiter = Literal["comma", "semicolon", "tab", "bar", "blank"]
LineLayout = Literal["fields", "pairs", "json", "pattern"]
#: A longer pattern is no line's description. [characters]
PATTERN_MOST = 500
_ESCAPE = re.compile(r"\\(?:x([0-9A-Fa-f]{2})|(.))", re.DOTALL)
_LETTERS = {"r": b"\r", "n": b"\n", "t": b"\t", "0": b"\x00", "\\": b"\\"}


class ChecksumPart(ProfilePart):
    r"""The checksum at the end of each line, in hexadecimal digits.

    It stands after the last ``mark``, and covers what is between ``start`` (not itself covered; without one, from the
    line's beginning) and the mark, which counts too if ``with_mark`` says so. The sum and the exclusive or are of
    eight bits, two digits; a CRC has four, the low byte first if ``low_byte_first`` says so. With
    ``kind = "xor8", start = "$", mark = "*"`` the line ``$11.92,74.5*1B`` covers ``11.92,74.5``.
    """

    kind: ChecksumKind
    mark: str = Field(default="*", min_length=1, max_length=10)
    start: str = Field(default="", max_length=10)
    with_mark: bool = False
    low_byte_first: bool = False


class SerialPart(ProfilePart):
    r"""How a line comes, and where its values stand.

    ``layout`` is one of

    - ``fields``: values between delimiters; ``fields`` names them in order, and then a line must have as many;
    - ``pairs``: ``V=11.92, A=74.5``, with ``equals`` between name and value;
    - ``json``: an object a line; an inner value is named with a point, ``bank.volts``;
    - ``pattern``: a regular expression (RE2) that must fit the whole line, with named groups.

    ``ask`` is what to send for a reading, with ``\r``, ``\n``, ``\t``, ``\\`` and ``\x1b`` for bytes that cannot be
    typed; without it the meter sends by itself. An answer is waited for ``timeout_s`` long. [s]
    """

    baud: int = Field(default=9600, ge=50, le=10_000_000)
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    data_bits: Literal[7, 8] = 8
    line_end: Literal["\n", "\r\n", "\r"] = "\n"
    encoding: str = "utf-8"
    ask: str | None = Field(default=None, min_length=1, max_length=200)
    timeout_s: float = Field(default=1.0, gt=0, le=60)
    layout: LineLayout
    delimiter: Delimiter | None = None
    equals: str = Field(default="=", min_length=1, max_length=5)
    fields: list[str] = Field(default_factory=list, max_length=100)
    pattern: str | None = None
    decimal: Literal["point", "comma"] = "point"
    checksum: ChecksumPart | None = None

    @field_validator("encoding")
    @classmethod
    def _is_encoding(cls, name: str) -> str:
        try:
            # Line ends and delimiters are looked for as bytes before a line is decoded, so they must be those of ASCII.
            plain = codecs.lookup(name).name and "\n0,".encode(name) == b"\n0,"
        except (LookupError, UnicodeError, TypeError, AttributeError):
            plain = False
        if not plain:
            raise ValueError("is no encoding that lines can be read in; utf-8, latin-1, cp1252 and ascii are")
        return name

    @field_validator("ask")
    @classmethod
    def _is_ask(cls, text: str | None) -> str | None:
        if text is not None:
            unescaped(text, "utf-8")
        return text

    @model_validator(mode="after")
    def _fits_together(self) -> SerialPart:
        if (self.pattern is None) == (self.layout == "pattern"):
            raise ValueError('layout = "pattern" and a pattern belong together: give both or neither')
        if self.pattern is not None:
            check_pattern(self.pattern)
        if self.fields and self.layout != "fields":
            raise ValueError('fields belongs to layout = "fields"')
        named = [name for name in self.fields if name]
        if len(set(named)) != len(named):
            raise ValueError("fields has the same name twice; leave what is not read empty")
        if self.decimal == "comma" and (self.layout == "json" or self.delimiter == "comma"):
            raise ValueError("decimal cannot be a comma here: JSON has points, and a delimiter would cut it in two")
        return self

    @property
    def question(self) -> bytes | None:
        """The bytes that ask for a reading; None where the meter sends by itself."""
        return None if self.ask is None else unescaped(self.ask, self.encoding)


def unescaped(text: str, encoding: str) -> bytes:
    r"""Return a text as bytes, with ``\r``, ``\n``, ``\t``, ``\0``, ``\\`` and ``\x1b`` put in.

    Raises
    ------
    ValueError
        If a backslash is followed by anything else, or a character is none of the encoding.
    """
    parts, at = [], 0
    for escape in _ESCAPE.finditer(text):
        parts.append(text[at : escape.start()].encode(encoding))
        if escape[1] is None and escape[2] not in _LETTERS:
            raise ValueError(rf"has {escape[0]}, which is none of \r, \n, \t, \0, \\ and \x with two digits")
        parts.append(bytes.fromhex(escape[1]) if escape[1] is not None else _LETTERS[escape[2]])
        at = escape.end()
    if "\\" in text[at:]:
        raise ValueError(r"ends with a single backslash; write \\ for one")
    return b"".join([*parts, text[at:].encode(encoding)])


def check_pattern(pattern: str) -> None:
    """Refuse, with the reason in words, a regular expression that is none, or names nothing."""
    if len(pattern) > PATTERN_MOST:
        raise ValueError(f"the pattern is longer than {PATTERN_MOST} characters; shorten it")
    if not any(LinePattern(pattern).names):
        raise ValueError(r"the pattern names no value; write it like V:(?P<volts>\d+\.\d+)")
