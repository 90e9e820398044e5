"""What a line that somebody types from a display may mean, for whoever asks before it is left for a capture."""

from __future__ import annotations

from ...ingest.exports.display_line import DoubtfulLine, Word, amounts_among_words, holds_a_draw, parse_line
from .screen import LARGE


def doubtful_amounts(text: str) -> str:
    """Return the reading that could be meant by a line that is a note, as it would be typed; "" where there is none."""
    try:
        if parse_line(text) is not Word.REMARK or not holds_a_draw(text):
            return ""
        values = amounts_among_words(text)
    except DoubtfulLine:
        return ""
    return " ".join(f"{value:g} {unit}" for name, _, unit in LARGE if (value := values.get(name)) is not None)


def wrong_with_typed(text: str) -> str:
    """Return why a line from a display can be taken for several things; "" where it is clear."""
    try:
        parse_line(text)
    except DoubtfulLine as why:
        return str(why)
    amounts = doubtful_amounts(text)
    return f"Is this a reading of {amounts}, or a note?" if amounts else ""
