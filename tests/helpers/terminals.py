"""A terminal that keeps every byte it is sent, and texts that a terminal would obey."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import termios
import threading
from collections.abc import Sequence
from pathlib import Path
from unicodedata import category

from ready_python import ready_python

#: A window's title and the clipboard (OSC), an erased screen (CSI), the same in C1, letters turned round and left open,
#: a line written over, another character set, a line forged.
POISON = (
    "owned\x1b]0;title\x07\x1b]52;c;QUJD\x1b\\\x1b[2J\x1b[31m\x9d0;title\x9c\x9b2J\u202eabc\u2067\u200f\u061c\u2028\x7f"
    "\x08\r\x0e\x1b(0\x85\nshuntbook: forged"
)
#: The same as can stand in a line of text, in quotes.
POISON_OF_A_LINE = POISON.replace("\n", "").replace("\r", "").replace("\x85", "").replace("\u2028", "")
#: So little of it that an export that holds it in each row is still taken for text.
POISON_OF_A_CELL = "owned\x9b2J\u202e"
#: What is drawn by lines that move: colours, the cursor up, to a column, hidden and shown, the rest of a line erased.
_OWN = re.compile(r"\x1b\[(?:\?25[lh]|\d*[AGHK]|[\d;]*m)|\r")
_ISOLATED = re.compile("\u2068([^\u2066-\u2069\n]*)\u2069")
_COMMANDS = {"Cc", "Cf", "Cs", "Zl", "Zp"}
_RUN = """
import json, sys
from shuntbook.cli.main import main, run, write_what_can_be
write_what_can_be(sys.stdout, sys.stderr)
for words in json.loads(sys.argv[1]):
    print("=== " + ascii(words), flush=True)
    status = main(words) if len(sys.argv) > 2 else run(words)
    print("=== status", status, flush=True)
"""


def obeyed(sent: bytes, *, moving: bool = False) -> list[str]:
    """Return what a terminal would obey in what it was sent; `moving` lines of ours are left out."""
    text = sent.replace(b"\r\n", b"\n").decode("utf-8", "surrogateescape")
    text = _ISOLATED.sub(r"\1", text)
    text = re.sub(r"\x1b\[31m", "\x1b!", text)  # of the poison, though like one of ours
    text = _OWN.sub("", text) if moving else text
    return sorted({c for c in text if category(c) in _COMMANDS and c != "\n"})


def on_terminal(
    commands: Sequence[Sequence[str]], folder: Path, *, alone: bool = False, size: tuple[int, int] | None = None
) -> list[tuple[int | None, bytes]]:
    """Run commands one after the other with all streams on a terminal; return status and bytes sent, of each.

    One that runs `alone` has the process for itself, as from a shell. `size` is that of the terminal: lines, columns.
    """
    controller, terminal = os.openpty()
    if size is not None:
        termios.tcsetwinsize(terminal, size)
    python = sys.executable if alone else ready_python()
    words = [python, "-c", _RUN, json.dumps(list(map(list, commands))), *(["main"] if alone else [])]
    sent: list[bytes] = []
    child = subprocess.Popen(words, cwd=folder, stdin=terminal, stdout=terminal, stderr=terminal, close_fds=True)
    os.close(terminal)
    reader = threading.Thread(target=_keep, args=(controller, sent))
    reader.start()
    child.wait()
    reader.join()
    os.close(controller)
    whole = b"".join(sent)
    if alone:
        return [(child.returncode, whole)]
    parts = re.split(rb"=== \[[^\n]*\n", whole)[1:]
    assert len(parts) == len(commands), whole[-3000:]
    return [(int(part.rpartition(b"=== status ")[2]), part.rpartition(b"=== status ")[0]) for part in parts]


def _keep(controller: int, sent: list[bytes]) -> None:
    while True:
        try:
            data = os.read(controller, 65536)
        except OSError:  # on Linux the end of a terminal that nobody holds any more
            return
        if not data:
            return
        sent.append(data)
