"""The link as a code for a phone's camera: on a terminal with room for it, and never one that leads nowhere."""

from __future__ import annotations

import os
import re
import sys

import pytest
import segno
from places import SAMPLES
from terminals import obeyed, on_terminal

from shuntbook.cli.live_page import link_code
from shuntbook.cli.live_page.link_code import code_lines, is_drawn

LINK = "http://192.168.1.23:8080/AbCdEfGhIjKlMnOp"
WEEK = f"replay:{SAMPLES / 'week_later.csv.gz'}?speed=max&zone=Europe/London&sign=return_positive"
#: The upper and the lower half of a block character: whether each is light.
LIGHT = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1), " ": (0, 0)}

pytestmark = [
    pytest.mark.skipif(os.name != "posix", reason="terminals as POSIX knows them"),
    pytest.mark.xdist_group("captures"),
]


def squares(lines):
    """The squares that lines of block characters draw, row by row; True where dark."""
    return [[not LIGHT[c][half] for c in line] for line in lines for half in (0, 1)]


def test_the_code_is_that_of_the_link(monkeypatch):
    """Square by square, with its clear margin: light ground, dark squares."""
    monkeypatch.setattr(link_code, "terminal_room", lambda: os.terminal_size((120, 60)))
    lines = code_lines(LINK)
    assert all(map(is_drawn, lines))
    drawn = squares(lines)
    wanted = [[bool(x) for x in row] for row in segno.make_qr(LINK, error="l", boost_error=False).matrix_iter(border=4)]
    assert drawn[: len(wanted)] == wanted
    assert len(drawn) <= len(wanted) + 1  # the lower half of the last line


@pytest.mark.parametrize("room", [(36, 60), (80, 24)])
def test_without_room_it_says_how_much_it_wants(monkeypatch, room):
    """Half a code is none."""
    monkeypatch.setattr(link_code, "terminal_room", lambda: os.terminal_size(room))
    (line,) = code_lines(LINK)
    assert not is_drawn(line)
    assert "37 columns and 33 lines" in line


def test_nobody_is_shown_a_code_where_there_is_no_terminal(monkeypatch):
    """A file of what was said has no use for one, and the library is not loaded."""
    monkeypatch.setattr(link_code, "terminal_room", lambda: None)
    monkeypatch.setitem(sys.modules, "segno", None)
    assert code_lines(LINK) == []


def drawn_by(where, folder, size=(50, 100)):
    """How many lines of a code a capture draws on a terminal, and all that it sent."""
    words = ["capture", WEEK, "--out", f"{where.partition(':')[0]}.parquet", "--page", where, "--page-stays", "0"]
    ((status, sent),) = on_terminal([words], folder, size=size)
    assert status == 0
    assert obeyed(sent, moving=True) == []
    text = re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", sent.decode())
    return sum(is_drawn(line) and line.startswith("████") for line in text.replace("\r", "\n").split("\n")), text


def test_a_capture_shows_it_beside_the_link(tmp_path):
    """Where others reach the page; a link to this computer alone would lead a phone to itself."""
    lines, text = drawn_by("0.0.0.0:0", tmp_path)
    assert lines >= 17
    assert "live page, for one viewer: http://" in text
    assert drawn_by("127.0.0.1:0", tmp_path)[0] == 0
