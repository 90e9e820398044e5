"""The one door to the terminal: whatever a command says goes through here, and a terminal obeys none of it.

Nothing else writes to standard output or standard error. A reader that goes, such as ``head`` or a window that is
closed, ends no command: the rest goes nowhere, and the command ends by its own status.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import sys
from collections.abc import Iterable
from contextlib import suppress
from glob import glob
from typing import TYPE_CHECKING, Any, Final, TextIO
from unicodedata import bidirectional, category

from ..ingest.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

#: Colours of a picture drawn with block characters, in the words of the library that moves what is shown.
DRAWN = "bright_white on black"
#: The isolates that are set here are taken away first: a user's own could otherwise be left open.
NO_ISOLATES = dict.fromkeys(map(ord, "\u2066\u2067\u2068\u2069"))
#: Bidirectional classes of letters (Unicode Standard Annex 9): from right to left, and what ends such a stretch.
_FROM_RIGHT, _FROM_LEFT = {"R", "AL", "AN"}, {"L"}
#: Categories of characters that are no text: controls, formats (bidirectional ones among them), halves of a pair, and
#: separators of lines and paragraphs.
_NO_TEXT = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def harmless(line: str) -> str:
    """Return a line of text that a terminal shows and obeys in nothing, nor reorders what is around it.

    What is no space and cannot be printed becomes a replacement character; each stretch of letters that run from right
    to left is set apart by isolates. A line that went through here before comes out as it went in.
    """
    if line.isascii() and line.isprintable():
        return line
    plain = line.translate(NO_ISOLATES)
    visible = "".join(c if c.isprintable() else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in plain)
    return _set_apart(visible) if any(bidirectional(c) in _FROM_RIGHT for c in visible) else visible


def _set_apart(text: str) -> str:
    """Put isolates around each stretch from the first to the last letter of a right-to-left script."""
    parts, start, stop = [], 0, 0
    for place, kind in enumerate(map(bidirectional, text)):
        if kind in _FROM_RIGHT:
            if start == stop:
                parts.append(text[stop:place])
                start = place
            stop = place + 1
        # Digits and marks belong to the stretch only where another of its letters follows: it ends at its last letter.
        elif kind in _FROM_LEFT and start < stop:
            parts.append(f"\N{FIRST STRONG ISOLATE}{text[start:stop]}\N{POP DIRECTIONAL ISOLATE}")
            start = stop
    if start < stop:
        parts.append(f"\N{FIRST STRONG ISOLATE}{text[start:stop]}\N{POP DIRECTIONAL ISOLATE}")
    return "".join(parts) + text[stop:]


def say(line: str, *, err: bool = False) -> None:
    """Print a line of a result; on standard error with `err`.

    Raises
    ------
    OSError
        If a disk that standard output goes to is full or has failed.
    """
    if err:
        tell(line)
    else:
        _write(sys.stdout, f"{harmless(line)}\n")


def tell(line: str) -> None:
    """Print a line on standard error; where nothing can be said there any more, the work goes on."""
    with suppress(OSError):
        _write(sys.stderr, f"{harmless(line)}\n")


def ask(prompt: str) -> str | None:
    """Show a prompt on standard error and return the line that is typed, or comes in a pipe; None at the end of both.

    Raises
    ------
    InputError
        If what comes is no text.
    """
    with suppress(OSError):
        _write(sys.stderr, harmless(prompt))
    try:
        line = sys.stdin.readline() if sys.stdin is not None else ""
    except (UnicodeDecodeError, ValueError):
        raise InputError("standard input is not text in UTF-8; type the answers, or save them as plain text") from None
    # Halves of characters, as a terminal of another encoding sends them, can stand in no file.
    text = line.encode("utf-8", "replace").decode("utf-8").rstrip("\r\n")
    if sys.stdin is None or not sys.stdin.isatty():
        tell(text)  # a terminal has shown it already
    return text if line else None


def say_json(pieces: Iterable[str]) -> None:
    """Print a JSON document in pieces, whose texts are escaped by JSON's own rules wherever a terminal might obey them.

    Raises
    ------
    OSError
        If a disk that standard output goes to is full or has failed.
    """
    for piece in pieces:
        _write(sys.stdout, re.sub(r"[^ -~\n]", lambda each: _escaped(each[0]), piece))
    _write(sys.stdout, "\n")


def _can_be_written(character: str) -> bool:
    try:
        character.encode(getattr(sys.stdout, "encoding", None) or "utf-8", "surrogatepass")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _escaped(character: str) -> str:
    # For what a stream lacks its escape stands: a question mark would be another text.
    if category(character) not in _NO_TEXT and _can_be_written(character):
        return character
    # JSON has sixteen bits to an escape: what lies beyond them is a pair of halves.
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[k : k + 2].hex()}" for k in range(0, len(units), 2))


def expanded(words: Iterable[str]) -> list[str]:
    """Return what was typed with the files that `*` and `?` stand for in names: Windows leaves that to programs."""
    # Brackets are ordinary there; what stands for no file stays as it was typed.
    names_of_each = (glob(word.replace("[", "[[]")) or [word] for word in words)  # noqa: PTH207 - a whole path
    return [name for names in names_of_each for name in sorted(names)]


#: The width of a terminal that does not tell its own, and of a pipe or a file. [letters]
USUAL_WIDTH: Final = 80


def terminal_width(*, err: bool = False) -> int:
    """Return how many letters a line may have on standard output; on standard error with `err`."""
    stream = sys.stderr if err else sys.stdout
    # A file is read on some other screen: it gets what a terminal of the usual width shows, unless whoever has it
    # written says how wide its lines may be, as for all programs.
    if stream is None or not stream.isatty():
        with suppress(KeyError, ValueError):
            return max(int(os.environ["COLUMNS"]), USUAL_WIDTH)
        return USUAL_WIDTH
    with suppress(OSError, ValueError):
        return os.get_terminal_size(stream.fileno()).columns or USUAL_WIDTH
    return USUAL_WIDTH


def has_terminal() -> bool:
    """Tell whether standard error is a terminal, where something may be shown that moves."""
    return sys.stderr is not None and sys.stderr.isatty()


def terminal_room() -> os.terminal_size | None:
    """Return how many columns and lines the terminal of standard error has; None where it is none."""
    # While a screen moves what stands for standard error may say that it is none, but knows the number of the stream.
    try:
        return os.get_terminal_size(sys.stderr.fileno())
    except (AttributeError, OSError, ValueError):
        return None


def tell_drawn(line: str) -> None:
    """Print a line of a picture on standard error: its blocks are light, and the ground dark, in any terminal."""
    with suppress(OSError):
        console().print(harmless(line), style=DRAWN, markup=False, highlight=False, soft_wrap=True)


def console() -> Console:
    """Return a console on standard error for what moves; texts must have gone through `harmless`."""
    from rich.console import Console

    return Console(file=lasting_stderr())


def lasting_stderr() -> Any:  # noqa: ANN401 - what libraries take for a text stream
    """Return standard error for libraries that write to it themselves: where its reader goes, they notice nothing."""
    return _Lasting(sys.stderr)


class _Lasting:
    """A text stream that never fails."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        with suppress(OSError):
            _write(self._stream, text)
        return len(text)

    def flush(self) -> None:
        """Do nothing: what was written is flushed already."""

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - any attribute of a stream
        return getattr(self._stream, name)


def _write(stream: TextIO | None, text: str) -> None:
    if stream is None:  # it was closed before this program began
        return
    try:
        stream.write(text)
        stream.flush()
    except OSError as error:
        if not _reader_is_gone(stream, error):
            raise
        _to_nowhere(stream)


def _reader_is_gone(stream: TextIO, error: OSError) -> bool:
    """Tell a pipe without a reader and a terminal that was closed from a disk that failed."""
    if isinstance(error, BrokenPipeError):
        return True
    return error.errno in (errno.EIO, errno.ENXIO) and stat.S_ISCHR(os.fstat(stream.fileno()).st_mode)


def _to_nowhere(stream: TextIO) -> None:
    """Let what a stream still holds back, and all that comes, go nowhere: it would complain once more at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
