"""Notes from a display: how sure they are, and the starts and stops they tell of."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from readings import assert_same, chunk_of, fed, how
from scipy.stats import binom

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.noted import NoteSums
from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.cycles.noted_runs import NotedRunsFold, event_in
from shuntbook.analysis.readings.chunk import MICROSECONDS
from shuntbook.analysis.sureness.amount_intervals import with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.cli.main import run
from shuntbook.cli.render.wording.numbers import plus_minus

NOTED = how(sampling="held", usual_interval_s=60.0)
NOTED = type(NOTED)("dc", "held", 300.0, 60.0, noted=True)
MINUTE_US = 60 * MICROSECONDS
#: A whole minute: what `readings.T0_US` is not.
MINUTES_US = 1_781_000_040 * MICROSECONDS


def notes(time_s, **quantities):
    """What was noted, at seconds after a whole minute."""
    chunk = chunk_of(time_s, **quantities)
    return type(chunk)(chunk.time_us - chunk.time_us[0] + round(time_s[0] * 1e6) + MINUTES_US, chunk.quantities)


def sure_of(chunk, cuts=()):
    """The charge of notes with its intervals, nothing stated of the meter."""
    fold = fed(ChargeFold(NOTED, set(chunk.quantities)), chunk, cuts)
    return with_intervals(fold.result(), NOTHING_STATED).charge


def part_of(amounts, source):
    """A component of what was drawn."""
    (part,) = [part for part in amounts.sure.drawn.components if part.source == source]
    return part


def test_a_draw_of_less_than_an_amp_is_drawn_all_the_same():
    """0.5 A for 4 min, then 0.3 A back for 2 min, to tenths: each has the error of its own figure."""
    amounts = sure_of(notes([0.0, 240.0, 360.0], current_A=[0.5, -0.3, 0.0]))
    digit = {
        part: next(each.u for each in getattr(amounts.sure, part).components if each.source == "last digit")
        for part in ("drawn", "returned", "net")
    }
    for part, squares_s2 in (("drawn", 240**2), ("returned", 120**2), ("net", 240**2 + 120**2)):
        assert digit[part] == pytest.approx(0.1 / math.sqrt(12) * math.sqrt(squares_s2) / 3600)


def test_the_interval_comes_from_digit_and_moments():
    """70 A for 4 min, whole amps and minutes: half an amp for 4 min, and both ends to half a minute."""
    amounts = sure_of(notes([0.0, 240.0], current_A=[70.0, 0.0]))
    assert amounts.drawn == pytest.approx(70 * 240 / 3600)
    assert part_of(amounts, "last digit").u == pytest.approx(1 / math.sqrt(12) * 240 / 3600)
    assert part_of(amounts, "moments of noting").u == pytest.approx(30 / math.sqrt(3) * 70 * math.sqrt(2) / 3600)
    assert {part.source for part in amounts.sure.drawn.components} <= {
        "last digit", "moments of noting", "gain", "offset (share of range)", "clock",
    }  # fmt: skip


def test_seconds_told_are_known_better_than_minutes():
    """5 s in place of 30 s."""
    amounts = sure_of(notes([10.0, 250.0], current_A=[70.0, 0.0]))
    assert part_of(amounts, "moments of noting").u == pytest.approx(5 / math.sqrt(3) * 70 * math.sqrt(2) / 3600)


def test_a_digit_after_the_point_is_a_finer_display():
    """12.5 A tell of tenths, also where another line says 70; what was worked out (900 W / 12.7 V) tells nothing."""
    coarse = sure_of(notes([0.0, 120.0, 240.0], current_A=[70.0, 900 / 12.7, 0.0]))
    fine = sure_of(notes([0.0, 120.0, 240.0], current_A=[70.0, 12.5, 0.0]))
    assert part_of(coarse, "last digit").u == pytest.approx(10 * part_of(fine, "last digit").u)


def test_nothing_is_drawn_below_nothing():
    """However wide the interval: draw and return end at 0, their difference does not."""
    amounts = sure_of(notes([10.0, 12.0, 14.0], current_A=[70.0, -50.0, 0.0]))
    assert amounts.sure.drawn.low == amounts.sure.returned.low == 0.0
    assert amounts.sure.net.low < 0


AMPS = st.lists(st.sampled_from([0.0, 2.0, 2.5, 70.0, -20.0, 900 / 12.7]), min_size=2, max_size=30)


@given(AMPS, st.lists(st.integers(0, 100), max_size=5), st.integers(0, 2**31))
def test_notes_may_be_cut_anywhere(amps, cuts, seed):
    """The same interval whether they come at once or one by one."""
    at_s = np.cumsum(np.random.default_rng(seed).integers(1, 5, len(amps)) * 30.0)
    chunk = notes(list(at_s), current_A=amps, voltage_V=12.5)
    assert_same(sure_of(chunk, cuts), sure_of(chunk))


@pytest.mark.parametrize("logs", [80, pytest.param(300, marks=pytest.mark.night)])
@pytest.mark.parametrize("to_the_minute", [True, False])
def test_the_truth_is_covered(to_the_minute, logs):
    """Loads noted when they switch, to the minute shown or within 5 s, off a display of whole amps and its gain."""
    chance, covered = np.random.default_rng(14), 0
    for _ in range(logs):
        changes_s = np.cumsum(chance.uniform(70, 900, int(chance.integers(3, 12))))
        amps = chance.choice([0.0, 2.3, 31.4, 72.8, -18.6], len(changes_s))
        amps[-1] = 0.0
        true_Ah = float((np.maximum(amps[:-1], 0) * np.diff(changes_s)).sum() / 3600)
        shown = np.rint(amps * (1 + chance.uniform(-0.01, 0.01)))
        noted_s = changes_s // 60 * 60 if to_the_minute else np.round(changes_s + chance.uniform(-5, 5, len(amps)), 2)
        drawn = sure_of(notes(list(noted_s), current_A=shown)).sure.drawn
        covered += drawn.low - 1e-9 <= true_Ah <= drawn.high + 1e-9
    assert covered >= binom.ppf(1e-4, logs, 0.95)


# --- starts and stops ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "note", ["pump on", "Pump ON", "on", "switched on again", "pump started", "pump start", "pump on, tap open"]
)
def test_a_note_is_a_start(note):
    """As people write it."""
    assert event_in(note) == "start"


@pytest.mark.parametrize("note", ["pump off", "stopped", "pump stop", "it cuts out", "off again"])
def test_a_note_is_a_stop(note):
    """As people write it."""
    assert event_in(note) == "stop"


@pytest.mark.parametrize(
    "note",
    [
        "tap closed",
        "standing on the bank",
        "pump on and off",
        "pump not on",
        "when the pump stopped",
        "demo started",
        "start",
        "",
    ],
)
def test_a_note_is_neither(note):
    """Nothing is counted that may be something else."""
    assert event_in(note) is None


def runs_of(chunk, texts, cuts=()):
    """The runs by notes at so many seconds."""
    at = [(MINUTES_US + round(at_s * 1e6), text) for at_s, text in texts]
    return fed(NotedRunsFold(CycleFold(NOTED, set(chunk.quantities)), "current_A", at), chunk, cuts).result()


def test_a_run_goes_from_its_note_to_where_its_draw_has_gone():
    """On at 60 s, 70 A read at 120 s over 2 A, gone at 360 s: 5 min, 68 A for the 4 that were read."""
    chunk = notes([0.0, 120.0, 360.0, 500.0], current_A=[2.0, 70.0, 2.0, 2.0])
    (cycle,) = runs_of(chunk, [(60.0, "pump on")]).cycles
    assert (cycle.run_s, cycle.run_A, cycle.complete) == (300.0, 68.0, True)
    assert cycle.charge_Ah == pytest.approx(68 * 240 / 3600)
    assert (cycle.surge_A, cycle.surge_ratio) == (None, None)


def test_a_draw_that_falls_a_little_runs_on():
    """60 A above 10: of them 20 are left at 30 A, 10 at 20 A: gone. A start noted meanwhile is none."""
    chunk = notes([0.0, 100.0, 200.0, 300.0, 400.0], current_A=[10.0, 70.0, 30.0, 20.0, 20.0])
    runs = runs_of(chunk, [(60.0, "pump on"), (250.0, "pump on")])
    assert [cycle.run_s for cycle in runs.cycles] == [240.0]
    assert runs.cycles[0].charge_Ah == pytest.approx((60 * 100 + 20 * 100) / 3600)


def test_a_stop_that_is_noted_ends_a_run_before_the_next_reading():
    """On at 60 s, off at 200 s by the note, 0 A read at 300 s; then another run that has not stopped yet."""
    chunk = notes([0.0, 100.0, 300.0, 450.0], current_A=[0.0, 70.0, 0.0, 71.0])
    runs = runs_of(chunk, [(60.0, "pump on"), (200.0, "pump off"), (400.0, "pump on"), (420.0, "tap open")])
    assert [cycle.run_s for cycle in runs.cycles] == [140.0, None]
    assert [cycle.off_before_s for cycle in runs.cycles] == [None, 200.0]
    assert (runs.summary.count, runs.cycles[1].complete) == (2, False)


def test_without_such_notes_runs_are_those_of_the_readings():
    """Nothing is lost where nobody noted a start."""
    chunk = notes(list(np.arange(40) * 60.0), current_A=np.repeat([2.0, 70.0] * 4, 5))
    alone = fed(CycleFold(NOTED, set(chunk.quantities)), chunk).result()
    assert runs_of(chunk, [(60.0, "tap open")]) == alone


@given(AMPS, st.lists(st.integers(0, 100), max_size=5))
def test_runs_by_notes_may_be_cut_anywhere(amps, cuts):
    """The same runs whether readings come at once or one by one."""
    chunk = notes(list(np.arange(len(amps)) * 60.0), current_A=amps, voltage_V=12.5)
    texts = [(30.0, "pump on"), (200.0, "stopped"), (333.0, "on"), (400.0, "off")]
    assert_same(runs_of(chunk, texts, cuts), runs_of(chunk, texts))


def test_the_summary_is_that_of_the_runs_noted():
    """Two runs of 120 and 60 s in 900 s, 240 s apart: 8 an hour, a fifth of the time."""
    chunk = notes([0.0, 60.0, 180.0, 420.0, 480.0, 900.0], current_A=[0.0, 40.0, 0.0, 40.0, 0.0, 0.0])
    runs = runs_of(chunk, [(60.0, "pump on"), (420.0, "pump on")])
    assert [cycle.run_s for cycle in runs.cycles] == [120.0, 60.0]
    assert runs.summary.starts_per_hour == pytest.approx(8.0)
    assert runs.summary.duty_cycle == pytest.approx(0.2)
    assert (runs.summary.median_run_s, runs.summary.median_off_s) == (90.0, 240.0)
    assert [cycle.charge_Ah for cycle in runs.cycles] == pytest.approx([40 * 120 / 3600, 40 * 60 / 3600])


def test_what_a_line_does_not_tell_stands_on():
    """Watts alone at 120 s: the amps go on; before the first reading nothing stood."""
    gap = float("nan")
    chunk = notes([0.0, 60.0, 120.0, 180.0], current_A=[gap, 40.0, gap, 0.0], power_W=[gap, 500.0, 480.0, 0.0])
    (cycle,) = runs_of(chunk, [(30.0, "pump on")]).cycles
    assert (cycle.run_A, cycle.peak_W, cycle.run_s) == (40.0, 500.0, 150.0)
    assert cycle.charge_Ah == pytest.approx(40 * 120 / 3600)
    assert cycle.energy_Wh == pytest.approx((500 + 480) * 60 / 3600)


def test_a_note_that_is_typed_while_readings_come_counts():
    """As in a capture: readings, the note, more readings."""
    chunk = notes([0.0, 100.0, 300.0], current_A=[0.0, 70.0, 0.0])
    fold = NotedRunsFold(CycleFold(NOTED, set(chunk.quantities)), "current_A")
    fold.add(chunk.part(0, 1))
    assert fold.result().summary.count == 0
    fold.note(MINUTES_US + 60 * MICROSECONDS, "pump on")
    fold.add(chunk.part(1, 3))
    assert fold.result().summary.count == 1


def facts_of(amps, length_s, cuts=()):
    """What is known of notes."""
    sums, at_us = NoteSums(), MINUTES_US + np.arange(len(amps)) * MINUTE_US
    for part in np.split(np.arange(len(amps)), cuts):
        sums.add(at_us[part], np.array(amps)[part], np.array(length_s)[part])
    return sums.result()


def test_facts_of_notes_by_hand():
    """3 A for 60 and 60 s, -2 A for 30 s, nothing for 600 s, 3 A for 10 s: changes 3, -5, 2, 3 and -3 at the end."""
    facts = facts_of([3.0, 3.0, -2.0, 0.0, 3.0], [60.0, 60.0, 30.0, 600.0, 10.0], cuts=(1, 4))
    assert facts.runs2 == {"drawn": 130.0**2, "returned": 30.0**2, "net": 130.0**2 + 30.0**2}
    assert facts.edges2 == {"drawn": 4 * 9.0, "returned": 2 * 4.0, "net": 9 + 25 + 4 + 9 + 9.0}
    assert facts.edges4 == {"drawn": 4 * 81.0, "returned": 2 * 16.0, "net": 81 + 625 + 16 + 81 + 81.0}
    assert (facts.moment_s, facts.digit) == (30.0, 1.0)
    # However little flows, it is drawn or returned.
    facts = facts_of([0.5, -0.25], [60.0, 30.0])
    assert facts.runs2 == {"drawn": 60.0**2, "returned": 30.0**2, "net": 60.0**2 + 30.0**2}


@pytest.mark.parametrize(("x", "digit"), [(0.125, 0.001), (12.25, 0.01), (900.0, 1.0), (0.0625, 0.0), (0.0, 0.0)])
def test_the_last_digit_is_that_of_what_was_written(x, digit):
    """Three decimals at most: what has more was worked out, and nought is no figure."""
    assert facts_of([x], [60.0]).digit == pytest.approx(digit)


# --- as a person meets it --------------------------------------------------------------------------------------------


@pytest.fixture
def asked(tmp_path, capsys):
    """Convert notes and ask a command about them."""

    def ask(text, *words):
        export, log = tmp_path / "notes.txt", tmp_path / "log.parquet"
        export.write_text(text, encoding="utf-8")
        assert run(["convert", str(export), "--profile", "hand", "--zone", "UTC", "--out", str(log), "--force"]) == 0
        capsys.readouterr()
        assert run([words[0], str(log), *words[1:]]) == 0
        return capsys.readouterr().out

    return ask


GARDEN = "2026-06-13\n10:00 3 A 25.1 V\n10:02 800 W\n10:05 off\n10:30 pump on\n10:31 32 A\n10:36 off\n"


def test_notes_are_told_with_their_own_interval(asked):
    """3 A for 2 min, 800 W at 25.1 V for 3, 32 A for 5: 4.36 Ah, to the digit its interval allows."""
    text = asked(GARDEN, "charge")
    drawn = json.loads(asked(GARDEN, "charge", "--json"))["charge"]
    assert drawn["drawn_Ah"] == pytest.approx((3 * 120 + 800 / 25.1 * 180 + 32 * 300) / 3600)
    assert 0.2 < drawn["drawn_u95_Ah"] < 1.5
    assert drawn["drawn_low_Ah"] > 2
    assert "4.4 Ah ± 0." in text
    assert "by the notes" in text
    assert "1 start noted: pump on at 10:30:00" in re.sub("[\u2066-\u2069]", "", text)
    assert "noise" not in text


def test_the_run_that_was_noted_is_counted(asked):
    """`cycles` says 1 run, and no surge."""
    assert " in 1 run." in asked(GARDEN, "cycles")
    document = json.loads(asked(GARDEN, "cycles", "--json"))
    assert document["summary"]["count"] == 1
    (cycle,) = document["cycles"]
    assert (cycle["run_s"], cycle["run_A"], cycle["surge_A"], cycle["surge_resolved"]) == (360.0, 32.0, None, False)
    assert cycle["charge_Ah"] == pytest.approx(32 * 300 / 3600)


@pytest.mark.parametrize(
    ("x", "u95", "text"),
    [(7.1, 80.0, "7.1 Ah ± 80"), (-7.1, 80.0, "−7.1 Ah ± 80"), (60.0, 80.0, "60 Ah ± 80"), (0.02, 0.6, "0.0 Ah ± 0.6")],
)
def test_no_figure_is_rounded_up_to_another(x, u95, text):
    """7.1 is never shown as 10; what is small beside its interval may be shown as nought."""
    assert plus_minus(x, u95, "Ah") == text
