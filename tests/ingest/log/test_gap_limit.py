"""The gap limit comes from the rhythm of the readings; what their spacings leave open is said with both figures."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from readings import assert_same, chunk_of, fed

from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.sureness.amount_intervals import AmountsAnalysis
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.cli.main import run
from shuntbook.ingest.log.gap_limit import GapLimit, IntervalCount, gap_limit
from shuntbook.ingest.log.pauses import Changes, Pauses, SpacingCount

S = 1_000_000


def limit_of(time_s, level=None, cuts=()) -> GapLimit:
    """The limit of readings at these times, counted in as many parts as they are cut."""
    count, time_us = IntervalCount(), np.rint(np.asarray(time_s, dtype=float) * S).astype(np.int64)
    x = np.zeros(len(time_us)) if level is None else np.asarray(level, dtype=float)
    parts = sorted(cut % (len(time_us) + 1) for cut in cuts)
    for times, levels in zip(np.split(time_us, parts), np.split(x, parts), strict=True):
        count.add(times, levels)
    return count.gap_limit()


def bursts(readings: int, spacing_s: float, pause_s: float, count: int = 40):
    """The instants of a logger that takes some readings and then pauses."""
    once = np.arange(readings) * spacing_s
    return np.concatenate([once + k * (once[-1] + pause_s) for k in range(count)])


def pump(hours: float = 4.0, seed: int = 1):
    """What flows at each second: 2 A at rest, a pump of 30 A with a start of 90 A, all with a little noise. [A]"""
    rng, flows = np.random.default_rng(seed), np.full(int(hours * 3600), 2.0)
    at = 0
    while (at := at + int(rng.uniform(60, 600))) < len(flows):
        stop = at + int(rng.uniform(30, 150))
        flows[at:stop] += 30.0
        flows[at : at + 1] += 60.0
        at = stop
    return flows + rng.normal(0, 0.05, len(flows))


def changes_of(flows, *, spacing_s: int = 2, heartbeat_s: int | None = None):
    """The instants a meter keeps that looks every so often and writes both sides of each change."""
    instants, last = [0], 0
    for at in range(spacing_s, len(flows), spacing_s):
        if abs(flows[at] - flows[last]) > 1.0:
            instants += [at - spacing_s, at]
        elif heartbeat_s is not None and at - last >= heartbeat_s:
            instants.append(at)
        last = instants[-1]
    return np.unique(instants)


@given(st.integers(3, 19), st.sampled_from([1, 2, 5, 10]), st.floats(120, 20_000), st.integers(0, 10**6))
def test_a_logger_that_triggers_has_gaps(readings, spacing_s, pause_s, seed):
    """However short its bursts and long its pauses: these are left out, and the limit that bridges them is named."""
    time_s = bursts(readings, spacing_s, pause_s)
    level = 30 + np.random.default_rng(seed).normal(0, 0.1, len(time_s))
    limit = limit_of(time_s, level)
    assert limit.limit_s == max(5.0 * spacing_s, 10.0)
    assert limit.other_s is not None
    assert pause_s <= limit.other_s <= 1.1 * pause_s + 0.01
    assert "left out as gaps" in str(limit.sentence)


def test_a_logger_that_runs_with_the_load_has_gaps():
    """One that writes every 2 s while more than 10 A flow pauses at the level of its trigger: nothing flows by that."""
    flows = pump(12.0)
    at = np.arange(0, len(flows), 10)
    at = at[flows[at] > 10]
    assert limit_of(at, flows[at]).limit_s == 50.0


@given(st.floats(0.05, 90_000), st.integers(3, 300))
def test_a_steady_log_has_five_times_its_spacing(spacing_s, readings):
    """A reading a second, an hour or a day: never less than 10 s."""
    limit = limit_of(np.arange(readings) * spacing_s)
    assert limit.limit_s == pytest.approx(max(5 * spacing_s, 10.0), abs=0.01)
    assert (limit.other_s, limit.sentence) == (None, None)


@given(st.integers(1, 10**6))
def test_spacings_that_vary_by_themselves_leave_no_doubt(seed):
    """Readings that come by chance (exponential spacings): a long spacing is one of many and no pause."""
    spacings_s = np.random.default_rng(seed).exponential(20.0, 500)
    limit = limit_of(np.concatenate([[0.0], np.cumsum(spacings_s)]))
    assert limit.limit_s == pytest.approx(5 * np.quantile(spacings_s, 0.95, method="inverted_cdf"), abs=0.01)
    assert limit.other_s is None


@pytest.mark.parametrize("heartbeat_s", [60, 300, None])
@pytest.mark.parametrize("seed", range(4))
def test_a_meter_that_keeps_only_changes_stays_whole(heartbeat_s, seed):
    """2 s while something switches, else once a minute, in five, or not at all: its pauses stand at one level."""
    flows = pump(seed=seed)
    at = changes_of(flows, heartbeat_s=heartbeat_s)
    limit, longest_s = limit_of(at, flows[at]), np.diff(at).max()
    assert limit.limit_s >= 0.9 * longest_s
    assert limit.other_s is None


def test_pauses_between_every_two_switchings_are_bridged_by_their_level():
    """Where a heartbeat never comes twice, only the levels tell: they are bridged, and that is said."""
    flows = pump()
    near = np.convolve(np.abs(np.diff(flows, prepend=flows[0])) > 5, np.ones(13))[4:-8] > 0
    at = np.flatnonzero(near & (np.arange(len(flows)) % 2 == 0))
    limit = limit_of(at, flows[at])
    assert limit.limit_s > 500
    assert "begin and end at one level" in str(limit.sentence)
    assert "--gap 10s leaves them out" in str(limit.sentence)


@pytest.mark.parametrize("seed", range(4))
def test_a_meter_that_writes_a_value_when_it_changes_is_asked_about(seed):
    """Nothing but the new value at each change: a line from change to change would be half a pump run too long."""
    flows = np.round(pump(seed=seed))
    at = np.flatnonzero(np.abs(np.diff(flows, prepend=-99)) > 5)
    at = at[np.diff(at, prepend=-99) > 1]
    assert "add --sampling held" in str(limit_of(at, flows[at]).sentence)


@pytest.mark.parametrize("seed", range(4))
def test_a_meter_with_a_rhythm_is_not(seed):
    """Once a minute nearly every reading may be a change, and often is not: either way it is a rhythm."""
    flows = pump(seed=seed)
    for at in (np.arange(0, len(flows), 60), changes_of(flows), changes_of(flows, heartbeat_s=60)):
        assert "held" not in str(limit_of(at, flows[at]).sentence)
    swings = np.tile([2.0, 30.0], 100)
    assert limit_of(np.arange(200) * 60, swings).sentence is None


def test_a_slow_stretch_of_a_fast_log_is_no_gap():
    """10 h at 1 s, then an hour at 60 s: its rhythm is kept up, so its readings are one measurement."""
    time_s = np.concatenate([np.arange(36_000), np.arange(36_000, 39_600, 60)])
    assert limit_of(time_s).limit_s == 300


def test_a_hole_in_the_fast_stretch_stays_a_gap():
    """100 s without a reading at 1 s are a gap, though an hour at 60 s follows: the limit lies between the two."""
    time_s = np.concatenate([np.arange(36_000), np.arange(36_000, 39_600, 60)])
    time_s = time_s[(time_s <= 5000) | (time_s >= 5100)]
    assert 60 <= limit_of(time_s).limit_s < 100


@pytest.mark.parametrize(("missing", "bridged"), [(4, True), (5, False)])
def test_missing_readings_are_bridged_up_to_five_spacings(missing, bridged):
    """Of a steady log every 30 s."""
    time_s = np.delete(np.arange(300) * 30.0, np.arange(100, 100 + missing))
    assert (limit_of(time_s).limit_s >= float(np.diff(time_s).max())) is bridged


SPACINGS = st.lists(
    st.tuples(st.sampled_from([0.5, 1, 2, 5, 60, 61, 3000, 3600]), st.integers(1, 25)), min_size=1, max_size=30
)


@given(st.lists(st.sampled_from([1, 2, 5, 60, 86_400]), min_size=1, max_size=200))
def test_spacings_close_together_and_far_apart_are_counted_one_by_one(spacings_s):
    count = SpacingCount()
    count.add(np.array(spacings_s) * S)
    assert [count.count(to_s=s) for s in sorted(set(spacings_s))] == [
        sum(one <= s for one in spacings_s) for s in sorted(set(spacings_s))
    ]
    assert float(count.total_s()) == sum(spacings_s)


@given(SPACINGS, st.lists(st.integers(0, 10**6), max_size=6), st.integers(0, 10**6))
def test_the_limit_does_not_depend_on_where_the_log_is_cut(stretches, cuts, seed):
    """Any mixture of rhythms and pauses, cut anywhere, levels and holes in them included."""
    time_s = np.cumsum(np.repeat(*zip(*stretches, strict=True)))
    rng = np.random.default_rng(seed)
    level = np.where(rng.random(len(time_s)) < 0.1, np.nan, rng.choice([2.0, 30.0], len(time_s)))
    assert limit_of(time_s, level, cuts) == limit_of(time_s, level)


@given(st.lists(st.integers(0, 10**6), max_size=4))
def test_the_other_figure_does_not_depend_on_where_the_log_is_cut(cuts):
    """`AmountsAnalysis` with a second limit is a fold as ever."""
    readings = chunk_of(bursts(4, 5, 600, 6), current_A=np.linspace(-3, 30, 24), voltage_V=24.0)

    def result(where):
        how = HowRead("dc", "instant", 25.0, 5.0, other_gap_limit_s=610.0)
        return fed(AmountsAnalysis(how, set(readings.quantities), NOTHING_STATED), readings, where).result()[0]

    whole, parts = result(()), result(cuts)
    assert whole.doubtful
    assert parts.doubtful
    assert_same(parts.otherwise, whole.otherwise)


# --- what a person is told -------------------------------------------------------------------------------------------


@pytest.fixture
def trigger_csv(tmp_path):
    """An export of a logger that takes 12 readings of 30 A, 5 s apart, and then pauses for 50 min, 40 times."""
    begin = datetime(2026, 3, 3, 8, tzinfo=UTC)
    stamps = [begin + timedelta(seconds=float(at)) for at in bursts(12, 5, 3005)]
    rows = [f"{stamp:%Y-%m-%d %H:%M:%S},30,24.6" for stamp in stamps]
    path = tmp_path / "trigger.csv"
    path.write_text("\n".join(["Time,Current (A),Voltage (V)", *rows]))
    return path


def printed(capsys, *arguments):
    """What a command prints."""
    assert run([str(argument) for argument in arguments]) == 0
    return capsys.readouterr().out


def test_both_figures_are_said_and_the_limit_is_asked_for(trigger_csv, tmp_path, capsys):
    """40 x 55 s at 30 A are 18.33 Ah; 33.2 h at 30 A are 995 Ah. `convert`, `charge` and `look` say so."""
    log = tmp_path / "log.parquet"
    texts = [printed(capsys, "convert", trigger_csv, "--zone", "UTC", "--out", log)]
    texts += [printed(capsys, command, log) for command in ("charge", "look")]
    for text in texts:
        assert "IN DOUBT" in text
        assert "left out 18.3 Ah" in text
        assert "bridged 995 Ah" in text
        assert "--gap 25s" in text
        assert "--gap 3100s" in text
    document = json.loads(printed(capsys, "charge", log, "--json"))
    assert document["charge"]["drawn_Ah"] == pytest.approx(18.333, abs=0.001)
    for command in ("look", "convert"):
        words = (
            ("look", log) if command == "look" else ("convert", trigger_csv, "--zone", "UTC", "--out", log, "--force")
        )
        (in_doubt,) = json.loads(printed(capsys, *words, "--json"))["in_doubt"]
        assert "bridged 995 Ah" in in_doubt
    other = document["other_gap_limit"]
    assert other["in_doubt"] is True
    assert other["drawn_Ah"] == pytest.approx(995.0, abs=0.1)


@pytest.mark.parametrize(("gap", "drawn_Ah"), [("25s", 18.333), ("3100s", 994.958)])
def test_a_stated_limit_settles_it(trigger_csv, tmp_path, capsys, gap, drawn_Ah):
    """Either way, and nothing is in doubt then."""
    log = tmp_path / "log.parquet"
    text = printed(capsys, "convert", trigger_csv, "--zone", "UTC", "--gap", gap, "--out", log)
    assert "IN DOUBT" not in text
    document = json.loads(printed(capsys, "charge", log, "--json"))
    assert document["charge"]["drawn_Ah"] == pytest.approx(drawn_Ah, abs=0.01)
    assert document["other_gap_limit"] is None


def test_pauses_in_which_nothing_flows_are_no_matter(trigger_csv, tmp_path, capsys):
    """Bridged or not, nothing is drawn: nobody is asked."""
    trigger_csv.write_text(trigger_csv.read_text().replace(",30,", ",0,"))
    log = tmp_path / "log.parquet"
    assert "IN DOUBT" not in printed(capsys, "convert", trigger_csv, "--zone", "UTC", "--out", log)
    assert "IN DOUBT" not in printed(capsys, "charge", log)


def test_the_page_says_both_figures(trigger_csv, tmp_path, capsys):
    """Beside what was taken, where it is read first."""
    log, page = tmp_path / "log.parquet", tmp_path / "page.html"
    printed(capsys, "convert", trigger_csv, "--zone", "UTC", "--out", log)
    printed(capsys, "report", log, "--out", page)
    text = page.read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "with them bridged 995 Ah" in text


def test_a_log_of_others_is_held_to_the_same_rule(trigger_csv, tmp_path, capsys):
    """A Parquet log without notes of ours gets its limit when it is opened."""
    import pyarrow.parquet as pq

    log, bare = tmp_path / "log.parquet", tmp_path / "bare.parquet"
    printed(capsys, "convert", trigger_csv, "--zone", "UTC", "--out", log)
    pq.write_table(pq.read_table(log).replace_schema_metadata(None), bare)
    assert "IN DOUBT" in printed(capsys, "charge", bare)


# --- the parts, by hand ----------------------------------------------------------------------------------------------


def counted(*seconds: float) -> SpacingCount:
    """A count of these spacings. [s]"""
    count = SpacingCount()
    count.add(np.round(np.array(seconds) * S).astype(np.int64))
    return count


def test_spacings_are_counted_and_summed():
    """2 s twice, 5 s, 60 s three times: sums up to and with a length, the longest, and both counts as one."""
    count = counted(60, 2, 5, 60, 2, 60)
    assert count.sizes_s.tolist() == [2, 5, 60]
    assert count.total_s(np.array([1.9, 2, 59, 60])).tolist() == [0, 4, 9, 189]
    assert float(count.total_s()) == 189
    assert (count.count(to_s=5), count.count(to_s=4.9), count.count(to_s=60)) == (3, 2, 6)
    assert (count.longest_s(to_s=59), count.longest_s(to_s=60), count.longest_s(to_s=1)) == (5, 60, 0)
    both = count.with_all_of(counted(5, 7))
    assert (both.sizes_s.tolist(), float(both.total_s())) == ([2, 5, 7, 60], 201)
    assert SpacingCount().quantile_s(0.5) is None


def test_very_many_spacings_are_counted_more_coarsely():
    """Above 20,000 different ones the grain doubles; what is fine is joined with what is coarse."""
    count = SpacingCount()
    count.add(np.arange(1, 30_001) * 1000)
    assert len(count.sizes_s) <= 20_000
    assert count.count(to_s=31) == 30_000
    assert count.quantile_s(0.5) == pytest.approx(15.0, abs=0.01)
    assert float(count.total_s()) == pytest.approx(30_000 * 30_001 / 2e3, rel=1e-3)
    both = count.with_all_of(counted(1, 2))
    assert (both.count(to_s=31), both.quantile_s(0.5)) == (30_002, pytest.approx(15.0, abs=0.01))


def test_what_stands_on_either_side_of_the_limit():
    """The limit has least time on the wrong side, and what else it could be is told."""
    bursts_and_pauses = gap_limit(counted(*[5] * 400), counted(*[3000] * 40), 0.0, None)
    assert (bursts_and_pauses.limit_s, bursts_and_pauses.other_s) == (25, 3100)
    # The limit lies between the slow rhythm and the pauses, however close.
    mixed = gap_limit(counted(*[1] * 2000, *[60] * 100), counted(*[61] * 10), 60.0, None)
    assert mixed.limit_s == 60
    close = gap_limit(counted(*[1] * 2000, *[61] * 100), counted(*[62] * 10), 61.0, None)
    assert close.limit_s == 61  # two digits would be 62, and no gap any more
    slower = gap_limit(counted(*[1] * 2000, *[60] * 100), counted(*[20] * 10), 60.0, None)
    assert (slower.limit_s, slower.other_s) == (300, None)
    assert "they are bridged, since no limit leaves out them alone" in str(slower.sentence)
    little = gap_limit(counted(*[1] * 2000, *[60] * 100), counted(*[20] * 3), 60.0, None)
    assert (little.limit_s, little.sentence) == (300, None)  # 60 s of 8,060: less than a meter's own 1 %
    few = gap_limit(counted(*[1] * 2000), counted(3000, 3000), 0.0, None)
    assert (few.limit_s, few.other_s) == (10, None)


@pytest.mark.parametrize(("count", "is_habit"), [(2, False), (3, True)])
def test_two_pauses_are_no_habit(count, is_habit):
    """Of a minute each, long beside 1,000 s: what happens twice is a gap, and nobody is asked about it."""
    limit = gap_limit(counted(*[1] * 1000), counted(*[60] * count), 60.0, None)
    assert (limit.limit_s, limit.other_s) == (10.0, 61.0 if is_habit else None)


@pytest.mark.parametrize(("usual", "worth_a_word"), [(5990, True), (6010, False)])
def test_pauses_of_a_hundredth_of_the_time_are_worth_a_word(usual, worth_a_word):
    """Three of 20 s, which a slow stretch would bridge, beside so many seconds: less changes no figure by 1 %."""
    limit = gap_limit(counted(*[1] * usual), counted(*[20] * 3), 60.0, None)
    assert (limit.sentence is not None) is worth_a_word


def test_pairs_of_readings_are_usual_and_bursts_of_three_are_not():
    """Every second spacing of ten minutes is a rhythm; every third is a pause in one."""
    assert limit_of(bursts(2, 1, 600)) == GapLimit(3000.0)
    three = limit_of(bursts(3, 1, 600), np.full(120, 30.0))
    assert (three.limit_s, three.other_s) == (10.0, 610.0)


def pauses_of(*bursts_then_pause) -> Pauses:
    """Records of bursts of levels 5 s apart, each followed by a pause of 600 s to the next one's first level."""
    levels = [level for burst in bursts_then_pause for level in burst]
    pauses, is_pause = Pauses(levels[0]), []
    for burst in bursts_then_pause:
        is_pause += [False] * (len(burst) - 1) + [True]
    marks = np.array(is_pause[:-1])
    pauses.add(np.where(marks, 600, 5).astype(np.int64) * S, marks, np.array(levels[1:]))
    return pauses


def test_only_changes_are_told_by_their_levels():
    """Ten pauses: at two levels, at next to nothing, at the trigger's own, between unlike ends, too few."""
    on, off = [0.0, 30.0, 30.0], [30.0, 0.0, 0.0]
    assert pauses_of(*[on, off] * 6).of_changes_only(600)
    assert not pauses_of(*[on, off] * 6).of_changes_only(599)
    assert not pauses_of(*[on, off] * 5).of_changes_only(600)  # nine
    run = [1.0, 30.0, 30.0, 30.0, 1.0]
    assert pauses_of(*[run] * 12).of_changes_only(600)
    trigger = [30.0, 31.0, 31.0, 30.0]
    assert not pauses_of(*[trigger] * 12).of_changes_only(600)
    assert not pauses_of(*[[30.0, 30.0]] * 12).of_changes_only(600)
    assert not pauses_of(*[[0.0, 30.0, 30.0]] * 12).of_changes_only(600)
    alone = [*[[1.0, 30.0, 30.0, 30.0, 1.0], [1.0]] * 8]  # a heartbeat between two pauses is no burst
    assert pauses_of(*alone).of_changes_only(600)
    jump = [1.0, 30.0, 30.0]
    assert pauses_of(*[*[run] * 11, jump, run]).of_changes_only(600)  # one of twelve ends elsewhere
    assert not pauses_of(*[*[run] * 9, jump, *[run] * 2, jump, run]).of_changes_only(600)  # two of twelve


@pytest.mark.parametrize(("begins_A", "at_one_level"), [(5.9, True), (6.0, False)])
def test_a_pause_ends_at_the_level_it_began_at_to_a_fifth_of_the_swing(begins_A, at_one_level):
    """Bursts of 30 A that end at nothing: the next one may begin at less than 6 A."""
    assert pauses_of(*[[begins_A, 30.0, 30.0, 30.0, 0.0]] * 12).of_changes_only(600) is at_one_level


def changed(*levels, every_s=1.0):
    """Counts of a meter's changes from level to level."""
    changes = Changes(levels[0])
    changes.add(np.array(levels[1:], dtype=float), np.full(len(levels) - 1, round(every_s * S)))
    return changes


@pytest.mark.parametrize(("to_A", "matters"), [(1001.9, False), (1002.1, True), (997.9, True)])
def test_it_matters_if_values_stand_where_lines_give_a_thousandth_more_or_less(to_A, matters):
    """From 1,000 A within a second, half a step more than 1,000 A s."""
    assert changed(1000.0, to_A).matter is matters


@pytest.mark.parametrize(("ups", "all_steps"), [(1, False), (2, False), (3, True), (17, True), (18, False)])
def test_least_steps_go_up_and_down_where_a_meter_writes_each(ups, all_steps):
    """Of twenty by 1 A, after a jump of 100 A, more than a tenth go the other way; at spacings of 1 and 60 s."""
    steps = [100.0] + [1.0] * ups + [-1.0] * (20 - ups)
    assert changed(*np.cumsum([50.0, *steps])).are_all(counted(*[1] * 10, *[60] * 10)) is all_steps
    assert not changed(*np.cumsum([50.0, *steps])).are_all(counted(*[60] * 20))


@pytest.mark.parametrize("seed", range(4))
def test_a_meter_that_writes_each_small_change_is_asked_about(seed):
    """A new row for each tenth of an amp: none is as the one before, and many are the next to it."""
    rng = np.random.default_rng(seed)
    x = np.round(20 + np.cumsum(rng.choice([-0.1, 0.1], 400)), 1)
    at = np.cumsum(rng.choice([1, 2, 5, 40, 90, 200], 400))
    limit = limit_of(at, x)
    assert "add --sampling held" in str(limit.sentence)
    assert limit.held_or_not == bool(abs(np.dot(np.diff(x), np.diff(at))) > 2e-3 * np.dot(x[:-1], np.diff(at)))
    # The same spacings with a meter's noise say nothing of the kind, nor does what only rises.
    for noise in (np.round(20 + rng.normal(0, 0.15, 400), 1), 20 + rng.normal(0, 0.15, 400), np.arange(400.0)):
        assert "held" not in str(limit_of(at, noise).sentence)
