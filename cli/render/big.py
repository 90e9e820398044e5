"""Large figures for a terminal: three rows of half blocks."""

from __future__ import annotations

_DIGITS = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": (" ▀█", "  █", "  ▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    "−": ("   ", "▀▀ ", "   "),
    ".": (" ", " ", "▀"),
    ",": (" ", " ", "▀"),
    " ": (" ", " ", " "),
}
_BLANK = ("   ", "   ", "   ")


def big(text: str) -> list[str]:
    """Return a number as three lines of text; a character without a picture is left blank."""
    pictures = [_DIGITS.get(mark, _BLANK) for mark in text]
    return [" ".join(picture[row] for picture in pictures) for row in range(3)]
