"""Numbers, durations and the trade's terms as people write them; the same on the terminal and on the page."""

from __future__ import annotations

import re
from math import ceil, floor, isfinite, log10

from ...door import NO_ISOLATES, harmless

UNKNOWN = "unknown"

#: What ± means, wherever that is told.
PLUS_MINUS_MEANS = "±: in 95 of 100 such logs the truth lies within it."

#: The trade's terms beside our plain words, as analysis writes them in its sentences, each of which may stand alone.
_TERM = re.compile(r"\b(running|starting|without a break|before it turns) \((continuous|locked-rotor)\)")

#: What one reading stands for.
SAMPLING = {
    "instant": "each reading is the value at its instant",
    "mean": "each reading is the average since the one before it",
    "held": "each reading was read off and stands until the next",
}


def number(x: float | None) -> str:
    """Return a number with three significant digits, or whole from a thousand on; ``unknown`` for None or NaN."""
    if x is None or not isfinite(x):
        return UNKNOWN
    rounded = float(f"{x:.3g}")
    # By the rounded figure: 999.7 is already 1,000.
    if abs(rounded) >= 1000:
        return true_minus(f"{x:,.0f}")
    # Nobody acts on a millionth of a unit: what is smaller is the rounding of the sum itself.
    if abs(rounded) < 1e-6:
        return "0"
    return true_minus(f"{x:.{max(0, 2 - floor(log10(abs(rounded))))}f}")


def amount(x: float | None, unit: str) -> str:
    """Return a number with its unit, for instance ``12.3 Ah``; ``unknown`` for None or NaN."""
    text = number(x)
    return text if text == UNKNOWN else f"{text} {unit}"


def signed(x: float | None, unit: str) -> str:
    """Return a number with its sign and its unit, for instance ``−12.3 Wh``; nothing has no sign."""
    if x is None or not isfinite(x):
        return UNKNOWN
    return with_sign(x, amount(abs(x), unit))


def with_sign(x: float, size: str) -> str:
    """Return the size of a figure, as people write it, with the figure's sign; what is shown as nought has none."""
    return f"{'+' if x > 0 else '−'}{size}" if _shows_something(size) else size


def true_minus(text: str) -> str:
    """Return a figure with a minus as wide as its digits, and none before nought."""
    return text.replace("-", "−" if _shows_something(text) else "")


def _shows_something(text: str) -> bool:
    return any(digit in text for digit in "123456789")


def plus_minus(x: float | None, u95: float | None, unit: str) -> str:
    """Return a number with half its 95 % interval, for instance ``31.4 Ah ± 0.6``.

    The interval has at most two digits, one where the first of them says enough, and is rounded up where rounding down
    would take much from it (GUM 7.2.6, from memory); the value ends at the same digit, unless that would make it larger
    by a fifth: 7.1 ± 80, never 10 ± 80. Without an interval the value stands alone.
    """
    if x is None or not isfinite(x) or u95 is None or not isfinite(u95) or u95 <= 0:
        return amount(x, unit)
    digits, shown = rounded_u95(u95)
    return f"{_to(round(x, _last_place(x, digits)), _last_place(x, digits))} {unit} ± {_to(shown, digits)}"


def two_digits(x: float) -> str:
    """Return a positive figure with two digits."""
    place = 1 - floor(log10(x))
    return f"{round(x, place):,.{max(place, 0)}f}"


def at_least(x: float) -> str:
    """Return a lower bound with two digits, rounded down so that it stays one."""
    place = 1 - floor(log10(x))
    return f"{floor(x * 10.0**place + 1e-9) / 10.0**place:,.{max(place, 0)}f}"


def _last_place(x: float, digits: int) -> int:
    """Return at which place a value ends: a digit further where it would be rounded up to something else. [1]"""
    rounded_up = abs(round(x, digits)) > 1.2 * abs(x)
    return 1 - floor(log10(abs(x))) if rounded_up else digits


def value_and_ends(value: float, low: float, high: float) -> tuple[str, str, str]:
    """Return a value and the ends of its interval, which is not empty; all end where `plus_minus` ends half of it."""
    # Half the width stands for both sides, also where the interval is lopsided: three numbers of one length read well.
    digits, _ = rounded_u95((high - low) / 2)
    value, low, high = (round(x, digits) for x in (value, low, high))
    return _to(value, digits), _to(low, digits), _to(high, digits)


def with_ends(value: float, low: float, high: float, unit: str) -> str:
    """Return an amount with both ends of its interval: ``5.2 Ah, 4.9 to 6.1``; of one that may be none the upper."""
    of_value, of_low, of_high = value_and_ends(value, low, high)
    if not _shows_something(of_value + of_low):
        return f"at most {of_high} {unit}"
    return f"{of_value} {unit}, {of_low} to {of_high}"


def _to(x: float, digits: int) -> str:
    return true_minus(f"{x:,.{max(digits, 0)}f}")


def rounded_u95(u95: float) -> tuple[int, float]:
    """Return at which decimal place an uncertainty ends, and what it is rounded to."""
    place = floor(log10(u95))
    # First with one digit; with two where it begins with 1 or 2, which one digit would change by up to a third. Where
    # that enlarges the interval by more than a twentieth, two digits it is.
    for digits in ((1 if u95 / 10**place < 3 else 0) - place, 1 - place):
        shown = _u95_to(u95, digits)
        if shown <= 1.05 * u95:
            break
    return digits, shown


def _u95_to(u95: float, digits: int) -> float:
    """Return an uncertainty rounded to a decimal place."""
    # Down only where that takes less than a twentieth: an interval must not promise more than is known.
    scaled = u95 * 10.0**digits
    return (ceil(scaled) if round(scaled) < 0.95 * scaled else round(scaled)) / 10.0**digits


def steady(x: float, u95: float | None, decimals: int) -> tuple[str, str]:
    """Return a figure that grows while people look at it, and half its 95 % interval, empty where there is none.

    It has so many decimals below 10 and one less for each digit more, so that its width stays; but none beyond the
    second digit of its interval.
    """
    digits = decimals
    # By the rounded figure: 9.9996 is already 10.00.
    while digits > 0 and abs(round(x, digits)) >= 10 ** (decimals + 1 - digits):
        digits -= 1
    if u95 is None or not isfinite(u95) or u95 <= 0:
        return _to(x, digits), ""
    digits = max(min(digits, 1 - floor(log10(u95))), 0)
    return _to(x, digits), _to(_u95_to(u95, digits), digits)


def percent(ratio: float | None) -> str:
    """Return a ratio of one as per cent, for instance ``34 %``; ``unknown`` for None or NaN."""
    if ratio is None or not isfinite(ratio):
        return UNKNOWN
    # Whole per cents from ten on; below, a tenth still tells two shares apart. 9.95 % would be written 10.0.
    return true_minus(f"{100 * ratio:.{0 if abs(ratio) >= 0.0995 or ratio == 0 else 1}f} %")


def counted(n: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun, for instance ``1 start`` or ``12 starts``."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def duration(length_s: float | None) -> str:
    """Return a length of time by its two largest units: ``0.25 s``, ``13 s``, ``1 min 12 s``, ``2 h 05 min``."""
    if length_s is None or not isfinite(length_s):
        return UNKNOWN
    # From 9.95 s on a tenth would round to 10.0.
    if length_s < 9.95:
        return "0 s" if length_s < 0.005 else f"{length_s:.{2 if length_s < 0.995 else 1}f} s"
    seconds = round(length_s)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return _two(seconds // 60, "min", seconds % 60, "s")
    # Rounded before it is parted, so that 59 min 40 s is 1 h and never 60 min.
    minutes = round(length_s / 60)
    if minutes < 24 * 60:
        return _two(minutes // 60, "h", minutes % 60, "min")
    hours = round(length_s / 3600)
    return _two(hours // 24, "d", hours % 24, "h")


def _two(large: int, large_unit: str, small: int, small_unit: str) -> str:
    return f"{large} {large_unit} {small:02d} {small_unit}" if small else f"{large} {large_unit}"


def shortened(text: str, most: int = 60) -> str:
    """Return a user's text fit for a line of ours: harmless, and cut with an ellipsis after `most`.

    Text that went through here before comes out as it went in.
    """
    # Isolates are set again after the cut, which could take the end of one away, and do not count.
    plain = text.translate(NO_ISOLATES)
    return harmless(plain if len(plain) <= most else f"{harmless(plain[: most - 1]).rstrip()}…")


def capital(text: str) -> str:
    """Return text with its first letter as a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Return text as a sentence: with a capital at its beginning and a full stop at its end."""
    return capital(text) + ("" if text.endswith((".", "!", "?", "…")) else ".")


def uncapital(text: str) -> str:
    """Return text with its first letter small, to stand within a sentence."""
    return text[:1].lower() + text[1:]


class TradeTerms:
    """Which of the trade's terms a reader has met, in the order in which texts are shown: each is told once."""

    def __init__(self) -> None:
        self._met: set[str] = set()

    def once(self, text: str) -> str:
        """Return a text without the terms that stood beside their plain words before."""
        return _TERM.sub(self._first, text)

    def _first(self, match: re.Match[str]) -> str:
        plain, term = match.groups()
        is_new = term not in self._met
        self._met.add(term)
        return match[0] if is_new else plain
