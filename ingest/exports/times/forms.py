"""Forms of time stamps that are rewritten before they are read: as a usual date, clock or count, form by form."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import pyarrow as pa
import pyarrow.compute as pc

#: Zone words and a place whose clocks say so, for the question; from memory of the IANA time zone database.
ZONE_WORDS = {
    "CET": "Europe/Berlin", "CEST": "Europe/Berlin", "MEZ": "Europe/Berlin", "MESZ": "Europe/Berlin",
    "WET": "Europe/Lisbon", "WEST": "Europe/Lisbon", "EET": "Europe/Athens", "EEST": "Europe/Athens",
    "BST": "Europe/London", "MSK": "Europe/Moscow", "IST": "Asia/Kolkata", "PKT": "Asia/Karachi",
    "SAST": "Africa/Johannesburg", "EAT": "Africa/Nairobi", "CAT": "Africa/Maputo", "WAT": "Africa/Lagos",
    "EST": "America/New_York", "EDT": "America/New_York", "CST": "America/Chicago", "CDT": "America/Chicago",
    "MST": "America/Denver", "MDT": "America/Denver", "PST": "America/Los_Angeles", "PDT": "America/Los_Angeles",
    "AKST": "America/Anchorage", "AKDT": "America/Anchorage", "HST": "Pacific/Honolulu",
    "AST": "America/Halifax", "ADT": "America/Halifax", "NST": "America/St_Johns", "NDT": "America/St_Johns",
    "AEST": "Australia/Sydney", "AEDT": "Australia/Sydney", "ACST": "Australia/Adelaide",
    "ACDT": "Australia/Adelaide", "AWST": "Australia/Perth", "NZST": "Pacific/Auckland", "NZDT": "Pacific/Auckland",
    "JST": "Asia/Tokyo", "KST": "Asia/Seoul", "HKT": "Asia/Hong_Kong", "SGT": "Asia/Singapore",
    "PHT": "Asia/Manila", "WIB": "Asia/Jakarta", "ICT": "Asia/Bangkok",
}  # fmt: skip
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?: [AaPp][Mm])?"
_ZONE = r"(?: ([A-Z]{1,5}|[+-]\d{2,4}))?"
_WORD = re.compile(rf"\s\(?({'|'.join(ZONE_WORDS)})\)?\s*$")
_DATE = r"^(\d{4}[-/.]\d{1,2}[-/. ]\d{1,2}|\d{1,2}[-/.](?:\d{1,2}|[A-Za-z]{3})[-/.](?:\d{4}|\d{2})|\d{8})"
_WORD_OF_DAY = r"^[A-Za-zÀ-ÖØ-öø-ÿ]{2,10}\.?,? +"
_HOUR_DOT_MINUTE = r"(\d{1,2})\.(\d{2})"


def _filled_up(before: str, mark: str, digits: int, behind: str = "") -> tuple[tuple[str, str], ...]:
    """Return rules that put a mark between two columns, and the zeros that a number of so many digits has lost."""
    return tuple(
        (rf"^({before}) (\d{{{n}}}{behind})$", rf"\1{mark}{'0' * (digits - n)}\2") for n in range(1, digits + 1)
    )


#: What each form looks like and how it is rewritten, in order. The expressions are such as both Python and RE2 know.
FORMS: dict[str, tuple[tuple[str, str], ...]] = {
    "Japanese": (
        (r"(\d{4})年(\d{1,2})月(\d{1,2})日", r"\1-\2-\3"),
        (r"[(（][日月火水木金土][)）]", ""),
        (r"(\d{1,2})[時时](\d{1,2})分(\d{1,2}(?:[.,]\d+)?)秒", r"\1:\2:\3"),
        (r"(\d{1,2})[時时](\d{1,2})分", r"\1:\2"),
        (r"午前\s*(\S+)\s*$", r"\1 AM"),
        (r"午後\s*(\S+)\s*$", r"\1 PM"),
    ),
    # As the C library's ctime and the command `date` write it (POSIX; the German form from memory).
    "year last": (
        (rf"^[A-Z][a-z]{{2}} +([A-Z][a-z]{{2}}) +(\d{{1,2}}) +({_CLOCK}){_ZONE} (\d{{4}})$", r"\1 \2 \5 \3 \4"),
        (rf"^[A-Z][a-z]\.? +(\d{{1,2}})\. +([A-Za-zä]+)\.? +({_CLOCK}){_ZONE} (\d{{4}})$", r"\1 \2 \5 \3 \4"),
    ),
    "parts": (
        (r"^(\d\d) (\d{1,2}) (\d{1,2}) (\d{1,2}) (\d{1,2}) (\d{1,2}(?:[.,]\d+)?)$", r"20\1-\2-\3 \4:\5:\6"),
        (r"^(\d{4}) (\d{1,2}) (\d{1,2}) (\d{1,2}) (\d{1,2}) (\d{1,2}(?:[.,]\d+)?)$", r"\1-\2-\3 \4:\5:\6"),
        (r"^(\d{4}) (\d{1,2}) (\d{1,2}) (\d{1,2}) (\d{1,2})$", r"\1-\2-\3 \4:\5"),
        (_DATE + r" (\d{1,2}) (\d{1,2}) (\d{1,2}(?:[.,]\d+)?)$", r"\1 \2:\3:\4"),
        (_DATE + r" (\d{1,2}) (\d{1,2})$", r"\1 \2:\3"),
    ),
    # What programs leave before text that is read from left to right.
    "direction marks": (("[\u200e\u200f\u202a\u202b\u202c\u202d\u202e\ufeff]", ""),),
    # English ones need no rewriting; what stands before a whole date can only be one.
    "weekday": (
        (_WORD_OF_DAY + r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})", r"\1"),
        (_WORD_OF_DAY + r"(\d{1,2}\.? (?:de )?[A-Za-zÀ-ÖØ-öø-ÿ]{3,10}\.? (?:de )?\d{4})", r"\1"),
    ),
    "day of month of year": ((r" del? ", " "),),
    "hour's word": (
        (r"(:\d{2})\s*(?:Uhr|hrs|hs|h)\.?\s*$", r"\1"),
        (r"(\d{1,2}) ?[hH] ?(\d{2}) ?(?:min|mn|m|:|') ?(\d{2}) ?(?:sec|s)?$", r"\1:\2:\3"),
        (r"(\d{1,2}) ?[hH] ?(\d{2}) ?(?:min|mn|m)?$", r"\1:\2"),
    ),
    "half of the day": (
        ("\\s*([AaPp])\\.?[\\s\u00a0\u202f]?[Mm]\\.?\\s*$", r" \1M"),
        (r"(\d) ?([AaPp])$", r"\1 \2M"),
        (rf" ([AaPp][Mm]) ({_CLOCK})$", r" \2 \1"),
        (r"(?:오전|上午) *(\S+)\s*$", r"\1 AM"),
        (r"(?:오후|下午) *(\S+)\s*$", r"\1 PM"),
    ),
    "clock of dots": (
        (rf"^(.*\d{{2}}[T ,]+){_HOUR_DOT_MINUTE}\.(\d{{2}})$", r"\1\2:\3:\4"),
        (rf"^(.*\d{{2}}[T ,]+){_HOUR_DOT_MINUTE}\.(\d{{2}})([.,]\d+)$", r"\1\2:\3:\4\5"),
        (rf"^(.*\d{{1,4}}[-/.]\d{{1,2}}[-/.]\d{{1,4}}[T ,]+){_HOUR_DOT_MINUTE}$", r"\1\2:\3"),
    ),
    # As in names of files, where neither blank nor colon may stand; and as web servers write their logs.
    "one mark throughout": (
        (r"^(\d{4}-\d{2}-\d{2})[-_](\d{2})[-._](\d{2})[-._](\d{2})", r"\1 \2:\3:\4"),
        (r"^(\d{4}-\d{2}-\d{2})[-_](\d{2}:\d{2})", r"\1 \2"),
        (r"^(\d{8})[-_](\d{6})", r"\1T\2"),
        (r"^(\d{1,2}/[A-Za-z]{3}/\d{4}):(\d{2}:\d{2}:\d{2})", r"\1 \2"),
    ),
    "year. month. day.": ((r"^(\d{4})\. ?(\d{1,2})\. ?(\d{1,2})\.?($| )", r"\1-\2-\3\4"),),
    "days. clock": ((r"^(\d+)\.(\d{1,2}:\d{2}:\d{2})", r"\1d \2"),),
    "milliseconds apart": (
        (r"(:\d{2}:\d{2})[: ](\d{3})$", r"\1.\2"),
        (r"(:\d{2}:\d{2}) (\d{2})$", r"\1.0\2"),
        (r"(:\d{2}:\d{2}) (\d)$", r"\1.00\2"),
    ),
    "day. month": ((r"^(\d{1,2})\. ([A-Za-zÀ-ÿ])", r"\1 \2"),),
    "hours from UTC": (
        (r"\s*(?:UTC|GMT)\s*([+-]\d{2}(?::?\d{2})?)$", r"\1"),
        (r"\s*(?:UTC|GMT)\s*\+(\d)$", r"+0\1"),
        (r"\s*(?:UTC|GMT)\s*-(\d)$", r"-0\1"),
    ),
    "zone word": ((_WORD.pattern, ""),),
    # A spreadsheet's day and the part of the day that has passed, in two columns.
    "day and fraction": (
        (r"^(\d{5})(?:[.,]0*)? 0?[.,](\d+)$", r"\1.\2"),
        (r"^(\d{5})(?:[.,]0*)? (\d)[.,]?(\d*)[Ee]-0?5$", r"\1.0000\2\3"),
        (r"^(\d{5})(?:[.,]0*)? 0$", r"\1"),
    ),
    "eight digits, day first": (
        (r"^([0-3]\d)(\d\d)((?:19|20)\d\d)( |$)", r"\1-\2-\3\4"),
        (r"^(\d)(\d\d)((?:19|20)\d\d)( |$)", r"0\1-\2-\3\4"),
    ),
    # The clock as a number has lost the zeros in front of it wherever a spreadsheet went over it.
    "clock of digits": _filled_up(r"(?:19|20)\d\d[01]\d{3}", "T", 6, r"(?:\.\d+)?"),
    "six digits": (
        (r"^(\d\d)(\d\d)(\d\d)( |$)", r"\1-\2-\3\4"),
        (r"^(\d)(\d\d)(\d\d)( |$)", r"0\1-\2-\3\4"),
        (r" (\d\d)(\d\d)(\d\d(?:\.\d+)?)$", r" \1:\2:\3"),
        (r" (\d)(\d\d)(\d\d(?:\.\d+)?)$", r" \1:\2:\3"),
        (r" (\d{1,2})(\d\d(?:\.\d+)?)$", r" 00:\1:\2"),
        (r" (\d{1,2}(?:\.\d+)?)$", r" 00:00:\1"),
    ),
    "seconds and microseconds": _filled_up(r"\d{9,10}", ".", 6),
    "seconds and milliseconds": _filled_up(r"\d{9,10}", ".", 3),
}
#: Those that only columns put together may have; the caller names them.
_OF_COLUMNS = {"parts", "eight digits, day first", "six digits", "clock of digits", "day and fraction"}
#: Those that the names of columns tell apart.
_BY_NAME = {"seconds and microseconds", "seconds and milliseconds"}
_COMPILED = {name: [(re.compile(rule), to) for rule, to in rules] for name, rules in FORMS.items()}


def find_forms(cells: Sequence[str], *, of_columns: bool = False) -> tuple[str, ...]:
    """Return the forms that most cells of a sample have; `of_columns` allows those of columns put together."""
    names = []
    for name in FORMS:
        if name in _BY_NAME or (name in _OF_COLUMNS and not of_columns):
            continue
        rewritten = [in_usual_form(cell, (name,)) for cell in cells]
        changed = sum(new != old for new, old in zip(rewritten, cells, strict=True))
        if changed and 2 * changed >= len(cells):
            names.append(name)
            cells = rewritten
    return tuple(names)


def in_usual_form(cell: str, forms: Iterable[str]) -> str:
    """Return a cell as it is read, its forms undone."""
    for name in forms:
        for rule, to in _COMPILED[name]:
            cell = rule.sub(to, cell)
    return cell


def tidy(cells: pa.Array, forms: Iterable[str], offsets: Iterable[tuple[str, str]] = ()) -> pa.Array:
    """Return a column as it is read, its forms undone; words for a zone become their `offsets`, where there are any."""
    for name in forms:
        if name == "zone word":
            for word, offset in offsets:
                cells = pc.replace_substring_regex(cells, rf"\s\(?{re.escape(word)}\)?\s*$", offset)
        for rule, to in FORMS[name]:
            cells = pc.replace_substring_regex(cells, rule, to)
    return cells


def zone_words(cells: Sequence[str], forms: Sequence[str]) -> list[str]:
    """Return the words for a zone that cells end with, the forms before it undone."""
    before = forms[: forms.index("zone word")] if "zone word" in forms else ()
    return [match[1] for cell in cells if (match := _WORD.search(in_usual_form(cell, before)))]


def zone_word(cells: Sequence[str], forms: Sequence[str]) -> str:
    """Return the word for a zone that most cells end with; empty where they do not."""
    words = zone_words(cells, forms) if "zone word" in forms else []
    return max(set(words), key=words.count) if 2 * len(words) > len(cells) else ""
