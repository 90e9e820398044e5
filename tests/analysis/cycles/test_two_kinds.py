"""Runs of two loads of like draw: told apart by draw, fall, start and length, or said not to be; one load stays one."""

from dataclasses import replace

import numpy as np
import pytest
from load_scenes import Load, Scene, cycles_of, evenly
from readings import T0_US, US, chunk_of

from shuntbook.analysis.health.hardly_seen import hardly_seen
from shuntbook.analysis.health.health import health_of
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.nameplate.measured_chain import run_totals
from shuntbook.analysis.not_known import Refusal

DAY_S = 86400.0


def runs_at(count, run_s, *, first_s=200.0, span_s=DAY_S, seed=1):
    """So many runs over a day, each of a length from a range; every start in a slot of its own."""
    rng = np.random.default_rng(seed)
    slot_s = (span_s - first_s) / count
    starts = first_s + slot_s * (np.arange(count) + rng.uniform(0, 0.5, count))
    return [(start, start + length) for start, length in zip(starts, rng.uniform(*run_s, count), strict=True)]


def drawn_W(time_s, runs, begin_W, *, falls=0.0, surge=1.0):
    """A load that begins at some watts and falls by a share until it stops, with a start that dies away at once."""
    total = np.zeros_like(time_s)
    for start, stop in runs:
        since = time_s - start
        on = (time_s >= start) & (time_s < stop)
        shape = 1 - falls * since / (stop - start) + (surge - 1) * np.exp(-((np.maximum(since, 0) / 0.6) ** 3))
        total += np.where(on, begin_W * shape, 0.0)
    return total


def log_of(*loads, every_s=1.0, span_s=DAY_S):
    """Amps and volts at a bank that carries these loads and 30 W."""
    time_s = np.arange(every_s, span_s, every_s)
    watts = 30.0 + sum(drawn_W(time_s, *load[:2], **load[2]) for load in loads)
    true_A = (25.2 - np.sqrt(25.2**2 - 4 * 0.02 * watts)) / (2 * 0.02)  # the same watts, however far the volts fall
    amps = np.round(true_A + np.random.default_rng(9).normal(0, 0.03, len(watts)), 2)
    return chunk_of(time_s, current_A=amps, voltage_V=np.round(25.2 - 0.02 * true_A, 2))


PUMP = {"falls": 0.06, "surge": 4.0}


def codes_of(cycles):
    """What was judged, and what came of it."""
    return {check.code: check.outcome for check in health_of(cycles, limits_for(None, None), 1.0).checks}


def clear_of(runs, others):
    """Those runs that no other comes near."""
    return [(a, b) for a, b in runs if all(b + 30 < c or a - 30 > d for c, d in others)]


@pytest.mark.parametrize(
    ("like", "surge"),
    [(1.0, 4.0), (0.94, 1.0)]
    + [pytest.param(*each, marks=pytest.mark.night) for each in ((1.0, 1.0), (0.97, 1.0), (0.97, 4.0), (0.94, 4.0))],
)
def test_an_appliance_of_like_draw_is_no_short_cycling(like, surge):
    """120 times 45 s beside a pump of a dozen runs, whose draw falls as the pressure rises: the pump's alone count."""
    short = runs_at(120, (38, 52))
    pump = clear_of(runs_at(14, (75, 110), first_s=900.0, seed=3), short)
    cycles = cycles_of(log_of((pump, 770.0, PUMP | {"surge": surge}), (short, 770.0 * like, {})))
    assert cycles.two_kinds is not None
    own = cycles.two_kinds.kinds[cycles.two_kinds.own]
    assert own.count == len(pump)
    assert own.falls == pytest.approx(0.06, abs=0.01)
    starts_s = [(cycle.start_us - T0_US) / US for cycle in cycles.cycles]
    np.testing.assert_allclose(starts_s, [a for a, _ in pump], atol=1.0)
    assert cycles.summary.other_runs == len(short)
    assert "found" not in codes_of(cycles).values()


def test_runs_during_which_the_other_ran_as_well_are_the_loads_too():
    """What overlaps is found again once both are known, so that the pump's total is whole."""
    short = runs_at(120, (38, 52))
    pump = [*clear_of(runs_at(12, (75, 110), first_s=900.0, seed=3), short), (short[60][0] + 20, short[60][0] + 100)]
    cycles = cycles_of(log_of((sorted(pump), 800.0, PUMP), (short, 770.0, {})))
    starts_s = [(cycle.start_us - T0_US) / US for cycle in cycles.cycles]
    np.testing.assert_allclose(starts_s, [a for a, _ in sorted(pump)], atol=1.0)


def test_one_pump_in_every_use_is_one_kind():
    """Household runs, hours of watering, then a tank without air: it begins and ends each run alike."""
    household = runs_at(25, (70, 180), span_s=40_000.0)
    watering = [(42_000.0, 52_000.0), (53_000.0, 60_000.0)]
    without_air = runs_at(150, (9, 14), first_s=61_000.0)
    cycles = cycles_of(log_of((household + watering + without_air, 770.0, PUMP)))
    assert cycles.two_kinds is None
    assert cycles.summary.count == 177
    assert codes_of(cycles)["short_cycling"] == "found"


def test_short_and_long_runs_of_one_pump_by_turns_are_one_kind():
    """A tank that has lost half its air, with and without a tap open: short runs must not be taken for another load."""
    runs = sorted([*runs_at(100, (20, 30)), *runs_at(100, (90, 140), first_s=500.0, seed=2)])
    apart = [run for k, run in enumerate(runs) if not k or run[0] > runs[k - 1][1] + 20]
    cycles = cycles_of(log_of((apart, 770.0, PUMP)))
    assert cycles.two_kinds is None


def test_a_pump_that_has_aged_or_was_mended_is_one_kind():
    """The draw is 6 % higher from some day on, and the runs are shorter: one after the other, not by turns."""
    before, after = runs_at(40, (70, 110), span_s=40_000.0), runs_at(40, (40, 60), first_s=42_000.0)
    cycles = cycles_of(log_of((before, 720.0, PUMP), (after, 770.0, PUMP)))
    assert cycles.summary.count == 80
    assert cycles.two_kinds is None


def test_where_nothing_tells_which_kind_is_the_loads_neither_is_judged():
    """Two heaters of 700 and 740 W, 40 s and 2 min: no start, no fall. No total is set beside a plate."""
    short = runs_at(120, (35, 45))
    long = clear_of(runs_at(40, (110, 140), first_s=900.0, seed=3), short)
    cycles = cycles_of(log_of((short, 740.0, {}), (long, 690.0, {})))
    assert cycles.two_kinds is not None
    assert cycles.two_kinds.own is None
    assert {kind.count for kind in cycles.two_kinds.kinds} == {len(short), len(long)}
    codes = codes_of(cycles)
    for code in ("short_cycling", "air_charge_lost", "leak_down", "prime_lost", "never_cuts_out", "draw_drift"):
        assert codes[code] == "not judged", code
    with pytest.raises(Refusal, match="two kinds of runs"):
        run_totals(cycles)


@pytest.mark.parametrize("surge", [1.0, 4.0])
def test_a_compressor_that_runs_longer_after_each_thaw_is_one_kind(surge):
    """Every eighth run takes twice as long and begins lower: both fall and start as motors do."""
    runs = runs_at(64, (270, 290))
    usual, after = [run for k, run in enumerate(runs) if k % 8], [(a, a + 650.0) for a, _ in runs[::8]]
    cycles = cycles_of(
        log_of((usual, 230.0, {"falls": 0.25, "surge": surge}), (after, 195.0, {"falls": 0.2, "surge": surge}))
    )
    assert cycles.two_kinds is None
    assert cycles.summary.count == 64


def test_where_begins_waver_the_ends_tell_the_kinds():
    """Draws of 340 and 346 W at the start, blurred by some percent, and of 325 and 346 W at the end: pump and timer."""
    rng = np.random.default_rng(11)
    timer = runs_at(36, (352, 376))
    pump = clear_of(runs_at(34, (75, 200), first_s=900.0, seed=3), timer)
    loads = [
        ([run], begin_W * blurred, {"falls": 1 - end_W / begin_W / blurred})
        for runs, begin_W, end_W in ((pump, 340.0, 325.0), (timer, 346.0, 346.0))
        for run, blurred in zip(runs, 1 + 0.02 * rng.uniform(-1, 1, len(runs)), strict=True)
    ]
    cycles = cycles_of(log_of(*loads, every_s=2.0), 2.0)
    assert cycles.two_kinds is not None
    assert cycles.two_kinds.own is not None
    assert cycles.summary.count == len(pump)


def test_a_few_odd_runs_are_no_kind():
    """Two of fifty drew more, as when another load starts in the same second."""
    runs = runs_at(50, (40, 55))
    cycles = cycles_of(log_of((runs, 770.0, PUMP), (runs[10:11] + runs[30:31], 60.0, {})))
    assert cycles.two_kinds is None
    assert codes_of(cycles)["short_cycling"] == "found"


def test_a_short_run_of_another_load_is_no_start_that_failed():
    """A compressor of 12 A that starts at six times that and runs for 8 s beside a pump of 30 A: it did not stall."""
    brief = evenly(150.0, 8.0, 292.0, 12)
    scene = Scene(
        Load(30.0, evenly(40.0, 80.0, 220.0, 12), surge=3.0),
        every_s=0.5,
        others=[Load(12.0, brief, surge=6.0, surge_s=0.7)],
    )
    cycles = cycles_of(scene.chunk(), 0.5)
    assert cycles.summary.count == 12
    assert cycles.attempts == ()


def test_rises_do_not_tell_two_kinds_apart():
    """At 2 s: 30 short runs an hour of an appliance beside a few of the pump's are none of the pump's starts."""
    short = runs_at(720, (38, 52))
    pump = clear_of(runs_at(400, (35, 35), first_s=900.0, seed=3), short)
    cycles = cycles_of(log_of((pump, 800.0, PUMP), (short, 770.0, {}), every_s=2.0), 2.0)
    assert cycles.two_kinds is not None
    assert cycles.summary.count == len(pump)
    assert hardly_seen(Runs(cycles, 2.0)) is None
    assert hardly_seen(Runs(replace(cycles, two_kinds=None), 2.0)).most > 20


@pytest.mark.parametrize("every_s", [5.0, 10.0])
def test_readings_some_seconds_apart_tell_the_kinds_too(every_s):
    """Four readings of a run of 45 s: enough to see that its draw stays."""
    short = runs_at(120, (42, 55))
    pump = clear_of(runs_at(16, (80, 110), first_s=900.0, seed=3), short)
    cycles = cycles_of(log_of((pump, 800.0, PUMP | {"surge": 1.0}), (short, 770.0, {}), every_s=every_s), every_s)
    assert cycles.two_kinds is not None
    starts_s = [(cycle.start_us - T0_US) / US for cycle in cycles.cycles]
    np.testing.assert_allclose(starts_s, [a for a, _ in pump], atol=every_s)
    assert codes_of(cycles)["short_cycling"] != "found"
