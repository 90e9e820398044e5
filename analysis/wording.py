"""Numbers as sentences of the analysis give them."""

from __future__ import annotations

from math import floor, log10


def spell(length_s: float) -> str:
    """Return a length of time in the unit that suits it, for a sentence: ``9.5 s``, ``95 s``, ``12 min``, ``3.5 h``."""
    # Each unit goes on to where two digits of the next one say it as well: 95 s and 110 min rather than 1.6 min and 1.8
    # h.
    if length_s < 10:
        return f"{length_s:.2g} s"
    if length_s < 120:
        return f"{length_s:.0f} s"
    if length_s < 7200:
        return f"{length_s / 60:.3g} min"
    return f"{length_s / 3600:.3g} h" if length_s < 172800 else f"{length_s / 86400:.3g} d"


def figure(x: float, unit: str, *, digits: int = 3) -> str:
    """Return an amount with `digits` of them, or whole from a thousand on, for a sentence: ``31.6 A``, ``2,220 W``."""
    # From 999.5 on digits would round up to a thousand and be shown as 1e+03.
    text = f"{x:,.0f}" if abs(x) >= 999.5 else f"{x:.{digits}g}"
    return f"{text.replace('-', '−')} {unit}"


def with_ends(value: float, low: float, high: float, unit: str) -> str:
    """Return an amount with the ends of its interval, to two digits of half its width: ``9.4 s (7.1 to 10.0)``."""
    if high <= low:
        return figure(value, unit)
    digits = max(1 - floor(log10((high - low) / 2)), 0)
    return f"{value:,.{digits}f} {unit} ({low:,.{digits}f} to {high:,.{digits}f})"


def number(value: float | None) -> str:
    """Return a number as people write it: no needless digits, thousands marked; empty where there is none."""
    return "" if value is None else f"{value:,.6g}"
