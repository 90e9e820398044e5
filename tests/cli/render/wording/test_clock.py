"""Wherever a time of day is shown, its zone is named; the hour that comes twice says which of the two it is."""

import json
import re

import pytest
from page_reading import OF_WORDS_ALONE, undrawn  # noqa: F401  (a fixture)
from telling import told, unwrapped

CLOCK = re.compile(r"\b\d\d:\d\d:\d\d\b")
# Directive 2000/84/EC (from memory), which London's clocks follow: on the last Sunday of October, 25 October 2026, they
# go from 02:00 back to 01:00 at 01:00 UTC.
# A start at 01:30 lies between two readings five seconds apart.
ZONE, TWICE = "Europe/London", (r"01:29:5\d UTC\+01:00", r"01:29:5\d UTC\+00:00")


def convert(folder, capsys, name, rows, *more):
    """A log made from rows of an export."""
    export, log = folder / f"{name}.csv", folder / f"{name}.parquet"
    export.write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert told(capsys, "convert", export, "--out", log, *more)[0] == 0
    return log


def draw_A(second):
    """A pump that runs three minutes of every ten; nothing but the meter's zero from 01:10 to 01:25 UTC."""
    return 0.03 if 4200 <= second < 5100 else 25.0 if second % 600 < 180 else 2.0 + 0.01 * (second % 7)


@pytest.fixture
def night(tmp_path, capsys):
    """Two and a half hours over the change of the clocks, from 00:00 UTC."""
    rows = [
        f"2026-10-25T{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}Z,{draw_A(s)},{25 - 0.01 * draw_A(s)}"
        for s in range(0, 9000, 5)
    ]
    return convert(tmp_path, capsys, "night", ["time,current [A],voltage [V]", *rows], "--zone", ZONE)


@pytest.fixture
def undated(tmp_path, capsys):
    """The same without dates."""
    rows = [f"{s},{draw_A(s)},{25 - 0.01 * draw_A(s)}" for s in range(0, 9000, 5)]
    return convert(tmp_path, capsys, "undated", ["elapsed [s],current [A],voltage [V]", *rows])


def commands(log, tmp_path):
    """Every command that prints times of a log."""
    return (
        ("look", log),
        ("charge", log),
        ("cycles", log),
        ("compare", log, log),
        ("report", log, "--out", tmp_path / "page.html", "--force"),
    )


def test_the_zone_is_named_with_every_time(night, tmp_path, capsys):
    """look, charge, cycles, compare and the page: no time without its zone, and each 01:30 is told apart."""
    for words in commands(night, tmp_path):
        status, out, _ = told(capsys, *words)
        assert status == 0
        assert not CLOCK.search(out) or ZONE in out
    cycles = told(capsys, "cycles", night, "--explain")[1]
    assert all(re.search(text, cycles) for text in TWICE)
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert f"time in {ZONE} (UTC+01:00, then UTC+00:00)" in page
    assert all(re.search(text, page) for text in TWICE)


def test_a_log_without_dates_says_so(undated, tmp_path, capsys):
    """Times count from the log's start, that is said, and no zone is named."""
    for words in commands(undated, tmp_path)[:4]:
        out = unwrapped(told(capsys, *words, "--explain")[1])
        assert "+0:00:00" in out and "(after the log's start)" in out
        assert "UTC" not in out and "Europe" not in out
    told(capsys, *commands(undated, tmp_path)[4])
    assert "after the log&#39;s start" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_what_look_proposes_is_that_hour_and_not_the_other(night, capsys):
    """A rest in the second 01:00 to 02:00 is proposed with its offset, and charge takes it for the same instants."""
    found = re.search(r"--zero-at (\S+)", told(capsys, "look", night)[1])
    document = json.loads(told(capsys, "charge", night, "--zero-at", found[1], "--json")[1])
    assert document["zero_check"]["from"].startswith("2026-10-25T01:1")
    assert document["zero_check"]["to"].startswith("2026-10-25T01:2")
    assert document["zero_check"]["offset_A"] == pytest.approx(0.03)


@OF_WORDS_ALONE
def test_a_payback_names_the_zone(demo, capsys):
    """The report's lines on the terminal stand alone: each clock time has its zone beside it."""
    log, page = demo / "open_day.parquet", demo / "again.html"
    out = told(capsys, "report", log, "--site", demo / "site.toml", "--out", page, "--force")[1]
    page.unlink()
    lines = [line for line in out.replace("\n  ", " ").splitlines() if CLOCK.search(line)]
    assert lines and all(re.search(rf"\d\d:\d\d:\d\d \({ZONE}\)", line) for line in lines)
