"""Which signs can be set in a picture: by the drawing library's own font, by one installed beside it, or not at all."""

from __future__ import annotations

from functools import cache
from typing import Final

#: The library's own font, which is there wherever it is.
OWN: Final = "DejaVu Sans"
#: Fonts that come with the library and set no text: boxes in place of signs, and parts of formulas.
_NO_LETTERS: Final = ("Last Resort", "STIXNonUnicode", "STIXSize", "cm")
_ELLIPSIS: Final = "…"


def families(text: str) -> tuple[str, ...]:
    """Return the fonts that set a text, in the order in which they are asked: the library's own comes first."""
    others = {name: None for sign in text if (name := _family(sign)) not in (OWN, None)}
    return (OWN, *(name for name in others if name is not None))


def readable(text: str) -> str:
    """Return a text with an ellipsis for each stretch of signs that no installed font has."""
    parts: list[str] = []
    for sign in text:
        if _family(sign) is not None:
            parts.append(sign)
        elif parts[-1:] != [_ELLIPSIS]:
            parts.append(_ELLIPSIS)
    return "".join(parts)


@cache
def _family(sign: str) -> str | None:
    """Return the first font that has a sign; None where none has."""
    if ord(sign) in _signs_of(OWN) or sign.isspace():
        return OWN
    return next((name for name in _installed() if ord(sign) in _signs_of(name)), None)


@cache
def _installed() -> tuple[str, ...]:
    """Return the other fonts of this machine that have an upright face, by name: the same choice each time."""
    from matplotlib.font_manager import fontManager

    names = {font.name for font in fontManager.ttflist if font.style == "normal"}
    return tuple(sorted(name for name in names if name != OWN and not name.startswith(_NO_LETTERS)))


@cache
def _signs_of(name: str) -> frozenset[int]:
    """Return the signs that a font has, as the library finds it by its name."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties(family=name))).get_charmap())
