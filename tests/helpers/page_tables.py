"""The page's tables as text, and figures of the JSON document written by the page's rule, stated here once more.

The rule: three significant digits, whole numbers from a thousand on; a half goes to the even digit. With an interval,
that has one digit, two where the first is 1 or 2 or where one would change it by more than a twentieth, never rounded
down by more than that; the value ends where the interval does.
"""

import re
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from html.parser import HTMLParser

#: How the first section of a log is called; the number is its place in the report, whichever stands first on the page.
_FIRST_SECTION = re.compile(r"log-(\d+)-took")


@dataclass
class PageTable:
    """A table as it stands on the page: which log's it is (0 before the first), its caption and its rows of text."""

    log: int
    caption: str
    rows: list = field(default_factory=list)


class PageTables(HTMLParser):
    """Reads all tables of a page, and the texts of its findings."""

    def __init__(self, page):
        super().__init__()
        self.tables, self.evidence, self._log, self._into = [], [], 0, None
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        kind = dict(attrs).get("class") or ""
        if section := _FIRST_SECTION.fullmatch(dict(attrs).get("id") or ""):
            self._log = int(section[1])
        elif tag == "p" and kind == "caption":
            self.tables.append(PageTable(self._log, ""))
            self._into = "caption"
        elif tag == "tr" and self.tables:
            self.tables[-1].rows.append([])
        elif tag in {"td", "th"}:
            self.tables[-1].rows[-1].append("")
            self._into = "cell"

    def handle_endtag(self, tag):
        if tag in {"p", "td", "th"}:
            self._into = None

    def handle_data(self, data):
        text = data.replace("\N{NO-BREAK SPACE}", " ").replace("\N{ZERO WIDTH SPACE}", "")
        if self._into == "caption":
            self.tables[-1].caption += text
        elif self._into == "cell":
            self.tables[-1].rows[-1][-1] += text


def number(x):
    """A figure by the rule; ``—unknown`` is how the page shows null to eyes and ears."""
    if x is None:
        return "—unknown"
    exact = Decimal(x)
    if abs(exact) < Decimal("1e-6"):
        return "0"
    rounded = exact.quantize(_digit(exact, 3), ROUND_HALF_EVEN)
    place = Decimal(1) if abs(rounded) >= 1000 else _digit(rounded, 3)
    return _true_minus(exact.quantize(min(place, Decimal(1)), ROUND_HALF_EVEN))


def _true_minus(x):
    """A figure's minus is as wide as its digits, and nought has none."""
    return f"{x:,}".replace("-", "−") if x else f"{abs(x):,}"


def _digit(x, count):
    """The value of the last of so many significant digits."""
    return Decimal(1).scaleb(x.adjusted() - count + 1)


def amount(x, unit):
    """A figure with its unit."""
    return number(x) if x is None else f"{number(x)} {unit}"


def plus_minus(x, u95, unit):
    """A figure with half its interval."""
    if x is None or not u95:
        return amount(x, unit)
    exact, half = Decimal(x), Decimal(u95)
    place, shown = _rounded(half)
    place = min(place, Decimal(1)) if place < 1 else place
    value = exact.quantize(place, ROUND_HALF_EVEN)
    return f"{_plain(value)} {unit} ± {_plain(shown)}"


def _rounded(half):
    """The value of the last digit of half an interval, and what it is rounded to."""
    first = int(half.scaleb(-half.adjusted()))
    for count in (1 if first >= 3 else 2, 2):
        place = _digit(half, count)
        shown = half.quantize(place, ROUND_HALF_EVEN)
        if shown < half * Decimal("0.95"):
            shown = half.quantize(place, ROUND_CEILING)
        if shown <= half * Decimal("1.05"):
            break
    return place, shown


def _plain(x):
    return _true_minus(x.quantize(Decimal(1)) if x.as_tuple().exponent > 0 else x)


def within(figure, unit):
    """A figure and the ends of its interval, to the last digit of half of it."""
    half = Decimal(figure["high"] - figure["low"]) / 2
    if half <= 0:
        return amount(figure["value"], unit)
    place, _ = _rounded(half)
    value, low, high = (
        _plain(Decimal(figure[end]).quantize(place, ROUND_HALF_EVEN)) for end in ("value", "low", "high")
    )
    return f"{value} {unit} ({low} to {high})"


def percent(ratio):
    """A share of one in whole per cents, below ten with a tenth."""
    if ratio is None:
        return "—unknown"
    exact = Decimal(ratio) * 100
    place = Decimal(1) if abs(exact) >= Decimal("9.95") or not exact else Decimal("0.1")
    return f"{_true_minus(exact.quantize(place, ROUND_HALF_EVEN))} %"


def signed(x, unit):
    """A figure with its sign, which is a true minus; nothing has none."""
    if x is None:
        return "—unknown"
    text = amount(abs(x), unit)
    return text if text.startswith("0 ") else f"{'+' if x > 0 else '−'}{text}"


def duration(length_s):
    """A length of time by its two largest units."""
    if length_s is None:
        return "—unknown"
    exact = Decimal(length_s)
    if exact < Decimal("9.95"):
        return (
            "0 s"
            if exact < Decimal("0.005")
            else f"{exact.quantize(Decimal('0.01') if exact < Decimal('0.995') else Decimal('0.1'))} s"
        )
    for each, small, more, unit in ((1, "s", 60, "min"), (60, "min", 60, "h"), (3600, "h", 24, "d")):
        whole = int((exact / each).quantize(Decimal(1), ROUND_HALF_EVEN))
        if each == 1 and whole < 60:
            return f"{whole} s"
        if whole < more * (60 if unit == "min" else 24 if unit == "h" else 10**6):
            large, rest = divmod(whole, more)
            return f"{large} {unit} {rest:02d} {small}" if rest else f"{large} {unit}"
    raise AssertionError(length_s)
