"""Lines typed while a screen is being drawn: read key by key, shown by the screen itself."""

from __future__ import annotations

import codecs
import os
import queue
import select
import sys
import threading
from contextlib import suppress
from types import TracebackType
from typing import Any, TextIO

_ENTER, _BACKSPACE = "\r\n", "\x7f\x08"
_MOST = 500


class Keyboard:
    """Collects typed lines from standard input, in a thread of its own.

    On a terminal (POSIX) keys are taken one by one and not echoed, so that what is typed does not break the screen;
    elsewhere whole lines are read. Nothing is read where standard input is closed or a file that has ended.
    """

    def __init__(self, stdin: TextIO | None = None) -> None:
        self._stdin = sys.stdin if stdin is None else stdin
        self.typed = ""
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._settings: Any = None
        self._listener: threading.Thread | None = None
        self._ended = threading.Event()

    def __enter__(self) -> Keyboard:
        """Begin to listen."""
        if self._stdin is None or self._stdin.closed:
            return self
        by_key = self._stdin.isatty() and os.name == "posix"
        if by_key and not self._took_terminal():
            return self
        listen = self._by_key if by_key else self._by_line
        self._listener = threading.Thread(target=listen, name="keyboard", daemon=True)
        self._listener.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Give the terminal back as it was."""
        self._ended.set()
        if self._listener is not None and self._settings is not None:
            self._listener.join(timeout=2.0)  # it looks up every fifth of a second
        if self._settings is not None:
            import termios

            with suppress(termios.error, OSError):  # it was closed meanwhile
                termios.tcsetattr(self._stdin.fileno(), termios.TCSADRAIN, self._settings)

    @property
    def is_a_person(self) -> bool:
        """Whether somebody sits at it who can be asked."""
        return self._listener is not None and self._stdin.isatty()

    def lines(self) -> list[str]:
        """Return the lines that were finished since the last call."""
        finished = []
        while not self._lines.empty():
            finished.append(self._lines.get())
        return finished

    def _took_terminal(self) -> bool:
        """Have keys come one by one; False where the terminal was closed meanwhile, and no key will come."""
        import termios
        import tty

        handle = self._stdin.fileno()
        try:
            self._settings = termios.tcgetattr(handle)
            tty.setcbreak(handle)  # not raw: Ctrl-C must still end the capture
        except (termios.error, OSError):
            return False
        return True

    def _by_key(self) -> None:
        handle, decoder = self._stdin.fileno(), codecs.getincrementaldecoder("utf-8")("replace")
        while not self._ended.is_set():
            # A read that waits could not be ended from elsewhere, and would take the first key meant for the shell.
            if not select.select([handle], [], [], 0.2)[0]:
                continue
            try:
                data = os.read(handle, 1024)
            except OSError:
                return
            if not data:
                return
            # A key may be several bytes, and a read may end in the midst of them.
            for key in decoder.decode(data):
                self._press(key)

    def _press(self, key: str) -> None:
        if key in _ENTER:
            if self.typed.strip():
                self._lines.put(self.typed.strip())
            self.typed = ""
        elif key in _BACKSPACE:
            self.typed = self.typed[:-1]
        elif key.isprintable() and len(self.typed) < _MOST:
            self.typed += key

    def _by_line(self) -> None:
        try:
            for line in self._stdin:
                if line.strip():
                    self._lines.put(line.strip()[:_MOST])
                if self._ended.is_set():
                    return
        except (OSError, ValueError):  # standard input was closed, or cannot be read
            return
