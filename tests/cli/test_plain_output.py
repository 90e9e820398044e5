"""Output to files whose encoding lacks our characters, as Windows gives them to whoever redirects."""

import io
import os
import subprocess
import sys

import pytest

from shuntbook.cli.door import terminal_width
from shuntbook.cli.main import write_what_can_be


@pytest.mark.parametrize(
    ("encoding", "written"),
    [
        # Which characters an encoding has is in its table at unicode.org (CP1252.TXT, CP437.TXT).
        ("utf-8", "−1.5 Ah ± 0.2 “café”, 井戸"),
        ("cp1252", "-1.5 Ah ± 0.2 “café”, ??"),
        ("cp437", '-1.5 Ah ± 0.2 "café", ??'),
        ("ascii", '-1.5 Ah +- 0.2 "caf?", ??'),
    ],
)
def test_a_lacking_character_becomes_a_plain_one(tmp_path, encoding, written):
    """A minus stays a minus, quotation marks stay such, and what has nothing like it is a question mark."""
    place = tmp_path / "out.txt"
    with place.open("w", encoding=encoding) as stream:
        write_what_can_be(stream)
        stream.write("−1.5 Ah ± 0.2 “café”, 井戸")
    assert place.read_text(encoding) == written


def test_a_command_does_not_fail_for_want_of_a_character(tmp_path):
    """Results and refusals go through, whatever the streams' encoding is."""
    export = tmp_path / "井戸.csv"
    export.write_text("time,current [A]\n0,-2\n1,-2\n2,-2\n", encoding="utf-8")
    environment = os.environ | {"PYTHONIOENCODING": "cp1252"}

    def said(*arguments):
        command = [sys.executable, "-c", "from shuntbook.cli.main import main; main()", *map(str, arguments)]
        return subprocess.run(command, env=environment, capture_output=True, check=False)

    done = said("convert", export, "--out", tmp_path / "井戸.parquet")
    refused = said("convert", export, "--out", tmp_path / "井戸.parquet")
    assert (done.returncode, refused.returncode) == (0, 2)
    assert b"??.csv" in done.stdout
    assert b"??.parquet exists already" in refused.stderr


@pytest.mark.parametrize(("columns", "width"), [(None, 80), ("200", 200), ("20", 80), ("wide", 80)])
def test_what_is_no_terminal_has_the_usual_width_or_a_wider_one_that_is_asked_for(monkeypatch, columns, width):
    """As a page asks whose lines break by themselves; never less than what an answer is laid out for."""
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    if columns is not None:
        monkeypatch.setenv("COLUMNS", columns)
    assert terminal_width() == width
