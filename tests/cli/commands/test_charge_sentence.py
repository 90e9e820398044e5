"""What `charge` answers first: a sentence to be printed, what more came back, and the runs that an end cuts."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from telling import told, unwrapped

from shuntbook.analysis.site.tables import Meter
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED, figures_of
from shuntbook.cli.main import run
from shuntbook.cli.render.page.method import _accuracy
from shuntbook.cli.render.terminal.answer import MOST_LINES
from shuntbook.cli.render.wording.numbers import with_ends

BEGIN = datetime(2026, 6, 13, 10, tzinfo=UTC)
SITE = """
name = "shed"
zone = "UTC"
[bank]
nominal_V = 24
capacity_Ah = 200
"""
METER = """
[[meters]]
name = "shunt"
side = "dc"
reading_pct = 0.5
range_pct = 0.1
range_A = 100
voltage_reading_pct = 0.5
"""
ARRAY = """
[array]
power_W = 800
"""
CHARGER = """
[[chargers]]
name = "set"
rated_A = 20.0
"""


def log_of(folder, *, base_A=1.0, run_A=31.0, step_s=1, begin=BEGIN, undated=False, name="a"):
    """A pump that runs for a minute and a half in every five, for an hour; `base_A` flows all the while."""
    rows = ["time,current [A],voltage [V]"]
    for k in range(0, 3600, step_s):
        amps = run_A if k % 300 >= 210 else base_A
        at = f"{k}" if undated else f"{begin + timedelta(seconds=k):%Y-%m-%dT%H:%M:%SZ}"
        rows.append(f"{at},{amps:.2f},{25.5 - 0.02 * amps:.3f}")
    export, log = folder / f"{name}.csv", folder / f"{name}.parquet"
    export.write_text("\n".join(rows) + "\n", encoding="utf-8")
    words = ["--times", "elapsed s"] if undated else []
    assert run(["convert", str(export), "--out", str(log), *words]) == 0
    return log


def charged(capsys, log, *words):
    """What is answered, in one line."""
    status, out, error = told(capsys, "charge", log, *words)
    assert status == 0, error
    assert len(out.splitlines()) <= MOST_LINES + 1  # and how to ask for more
    return unwrapped(out)


def test_the_first_sentence_says_what_was_asked(tmp_path, capsys):
    """From when to when, what all loads took out of the bank, how sure, and what came back."""
    said = charged(capsys, log_of(tmp_path), "--from", "10:10", "--to", "10:20")
    drawn_Ah = (2 * 90 * 31 + 2 * 210) / 3600
    first = re.match(
        r"From 13 Jun 2026 10:10:00 to 10:20:00 all loads took ([\d.]+) Ah ± ([\d.]+) \(\d+\.?\d* Wh", said
    )
    assert float(first[1]) == pytest.approx(drawn_Ah, abs=float(first[2]))
    assert " out of the bank, and nothing came back; the ± assumes a usual meter, since none is stated. " in said
    assert f"drawn out of the bank {first[1]} Ah ± {first[2]}" in said


@pytest.mark.parametrize(
    ("site", "back"),
    [(SITE, " came back; the ± "), (SITE + ARRAY, "the sun put 0.58"), (SITE + ARRAY + CHARGER, " came back; the ± ")],
)
def test_what_came_back_is_the_sun_s_where_nothing_else_charges(tmp_path, capsys, site, back):
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    log = log_of(tmp_path, base_A=-10.0)
    assert back in charged(capsys, log, "--site", tmp_path / "site.toml", "--from", "10:00", "--to", "10:05")


def test_a_stated_meter_is_no_assumption(tmp_path, capsys):
    (tmp_path / "site.toml").write_text(SITE + METER, encoding="utf-8")
    said = charged(capsys, log_of(tmp_path), "--site", tmp_path / "site.toml")
    assert "assumes" not in said and "Ah ± " in said


def test_more_that_came_back_is_said_as_the_page_says_it(tmp_path, capsys):
    """Never as a net below nought; less is told by the row alone, and what is within the interval has no way."""
    into = charged(capsys, log_of(tmp_path, base_A=-20.0))
    net_Ah = re.search(
        r" came back, net ([\d.]+) Ah ± [\d.]+ \([\d.]+ Wh ± [\d.]+\) into the bank; the ± assumes", into
    )
    assert f"net into the bank {net_Ah[1]} Ah" in into
    assert float(net_Ah[1]) == pytest.approx((12 * 210 * 20 - 12 * 90 * 31) / 3600, rel=0.01)
    assert "−" not in into
    out = charged(capsys, log_of(tmp_path, name="b"))
    assert "net out of the bank" in out and ", net" not in out
    even = charged(capsys, log_of(tmp_path, base_A=-31 * 90 / 210, name="c"))
    assert re.search(r" net −?0\.\d+ Ah", even) and ", net" not in even


def test_a_log_that_seems_turned_has_no_sentence(tmp_path, capsys):
    turned = tmp_path / "turned.parquet"
    assert run(["convert", str(log_of(tmp_path)), "--reverse-sign", "--out", str(turned)]) == 0
    said = charged(capsys, turned)
    assert said.startswith("WARNING: ") and "all loads took" not in said


@pytest.mark.parametrize(
    ("since", "until", "going", "wider"),
    [
        ("10:14", "10:21", "A run of 1 min 30 s was going at 10:14:00", ["--from 10:13:29"]),
        ("10:11", "10:19", "A run of 1 min 30 s was going at 10:19:00", ["--to 10:20:00"]),
        ("10:14", "10:19", "10:14:00 and one of 1 min 30 s at 10:19:00", ["--from 10:13:29", "--to 10:20:00"]),
    ],
)
def test_a_run_that_an_end_cuts_is_told_with_the_ends_that_hold_it(tmp_path, capsys, since, until, going, wider):
    """And those ends hold it: nothing is cut by them, and all of its amps are in the sum."""
    log = log_of(tmp_path)
    said = charged(capsys, log, "--from", since, "--to", until)
    assert going in said
    at_stake = re.search(rf"; with whole runs \({' '.join(wider)}\) it would be (.+) out of the bank\. The", said)[1]
    ends = dict(zip(("--from", "--to"), (since, until), strict=True)) | dict(each.split() for each in wider)
    whole = charged(capsys, log, *(word for pair in ends.items() for word in pair))
    assert "was going" not in whole and f"all loads took {at_stake} out of the bank" in whole
    taken = float(re.search(r"all loads took ([\d.]+) Ah", whole)[1])
    assert taken > float(re.search(r"all loads took ([\d.]+) Ah", said)[1])
    assert taken * 3600 == pytest.approx(2 * 90 * 31 if len(wider) == 2 else 180 * 31, rel=0.12)


@pytest.mark.parametrize(
    ("since", "until", "whole_s", "part_s", "runs"),
    [
        ("10:00", "10:20", 360, 0, "in 4 runs"),
        ("10:10:30", "10:14", 0, 30, "in part of a run"),
        ("10:05", "10:14", 90, 30, "in part of another"),
        ("10:05:30", "10:08", 0, 0, "no run"),
    ],
)
def test_a_stretch_says_what_its_load_took_by_itself(tmp_path, capsys, since, until, whole_s, part_s, runs):
    """Above what flowed all the while, 30 A for a minute and a half each: of whole runs, and about so of parts."""
    said = charged(capsys, log_of(tmp_path), "--from", since, "--to", until)
    by_itself = re.search(r"The largest load by itself: (.+?)\.(?: |$)", said)[1]
    assert by_itself.endswith(runs)
    whole, part = (
        re.search(r"(?<!about )\b([\d.]+) Ah ± ([\d.]+)", by_itself),
        re.search(r"about ([\d.]+) Ah", by_itself),
    )
    assert (whole is None, part is None) == (not whole_s, not part_s)
    if whole_s:
        assert float(whole[1]) == pytest.approx(whole_s * 30 / 3600, abs=float(whole[2]))
    if part_s:
        assert float(part[1]) == pytest.approx(part_s * 30 / 3600, rel=0.05)
    assert "by itself" not in charged(capsys, log_of(tmp_path, name="b"))


def test_ends_between_runs_cut_nothing(tmp_path, capsys):
    log = log_of(tmp_path)
    for words in ((), ("--from", "10:11", "--to", "10:13"), ("--from", "10:05"), ("--to", "10:10:01")):
        assert "was going" not in charged(capsys, log, *words)


@pytest.mark.parametrize(
    ("how", "ends", "wider"),
    [
        ({"undated": True}, ("14m", "14m30s"), ["--from 0:13:29", "--to 0:15:00"]),
        (
            {"begin": datetime(2026, 6, 13, 23, 50, tzinfo=UTC)},
            ("2026-06-14T00:04", "2026-06-14T00:04:30"),
            ["--from 2026-06-14T00:03:29+00:00", "--to 2026-06-14T00:05:00+00:00"],
        ),
    ],
)
def test_the_wider_ends_are_such_as_are_understood(tmp_path, capsys, how, ends, wider):
    """Without dates, and beyond the first day."""
    log = log_of(tmp_path, **how)
    said = charged(capsys, log, "--from", ends[0], "--to", ends[1])
    # One run that both ends cut is not told as two.
    assert f"A run of 1 min 30 s was going all through it; with whole runs ({' '.join(wider)})" in said
    assert "was going" not in charged(capsys, log, *" ".join(wider).split())


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (0.00000176, 0.0, 0.000807, "at most 0.0008 Ah"),
        (5.2345, 4.91, 6.08, "5.2 Ah, 4.9 to 6.1"),
        (0.00013, 0.00006, 0.00022, "0.00013 Ah, 0.00006 to 0.00022"),
        (-6.44, -9.2, -2.2, "−6.4 Ah, −9.2 to −2.2"),
        (0.0, -0.5, 0.9, "0.0 Ah, −0.5 to 0.9"),
    ],
)
def test_an_amount_has_no_more_digits_than_its_interval_warrants(value, low, high, said):
    """Nor is what may be nothing told by its first digits."""
    assert with_ends(value, low, high, "Ah") == said


def test_what_is_assumed_of_a_meter_is_called_the_same_everywhere():
    """By `--explain` and among the page's settings: of the range only where that is known."""
    for meter in (None, Meter(name="shunt", side="dc"), Meter(name="shunt", side="dc", range_A=100.0)):
        figures = figures_of(meter)
        assumed = " ".join(figures.assumed)
        reading, of_range = _accuracy(figures.current, "A").split(", ")
        known = meter is not None and meter.range_A is not None
        assert of_range == ("0.1 % of 100 A" if known else "0.1 % of the highest reading")
        assert f"± ({reading} + {'0.1 % of range' if known else of_range})" in assumed
        assert figures.is_assumed
    assert not figures_of(
        Meter(name="shunt", side="dc", reading_pct=1.0, range_pct=0.1, voltage_reading_pct=1.0)
    ).is_assumed
    assert NOTHING_STATED.is_assumed
