"""What the commands tell of how long starts take, in one log and over many days of them."""

import csv
import json

import pytest
from start_scenes import write_day
from telling import told, unwrapped


def test_cycles_tells_how_long_a_start_takes_and_how_high_it_goes(tmp_path, capsys):
    """On request, and as figures with their interval for scripts."""
    log = write_day(tmp_path, 0, 1.0)
    said = unwrapped(told(capsys, "cycles", log, "--explain")[1])
    assert "A start takes 1.0" in said
    assert "until half of its surge is gone, and rises to 4.0" in said
    assert "seen of 4 starts" in said
    assert "A start takes" not in told(capsys, "cycles", log)[1]
    document = json.loads(told(capsys, "cycles", log, "--json")[1])
    assert document["starts"]["length_s"]["value"] == pytest.approx(1.0, abs=0.06)
    assert document["starts"]["length_s"]["low"] is None  # four starts have no interval
    assert document["starts"]["count"] == 4
    assert [cycle["start_s"] for cycle in document["cycles"]] == pytest.approx([1.0] * 4, abs=0.07)


def test_averages_do_not_tell_it_and_the_reason_is_said(tmp_path, capsys):
    """On the terminal and for scripts alike."""
    log = write_day(tmp_path, 0, 1.0, sampling="mean")
    said = unwrapped(told(capsys, "cycles", log, "--explain")[1])
    assert "not judged: the meter gives averages, in which a start goes under" in said
    document = json.loads(told(capsys, "cycles", log, "--json")[1])
    assert document["starts"]["length_s"]["value"] is None
    assert "averages" in document["starts"]["length_s"]["why_not"]


def test_many_days_tell_that_starts_grow_longer(tmp_path, capsys):
    """First of all, in the findings of scripts, and by the exit status; a table has each log's starts in a row."""
    logs = [write_day(tmp_path, day, 0.35 * 1.3**day) for day in range(9)]
    written = ("--out", tmp_path / "page.html", "--csv", tmp_path / "tables")
    status, out, _ = told(capsys, "report", *logs, *written, "--strict", "--explain")
    said = unwrapped(out)
    assert status == 4
    assert "3 of 9 logs want watching" in said
    assert "a start of the load took 0.4" in said
    assert "on the first days and takes 2.2 s now" in said
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "on the first days and takes" in page
    assert "Length of a start" in page
    assert "length of a start [s]" in page  # its panel among the charts of days
    assert "Half of its surge gone after" in page
    with (tmp_path / "tables" / "starts.csv").open(encoding="utf-8") as table:
        rows = list(csv.DictReader(table))
    assert [float(row["length_s"]) for row in rows] == pytest.approx([0.35 * 1.3**k for k in range(9)], rel=0.15)
    document = json.loads(told(capsys, "report", *logs, "--json")[1])
    assert [check["outcome"] for check in document["over_logs"]["checks"]] == ["found"]
    assert document["over_logs"]["findings"][0]["code"] == "start_lengthens"
    assert document["over_logs"]["days"][0]["start_s"] == pytest.approx(0.35, abs=0.05)


def test_days_alike_end_well(tmp_path, capsys):
    """The same pump nine days on: nothing of its starts is found."""
    logs = [write_day(tmp_path, day, 0.35) for day in range(9)]
    document = json.loads(told(capsys, "report", *logs, "--json")[1])
    assert [check["outcome"] for check in document["over_logs"]["checks"]] == ["passed"]
    assert "start_lengthens" not in {each["code"] for each in document["over_logs"]["findings"]}
