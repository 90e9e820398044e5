"""What time stamps look like, style by style."""

from __future__ import annotations

import re
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shuntbook.ingest.log.arrow import strings

StampKind = Literal["calendar", "epoch", "elapsed"]

DateOrder = Literal["y-m-d", "d/m/y", "m/d/y"]

IntArray = NDArray[np.int64]

MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]

SEP = r"[-/. ]"

NOTHING, EMPTY, HYPHEN, ZERO = strings([None, "", "-", "0"])

DATES = {
    "y-m-d": rf"(?P<y>\d{{4}}|\d{{2}}){SEP}(?P<m>\d{{1,2}}){SEP}(?P<d>\d{{1,2}})",
    "d/m/y": rf"(?P<d>\d{{1,2}}){SEP}(?P<m>\d{{1,2}}|[A-Za-z]{{3,9}}){SEP}(?P<y>\d{{4}}|\d{{2}})",
    "m/d/y": rf"(?P<m>\d{{1,2}}|[A-Za-z]{{3,9}}){SEP}(?P<d>\d{{1,2}}),?{SEP}(?P<y>\d{{4}}|\d{{2}})",
}

CLOCK = r"(?P<h>\d{1,2}):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?\s*(?P<p>[AaPp]\.?[Mm]\.?)?"

OFFSET = r"\s*(?P<z>Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"

HMS = (
    r"^\s*'?(?:(?P<D>\d+)\s*d(?:ays?)?[ ,]*)?(?P<h>\d+):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?"
    r"\s*(?P<p>[AaPp]\.?[Mm]\.?)?\s*$"
)

MS = r"^\s*'?(?P<n>\d+):(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?\s*$"

DAY = r"(?:(?i:mon|tue|wed|thu|fri|sat|sun)[a-z]*,?\s+)?"

CALENDAR = {order: rf"^\s*'?{DAY}{date}(?:[T ,]+{CLOCK})?{OFFSET}\s*$" for order, date in DATES.items()}

#: ISO 8601 without separators; kept under its own name, since its parts have fixed widths.
BASIC = (
    r"^\s*'?(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
    r"(?:[T ]*(?P<h>\d{2}):?(?P<n>\d{2})(?::?(?P<s>\d{2})(?:[.,](?P<f>\d+))?)?"
    rf"(?P<p>))?{OFFSET}\s*$"
)

#: Three numbers that could be a date in another order than they seem; the last one only if it has two digits.
THREE = r"^\s*'?(?P<a>\d{1,2})(?P<sep>[-/. ])(?P<b>\d{1,2})[-/. ](?P<c>\d{4}|\d{2})"

HIGHEST = {"d/m/y": (31, 12, 9999), "m/d/y": (12, 31, 9999), "y-m-d": (99, 12, 31)}

DATE_ONLY = re.compile(
    rf"'?{DAY}(?:"
    + "|".join(re.sub(r"\?P<\w+>", "?:", date) for date in DATES.values())
    + r")|(?:19|20)\d\d[01]\d[0-3]\d"
)

CLOCK_ONLY = re.compile(re.sub(r"\?P<\w+>", "?:", CLOCK))

UNITS_US = {"s": 1_000_000, "ms": 1_000, "us": 1, "min": 60_000_000, "h": 3_600_000_000, "days": 86_400_000_000}

#: Epoch numbers between 1990 and 2100 by unit; the four ranges do not touch.
EPOCH_S = (6.3e8, 4.2e9)

EPOCH_UNITS = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}

#: A spreadsheet's day numbers count from 1899-12-30; these are 1990 and 2100.
SHEET_DAYS, SHEET_ZERO = (32_874.0, 73_051.0), 25_569.0
