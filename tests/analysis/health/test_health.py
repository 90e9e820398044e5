"""What is asked of which load, when nothing can be said, and what a script and a person get to see of it."""

import json
from dataclasses import replace

import numpy as np
import pytest
from health_cycles import US, attempt, cycles, found, healthy, judged, site
from hypothesis import given
from hypothesis import strategies as st
from page_reading import OF_WORDS_ALONE, undrawn  # noqa: F401  (a fixture)

from shuntbook.analysis.health.finding import OF_RUNS, withheld
from shuntbook.analysis.health.health import health_of, sign_check
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.quality.sign_check import SignCheck
from shuntbook.cli.exit import Exit, strictly

CODES = {
    *("short_cycling", "air_charge_lost", "leak_down", "prime_lost", "stalled_start", "start_trip", "never_cuts_out"),
    *("draw_drift", "low_voltage", "overload", "standing_draw", "surge_over_rating", "sampling_too_slow"),
}


@pytest.mark.parametrize("place", [None, site(), site(water=False)])
@pytest.mark.parametrize("seed", range(20))
def test_a_healthy_household_has_no_finding(seed, place):
    """Runs as long as the tank makes them, rests as people use water: nothing is said, with or without a site file."""
    assert found(healthy(seed=seed), place) == {}


def test_every_limit_is_checked_and_has_a_source():
    """Of a pump everything is asked; what was held against a limit says where that is from."""
    checks = judged(healthy(), site(limits={"standing_draw_W": 25}, inverter={"surge_VA": 6000, "cut_off_V": 21.5}))
    assert set(checks) == CODES
    for code, check in checks.items():
        assert check.remark, code
        if check.outcome == "passed":
            assert check.limit, code
            assert check.source, code


@pytest.mark.parametrize(
    ("kind", "asked"),
    [
        ("pump", CODES),
        ("compressor", CODES - {"air_charge_lost", "leak_down", "prime_lost", "never_cuts_out"}),
        ("heater", {"draw_drift", "low_voltage", "overload", "standing_draw", "surge_over_rating"}),
    ],
)
def test_a_load_is_asked_what_fits_its_kind(kind, asked):
    """A heater has no starts to count, a compressor no tank."""
    assert set(judged(healthy(), site(kind=kind, water=False))) == asked


def test_no_cycle_no_finding():
    """A pump that never starts has nothing to be judged by."""
    assert found(cycles([], [])) == {}


def test_a_handful_of_short_runs_is_not_judged():
    """Seven runs of 10 s may be chance."""
    check = judged(cycles(10.0, np.full(7, 20.0)), site())["short_cycling"]
    assert check.outcome == "not judged"
    assert "7 whole runs are too few" in check.remark


@given(shift_s=st.integers(-(10**8), 10**8), seed=st.integers(0, 30), short=st.booleans())
def test_when_it_was_does_not_matter(shift_s, seed, short):
    """The same cycles at another time give the same findings."""
    made = healthy(seed=seed) if not short else cycles(9.0, np.full(40, 21.0))
    moved = tuple(replace(c, start_us=c.start_us + shift_s * US, stop_us=c.stop_us + shift_s * US) for c in made.cycles)
    later = replace(made, cycles=moved, first_us=made.first_us + shift_s * US, last_us=made.last_us + shift_s * US)
    assert found(later, site()) == found(made, site())


@given(factor=st.floats(0.05, 20.0), seed=st.integers(0, 30))
def test_the_size_of_the_draw_does_not_matter(factor, seed):
    """A pump of another size, without a plate, gives the same findings from the same runs."""
    made = healthy(seed=seed)
    scaled = tuple(replace(c, run_W=c.run_W * factor, run_A=c.run_A * factor) for c in made.cycles)
    assert found(replace(made, cycles=scaled)) == found(made)


def test_too_short_for_the_readings_is_said_and_not_judged():
    """Runs of 12 s with a reading every 10 s: no finding but a note with the shortest run that can be told."""
    made = cycles(12.0, np.full(40, 400.0))
    checks = judged(made, site(), every_s=10.0)
    assert found(made, site(), every_s=10.0) == {"sampling_too_slow": "note"}
    assert "what lasts less than 30 s is not judged" in checks["sampling_too_slow"].remark
    for code in ("short_cycling", "air_charge_lost", "leak_down"):
        assert checks[code].outcome == "not judged", code
        assert "too far apart" in checks[code].remark


@pytest.mark.parametrize(("place", "severity"), [(site(), "act"), (None, "watch")])
def test_starts_seen_are_enough_to_say_that_there_are_too_many(place, severity):
    """Runs of 12 s, too short for a reading every 10 s, but 40 of them in 25 min: over the limit is over the limit.

    A reading more at either end makes none of them as long as it should be: a motor's are too brief for certain.
    """
    made = cycles(12.0, np.full(40, 25.0))
    checks = judged(made, place, every_s=10.0)
    assert checks["short_cycling"].finding.severity == severity
    assert "40 of 40 whole runs are surely under 60 s" in checks["short_cycling"].remark
    assert checks["short_cycling"].remark.startswith("40 starts in the busiest hour")
    for code in ("air_charge_lost", "leak_down"):
        assert checks[code].outcome == "not judged", code
        assert "too far apart" in checks[code].remark


@pytest.mark.parametrize("every_s", [1.0, 4.0, 10.0])
def test_more_and_briefer_runs_are_never_less_grave(every_s):
    """The same water in ever briefer runs, down to those that readings do not measure: an act stays one."""
    grave = []
    for run_s in (50.0, 40.0, 20.0, 12.0, 8.0, 6.0):
        count = round(18000.0 / run_s)
        rest_s = np.random.default_rng(7).uniform(0.5, 1.5, count) * (86400.0 / count - run_s)
        grave.append(judged(cycles(run_s, rest_s), site(), every_s=every_s)["short_cycling"].finding)
    severities = [["note", "watch", "act"].index(finding.severity) if finding else -1 for finding in grave]
    first = severities.index(2)
    assert first <= 2
    assert set(severities[first:]) == {2}, severities


def test_a_reading_a_minute_cannot_show_short_runs():
    """Long runs are seen; that short ones would not be is a note."""
    made = cycles(1200.0, np.random.default_rng(2).uniform(2000, 9000, 40))
    assert found(made, site(water=False), every_s=60.0) == {"sampling_too_slow": "note"}


def test_what_the_fold_says_of_its_shortest_run_counts():
    """Where the cycles themselves say that nothing below a minute was to be seen, the spacing alone does not decide."""
    made = cycles(45.0, np.full(40, 155.0), shortest_run_s=58.0)
    assert "short_cycling" not in found(made, site(water=False))
    assert "short_cycling" in found(replace(made, shortest_run_s=3.0), site(water=False))


@pytest.mark.parametrize(("count", "cut"), [(8, 1), (12, 5)])
def test_runs_one_upon_the_other_are_no_reason_to_be_calm(count, cut):
    """Eight starts in three minutes, 138 an hour: too few whole runs to judge lengths by, yet far beyond any tank."""
    made = cycles(8.0, np.full(count, 18.0), covered_s=27.0 * count)
    runs = tuple(replace(c, run_s=None, complete=False) if k < cut else c for k, c in enumerate(made.cycles))
    check = judged(replace(made, cycles=runs), site())["short_cycling"]
    assert check.finding.severity == "watch"
    assert f"{count} starts in" in check.remark
    assert "as many as 138 an hour" in check.remark
    assert "hour, " not in check.finding.plain.partition(". ")[0]


@pytest.mark.parametrize("count", [4, 7])
def test_a_handful_of_runs_is_not_judged_however_close_they_are(count):
    """Somebody who shows a pump starts it a few times on purpose: from the eighth run on it is judged."""
    check = judged(cycles(8.0, np.full(count, 18.0), covered_s=27.0 * count), site())["short_cycling"]
    assert (check.outcome, check.finding) == ("not judged", None)
    assert f"{count} whole runs are too few" in check.remark
    assert judged(cycles(8.0, np.full(8, 18.0), covered_s=216.0), site())["short_cycling"].finding is not None


def test_few_runs_at_a_pace_that_a_tank_allows_are_not_judged():
    """A start every 4 min while half of what the pump gives is drawn: 15 an hour; or few starts in a long log."""
    assert judged(cycles(120.0, np.full(7, 120.0), covered_s=1700.0), site())["short_cycling"].outcome == "not judged"
    assert judged(cycles(8.0, np.full(7, 18.0), covered_s=9000.0), site())["short_cycling"].outcome == "not judged"


def test_what_the_runs_could_not_say_is_told_by_its_codes():
    """All that is asked of runs, in order; what needs a site file's figures is no part of it."""
    assert withheld(health_of(cycles(120.0, [400.0]), limits_for(None, None), 10.0).checks) == OF_RUNS
    assert withheld(health_of(healthy(), limits_for(None, None), 1.0).checks) == ()


def test_runs_that_overlap_are_not_one_load_s():
    """A load cannot run twice at once: where runs overlap nothing is said of their lengths."""
    made = cycles(20.0, np.full(40, -5.0))
    assert judged(made, site())["short_cycling"].outcome == "not judged"


def test_a_log_without_spacing_is_judged_by_its_cycles():
    """Two readings make no usual spacing; what is known is used."""
    assert "short_cycling" in found(cycles(9.0, np.full(40, 21.0)), site(), every_s=None)


def test_findings_are_those_of_the_checks_that_found_something():
    """The live display shows findings only, the report all checks: they agree."""
    health = health_of(cycles(9.0, np.full(40, 21.0)), limits_for(None, None), 1.0)
    assert [check.code for check in health.checks if check.outcome == "found"] == [f.code for f in health.findings]
    assert health.findings


def test_a_turned_sign_asks_for_action_and_a_right_one_for_nothing():
    """The voltage rises with the draw: the sign is turned. It falls, or nobody can tell: nothing."""
    assert sign_check(SignCheck(False, -0.012, 0.9)).finding.severity == "act"
    assert sign_check(SignCheck(True, 0.012, -0.9)).finding is None
    assert sign_check(SignCheck(None, None, None)).finding is None
    assert sign_check(None).finding is None


def test_strict_ends_with_4_for_what_wants_watching_but_not_for_notes():
    """The contract of ``--strict``: a note wakes nobody."""
    note = health_of(cycles(1200.0, np.full(40, 6000.0)), limits_for(None, None), 60.0).findings
    watch = health_of(cycles(9.0, np.full(40, 21.0)), limits_for(None, None), 1.0).findings
    assert [f.severity for f in note] == ["note"]
    assert strictly(note) == Exit.DONE == 0
    assert strictly(()) == Exit.DONE
    assert strictly([*note, *watch]) == Exit.FINDING == 4


def test_each_finding_names_its_runs_its_causes_and_what_to_check():
    """Evidence, limit, source, causes and a safe first step stand beside every finding that asks for something."""
    made = cycles(9.0, np.full(40, 21.0), attempts=[attempt(k * 60.0, 1.0) for k in range(5)])
    findings = health_of(made, limits_for(site(), site().load("well pump")), 0.5).findings
    assert {f.code for f in findings} == {"short_cycling", "air_charge_lost", "start_trip"}
    for finding in findings:
        assert all((finding.evidence, finding.limit, finding.source, finding.causes, finding.check_first)), finding.code
        assert finding.cycles
        words = finding.check_first
        assert "lock" in words or "licensed" in words, finding.code


def test_checks_and_trends_are_in_the_documents(tmp_path, capsys):
    """``cycles --json`` lists what was checked; ``--strict`` gives 4 for a short-cycling load and 0 without it."""
    from shuntbook.cli.main import run

    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    rows = [f"{k},{30.0 if k % 30 < 9 else 1.0},24.0" for k in range(1200)]
    export.write_text("\n".join(["seconds,current [A],voltage [V]", *rows, ""]), encoding="utf-8")
    assert run(["convert", str(export), "--out", str(log)]) == 0
    capsys.readouterr()
    assert run(["cycles", str(log), "--json", "--strict"]) == 4
    document = json.loads(capsys.readouterr().out)
    assert {check["code"] for check in document["checks"]} == CODES | {"charge_wrong_sign", "start_lengthens"}
    assert {check["outcome"] for check in document["checks"]} <= {"passed", "found", "not judged"}
    short = next(f for f in document["findings"] if f["code"] == "short_cycling")
    assert len(short["cycles"]) == 40 - 1  # the log begins within a run
    assert document["trends"] == []
    assert run(["cycles", str(log), "--explain"]) == 0
    said = capsys.readouterr().out
    assert "checked and passed: " in said
    assert "not judged: draw while the load rests (" in said


@OF_WORDS_ALONE
def test_the_page_lists_what_was_checked_and_the_trends():
    """Every check with outcome, limit and source; a trend with its interval; when a finding's runs began."""
    from report_scenes import make_log, make_report

    from shuntbook.cli.render.page.page import render
    from shuntbook.cli.render.wording.checks import ABOUT

    rng = np.random.default_rng(1)
    made = cycles(9.0, rng.uniform(2000, 9000, 60))
    health = health_of(made, limits_for(site(), site().load("well pump")), 1.0)
    page = render(make_report(make_log(checks=health.checks, trends=health.trends, findings=health.findings)))
    # The pump's pulse has two of its own, of which one asks for many days.
    assert set(ABOUT) == CODES | {"charge_wrong_sign", "start_lengthens", "flow_falls"}
    assert all(ABOUT[code].replace("'", "&#39;") in page for code in CODES)
    assert "(60 starts)" in page
    assert "trade sources disagree" in page
    assert "From day to day" in page
