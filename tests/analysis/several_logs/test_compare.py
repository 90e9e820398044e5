"""Two logs side by side: the demo's story, chance in stationary logs, hand-worked differences, what cancels."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from compare_scenes import FIGURES, HALF_S, halves, log_of, no_difference, runs_of, stationary
from load_scenes import Load
from report_scenes import make_cycle, make_log
from telling import told

from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.several_logs.compare import compare_logs
from shuntbook.analysis.several_logs.compare_rates import FEWEST_STRETCHES, even_cuts, rate_of, seconds_within
from shuntbook.analysis.several_logs.compare_runs import runs_of_two
from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures
from shuntbook.cli.render.terminal.compare import compare_answer

NONE = "no difference that these logs can show"


def by_code(document):
    """The figures of a JSON document by their codes."""
    return {row["code"]: row for row in document["figures"]}


# -- the demo's story --------------------------------------------------------------------------------------------------


def test_a_week_later_runs_and_rests_are_shorter_and_the_pump_draws_the_same(demo, capsys):
    """The tank lost its air: runs and rests shrink, starts multiply, the draw of the motor is what it was."""
    logs = demo / "open_day.parquet", demo / "week_later.parquet"
    status, out, _ = told(capsys, "compare", *logs, "--site", demo / "site.toml", "--json")
    document = json.loads(out)
    rows = by_code(document)
    assert status == 0
    for code in ("median_run_s", "median_rest_s", "energy_per_start_Wh"):
        assert rows[code]["differs"]
        assert rows[code]["difference"]["high"] < 0
    assert rows["starts_per_hour"]["difference"]["low"] > 0
    assert rows["run_W"]["differs"] is False
    assert not document["nothing_differs"]
    assert {f["code"] for f in document["findings"] if f["change"] == "came"} == {"short_cycling", "air_charge_lost"}
    assert any("highest at a start" in left["why_not"] for left in document["left_out"])  # 1 s is too slow for starts


def test_the_way_back_says_that_the_findings_went(demo, capsys):
    """The same logs the other way round: as after the tank was recharged."""
    logs = demo / "week_later.parquet", demo / "open_day.parquet"
    out = told(capsys, "compare", *logs, "--site", demo / "site.toml", "--explain")[1]
    assert out.startswith("GONE, ACT: ")
    assert "went: ACT" in out
    assert "came:" not in out
    assert "judged in the log" not in out
    assert re.search(r"usual run: before 13 s; after 1 min 35 s; .*; more", " ".join(out.split()))


def test_equal_logs_show_no_difference(demo, capsys):
    """A log beside itself: each figure says so, and so does the whole."""
    log = demo / "open_day.parquet"
    status, out, _ = told(capsys, "compare", log, log, "--site", demo / "site.toml", "--explain")
    out = " ".join(out.split())
    rows = re.findall(f"{NONE}(?! of|,)", out)
    assert status == 0
    assert len(rows) >= 14  # energy and charge, habits, runs, starts
    assert "No difference that these logs can show, in any of these figures." in out
    assert "findings: none in either log" in out


# -- chance ------------------------------------------------------------------------------------------------------------


@pytest.mark.timeout(600)  # what it counts are pairs, whatever else the machine does
@pytest.mark.parametrize(("pairs", "least"), [(12, 0.8), pytest.param(200, 0.93, marks=pytest.mark.night)])
def test_halves_of_a_stationary_log_show_no_difference(pairs, least):
    """Each figure of so many pairs, at least 93 % of them, less what chance takes of few: nothing changed but that."""
    shares = no_difference(pairs)
    assert len(shares) == 13
    assert all(count >= 0.95 * pairs for _, count in shares.values())
    assert {code: share for code, (share, _) in shares.items() if share < least} == {}


@pytest.mark.parametrize("pairs", [4, pytest.param(20, marks=pytest.mark.night)])
def test_what_did_change_is_shown(pairs):
    """Runs of 25 s for 60 s, rests of 150 s for 400 s, in nine of ten pairs at least; the draw did not."""
    chance = np.random.default_rng(7)
    differs = {"median_run_s": 0, "median_rest_s": 0, "starts_per_hour": 0, "run_W": 0}
    for _ in range(pairs):
        before = log_of(*stationary(chance, HALF_S, draw_A=30.0))
        after = log_of(*stationary(chance, HALF_S, run_s=25.0, rest_s=150.0, draw_A=30.0))
        rows = {row.code: row for row in compare_logs(before, after).rows}
        for code in differs:
            differs[code] += rows[code].differs
    assert min(differs[code] for code in ("median_run_s", "median_rest_s", "starts_per_hour")) >= 0.9 * pairs
    assert differs["run_W"] <= max(2, 0.2 * pairs)


def test_a_rate_of_even_stretches_is_their_mean_with_its_t_interval():
    """Five hours of 1 to 5 Ah: 3 Ah/h, and the standard error of a mean, sqrt(2.5 / 5), with 4 degrees of freedom."""
    rate = rate_of(np.arange(1.0, 6.0), np.ones(5))
    assert (rate.per_h, rate.chance.u, rate.chance.dof) == pytest.approx((3.0, np.sqrt(0.5), 4))


def test_too_little_time_has_a_rate_but_no_chance():
    """Stretches in which nothing was measured take no part; with too few left chance is not judged."""
    rate = rate_of(np.array([2.0, 4.0, 99.0]), np.array([1.0, 1.0, 0.0]))
    assert rate.per_h == 3.0
    assert rate.chance is None
    assert rate_of(np.ones(12), np.full(12, 1 / 3600)).chance is None  # twelve seconds tell nothing of what is usual
    assert rate_of(np.zeros(FEWEST_STRETCHES), np.zeros(FEWEST_STRETCHES)) is None


def test_cuts_are_even_and_running_time_is_shared_among_them():
    """A run over a cut counts on both sides; the parts add up."""
    cuts = np.array([*even_cuts(0, 100_000_000, 4), 100_000_000], dtype=float)
    assert cuts.tolist() == [0, 25e6, 50e6, 75e6, 100e6]
    assert seconds_within(np.array([20e6]), np.array([60e6]), cuts).tolist() == [5, 25, 10, 0]
    assert even_cuts(7, 7) == [7]


def test_of_runs_too_brief_for_the_readings_no_habit_is_told():
    """A fifth more starts, of half the length: those that were measured are fewer, which says nothing."""
    chance = np.random.default_rng(11)
    time_s, logs = np.arange(0, HALF_S, 2.0), []
    for run_s, rest_s in ((9.0, 100.0), (3.5, 90.0)):
        rests = rest_s * chance.uniform(0.8, 1.2, 200)
        edges = np.stack([rests, run_s * chance.uniform(0.7, 1.3, 200)], axis=1).ravel().cumsum().reshape(-1, 2)
        runs = [(float(a), float(b)) for a, b in edges if b < HALF_S - 60]
        amps = 2.0 + Load(30.0, runs).current_A(time_s) + chance.normal(0, 0.02, len(time_s))
        logs.append(log_of(time_s, np.round(amps, 2), np.round(25.4 - 0.012 * amps, 2)))
    before, after = (log.report.cycles.summary for log in logs)
    assert (before.too_brief, after.too_brief >= 0.1 * after.count) == (0, True)
    assert after.starts_per_hour < before.starts_per_hour
    comparison = compare_logs(*logs)
    assert {"starts_per_hour", "duty_cycle", "median_run_s", "median_rest_s"}.isdisjoint(
        row.code for row in comparison.rows
    )
    assert "run_W" in {row.code for row in comparison.rows}
    assert sum("too brief to be measured" in left.because for left in comparison.left_out) == 5
    few = replace(logs[1].report.cycles, summary=replace(after, too_brief=int(0.1 * after.count) - 1))
    few_missing = replace(logs[1], report=replace(logs[1].report, cycles=few))
    assert "starts_per_hour" in {row.code for row in compare_logs(logs[0], few_missing).rows}


# -- what cancels ------------------------------------------------------------------------------------------------------


def two_logs(meters, *, factor=1.0, array_may_share=False):
    """Two logs of twelve runs, all the runs of the second `factor` times as hard; a meter of 5 %."""
    wide = MeterFigures(current=Accuracy(5.0, 0.0), voltage=Accuracy(0.0, 0.0))
    logs = []
    for meter, times in zip(meters, (1.0, factor), strict=True):
        runs = tuple(
            make_cycle(k * 300.0, run_A=times * (30 + 0.1 * k), run_W=None, array_may_share=array_may_share)
            for k in range(12)
        )
        log = make_log(str(meter), cycles=Cycles(runs, CycleSummary(12, 12.0, 0.3, 72.0, 148.0), "current_A"))
        logs.append(replace(log, facts=replace(log.facts, meter=meter), figures=wide))
    return logs


def test_the_factor_of_one_meter_cancels_and_that_of_two_does_not():
    """2 % more by one meter of 5 % is shown; by two meters it may be their error."""
    one, two = (
        {
            row.code: row
            for row in runs_of_two(*two_logs(meters, factor=1.02), one_meter=one)
            if not isinstance(row, Missing)
        }
        for meters, one in ((("a", "a"), True), (("a", "b"), False))
    )
    assert one["run_A"].differs
    assert one["run_A"].ratio.holds(1.02)
    assert not one["run_A"].ratio.holds(1.0)
    assert not two["run_A"].differs
    assert two["run_A"].ratio.holds(1.0)
    assert "factor" in one["run_A"].cancels
    assert "factor" not in two["run_A"].cancels
    assert one["median_run_s"].cancels == ""


def test_a_ratio_of_times_that_the_readings_cannot_tell_is_left_out():
    """Readings a thousand years apart, runs of a minute: no factor is too large, so none is shown."""
    logs = [replace(log, facts=replace(log.facts, usual_interval_s=3e10)) for log in two_logs(("a", "a"))]
    rows = {row.code: row for row in runs_of_two(*logs, one_meter=True) if not isinstance(row, Missing)}
    assert rows["median_run_s"].ratio is None
    assert rows["run_A"].ratio is not None


def test_runs_that_the_array_shared_are_not_held_against_each_other():
    """Their draw is a lower bound; their times are not."""
    rows = list(runs_of_two(*two_logs(("a", "a"), array_may_share=True), one_meter=True))
    codes = {row.code for row in rows if not isinstance(row, Missing)}
    assert codes == {"median_run_s", "median_rest_s"}


def test_draw_is_compared_in_watts_where_there_are_any():
    """An inverter takes watts; its amps follow the bank's voltage and would differ for that alone."""
    chance = np.random.default_rng(13)
    codes = {row.code for row in halves(chance).rows}
    assert "run_W" in codes
    assert "run_A" not in codes


def test_one_meter_is_only_one_that_both_logs_name():
    """Logs without a meter's name are taken for two meters', and that is said."""
    chance = np.random.default_rng(8)
    readings = stationary(chance, HALF_S)
    named = compare_logs(log_of(*readings), log_of(*readings))
    unnamed = compare_logs(log_of(*readings, meter=None), log_of(*readings, meter=None))
    assert (named.one_meter, unnamed.one_meter) == (True, False)
    wide, narrow = ({row.code: row for row in result.rows}["drawn_Ah_per_hour"] for result in (unnamed, named))
    assert wide.difference.high - wide.difference.low > narrow.difference.high - narrow.difference.low
    assert any("do not name one and the same meter" in text for text in unnamed.remarks)


def test_a_meters_factor_is_in_each_interval_of_its_own():
    """Drawn Ah an hour of each log stand with the meter's interval, which holds what the meter was off by."""
    result = halves(np.random.default_rng(9))
    row = {row.code: row for row in result.rows}["drawn_Ah_per_hour"]
    half = (row.before.high - row.before.low) / 2
    assert half > 0.95 * FIGURES.current.reading_pct / 100 * row.before.value


def test_logs_of_two_sides_are_not_compared():
    """Watts before and behind an inverter are not the same thing."""
    chance = np.random.default_rng(10)
    dc = log_of(*stationary(chance, HALF_S))
    ac = replace(dc, report=replace(dc.report, facts=replace(dc.report.facts, side="ac", name="shed")))
    with pytest.raises(Refusal, match="side ac"):
        compare_logs(dc, ac)


def test_logs_without_runs_are_compared_by_what_they_have(capsys):
    """No run in one of them: charge and energy stand, and it is said what does not."""
    chance = np.random.default_rng(11)
    time_s, current_A, voltage_V = stationary(chance, HALF_S)
    still = log_of(time_s, np.full(len(time_s), 2.0), voltage_V, name="still")
    result = compare_logs(log_of(time_s, current_A, voltage_V), still)
    text = "\n".join(compare_answer(result).laid_out(200, explain=True))
    assert {row.code for row in result.rows} >= {"drawn_Ah_per_hour", "drawn_Wh_per_hour"}
    assert not any(row.code == "median_run_s" for row in result.rows)
    assert "not compared: No word on runs: no run of the load was seen in still." in text


def test_a_log_of_moments_is_not_judged():
    """Ten seconds beside hours: the rates stand, no difference is claimed, and it is said why, once."""
    chance = np.random.default_rng(14)
    time_s = np.arange(0, 10, 1.0)
    moment = log_of(time_s, np.full(10, 50.0), np.full(10, 25.0))
    result = compare_logs(log_of(*stationary(chance, HALF_S)), moment)
    text = "\n".join(compare_answer(result).laid_out(200, explain=True))
    assert all(row.differs is None for row in result.rows)
    assert text.count("a log is too short") == 1


def test_days_are_told_by_the_day():
    """Logs of a day and more: amounts a day, 24 times those of an hour."""
    time_s = np.arange(0, 25 * 3600, 10.0)
    amps = np.where(time_s % 1000 < 100, 20.0, 1.0)
    result = compare_logs(*[log_of(time_s, amps, np.full(len(time_s), 25.0))] * 2)
    row = {row.code: row for row in result.rows}["drawn_Ah_per_day"]
    assert row.before.value == pytest.approx(24 * 2.9, rel=0.01)


def test_missing_logs_and_sites_are_told_in_a_sentence(demo, capsys):
    """What is not there, a load nobody knows, one log only."""
    log = demo / "open_day.parquet"
    for words, sentence in (
        ((log, demo / "none.parquet"), "none.parquet"),
        ((log, log, "--load", "mangle"), "--site"),
        ((log, log, "--site", demo / "site.toml", "--load", "mangle"), "well pump"),
        ((log,), "missing argument"),
    ):
        status, out, err = told(capsys, "compare", *words)
        assert (status, out) == (2, "")
        assert sentence in err
        assert len(err.splitlines()) == 1


def test_scenes_hold_what_they_promise():
    """Runs about as long and as far apart as asked for, in order, and within the span."""
    runs = np.array(runs_of(np.random.default_rng(12), 60.0, 400.0, 1e6))
    assert (np.diff(runs.ravel()) > 0).all()
    assert np.mean(runs[:, 1] - runs[:, 0]) == pytest.approx(60, rel=0.05)
    assert np.mean(runs[1:, 0] - runs[:-1, 1]) == pytest.approx(400, rel=0.05)
