"""The link as a code that a phone's camera reads, drawn with block characters."""

from __future__ import annotations

from io import StringIO

from ..door import terminal_room

#: What a code wants clear around it, in its own squares (ISO/IEC 18004).
_QUIET = 4
#: Lines that the screen of a capture takes below it: that of one meter, with a note and a finding. [1]
_SCREEN = 14


def code_lines(link: str) -> list[str]:
    """Return the lines of a link's code, or one that says how much room it wants; none where nobody sees them."""
    room = terminal_room()
    if room is None:
        return []
    import segno  # where a page is asked for and there is a terminal to show it on

    drawn = StringIO()
    segno.make_qr(link, error="l", boost_error=False).terminal(drawn, border=_QUIET, compact=True)
    lines = drawn.getvalue().splitlines()
    columns, rows = len(lines[0]), len(lines) + _SCREEN
    if room.columns < columns or room.lines < rows:
        return [f"  (a code for a phone's camera is shown in a terminal of {columns} columns and {rows} lines)"]
    return lines


def is_drawn(line: str) -> bool:
    """Tell whether a line is one of a code's: it wants its own colours, light squares on dark ground."""
    return bool(line) and set(line) <= set(" █▀▄")
