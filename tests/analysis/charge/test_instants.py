"""Instants in step with what they read: an inverter's ripple, and loads that switch; and where nothing is."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from quality_logs import changed, codes, grades, looked
from readings import charge_of, chunk_of, fed, how

from shuntbook.analysis.charge.instants import Instants, InstantsFold, looked_at
from shuntbook.analysis.charge.ripple import Ripple
from shuntbook.analysis.cycles.in_step import InStep
from shuntbook.analysis.readings.blocks import BLOCK
from shuntbook.analysis.readings.windows import WINDOW, Windows
from shuntbook.analysis.sureness.amount_intervals import with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED

HOUR_S = 3600


def pump_log(seed, *, amplitude=0.0, beat_Hz=None, every_s=1.0, hours=3.0, noise_pct=0.3, phase_sd=None):
    """A pump of 40 A that runs for two minutes in seven, over a base of 1 A; and what it truly drew. [A s].

    The ripple of its inverter goes by with `beat_Hz`; without, each reading falls anywhere on it, or `phase_sd` about
    one point of it.
    """
    rng = np.random.default_rng(seed)
    time_s = np.arange(0, hours * HOUR_S, every_s)
    pump_A = 40.0 * (time_s % 430 < 120)
    phase = 2 * np.pi * ((beat_Hz or 0.0) * time_s + rng.uniform())
    if beat_Hz is None:
        phase = phase + (
            rng.uniform(0, 2 * np.pi, len(time_s)) if phase_sd is None else rng.normal(0, phase_sd, len(time_s))
        )
    current_A = 1.0 + pump_A * (1 + amplitude * np.cos(phase))
    current_A = current_A * (1 + rng.normal(0, noise_pct / 100, len(time_s))) + rng.normal(0, 0.02, len(time_s))
    voltage_V = 25.2 - 0.012 * current_A + rng.normal(0, 0.004, len(time_s))
    chunk = chunk_of(time_s, current_A=np.round(current_A, 2), voltage_V=np.round(voltage_V, 2))
    return chunk, float(np.trapezoid(1.0 + pump_A, time_s))


def seen_in(chunk):
    """What instants show of a log."""
    return fed(InstantsFold("current_A", 50.0), chunk).result()


@pytest.mark.parametrize(("rows", "columns"), [(3, 64), (1, 100), (1, 16), (1, 15)])
def test_windows_hold_sixteen_readings_of_one_block(rows, columns):
    """Reading by reading: none over a border, what fills none left out; a change over a gap is infinite."""
    rng = np.random.default_rng(rows * columns)
    x = rng.normal(0, 3, (rows, columns))
    time_us = np.cumsum(rng.choice([1, 1, 1, 1, 60], x.size)).reshape(x.shape) * 1_000_000
    in_windows = Windows.of(x, time_us, 10.0)
    windows, jumps = in_windows.values, in_windows.jumps
    for row in range(rows):
        for k in range(columns // WINDOW * WINDOW):
            at = k % WINDOW, row * (columns // WINDOW) + k // WINDOW
            assert windows[at] == x[row, k]
            is_gap = k > 0 and time_us[row, k] - time_us[row, k - 1] > 10_000_000
            assert jumps[at] == (np.inf if is_gap else abs(x[row, k] - x[row, k - 1]) if k else 0.0)
    assert windows.shape == jumps.shape == (WINDOW, rows * (columns // WINDOW))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("amplitude", [0.35, 0.6, 1.0])
@pytest.mark.parametrize("beat_Hz", [None, 0.001, 0.01, 0.1, 0.37])
def test_a_ripple_is_seen_and_its_interval_holds_the_truth(seed, amplitude, beat_Hz):
    """From a third of the draw to all of it; scattered, or beating in seconds to minutes; the truth is inside."""
    chunk, true_As = pump_log(seed, amplitude=amplitude, beat_Hz=beat_Hz)
    instants = seen_in(chunk)
    assert instants.in_step is None
    assert instants.ripple is not None
    assert instants.ripple.slow is (beat_Hz == 0.001) or beat_Hz == 0.01
    drawn = with_intervals(charge_of(chunk), NOTHING_STATED).charge.sure.drawn
    assert drawn.low <= true_As / HOUR_S <= drawn.high
    assert "ripple" in {part.source for part in drawn.components}


@pytest.mark.parametrize("seed", range(3))
def test_phases_that_hardly_vary_may_be_off_by_more(seed):
    """Instants that jitter by a tenth of a wave stay on one side of it: the mean is off by much, and may be."""
    chunk, true_As = pump_log(seed, amplitude=0.6, phase_sd=0.63)
    instants = seen_in(chunk).ripple
    assert instants.slow
    drawn = with_intervals(charge_of(chunk), NOTHING_STATED).charge.sure.drawn
    assert drawn.low <= true_As / HOUR_S <= drawn.high


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("noise_pct", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("every_s", [0.1, 1.0, 10.0])
def test_a_meters_own_noise_is_none(seed, noise_pct, every_s):
    """In proportion to the reading, up to the usual 1 % of it."""
    instants = seen_in(pump_log(seed, noise_pct=noise_pct, every_s=every_s, hours=3 * max(every_s, 0.3))[0])
    assert (instants.ripple, instants.in_step) == (None, None)


@pytest.mark.parametrize("seed", range(5))
def test_loads_that_truly_change_are_none(seed):
    """A draw that falls by a fifth while it runs; one that wanders by 1 %; noise that is the same at rest; sun."""
    rng = np.random.default_rng(seed)
    chunk = pump_log(seed)[0]
    x, time_s = chunk.quantities["current_A"], np.arange(len(chunk))
    wander = np.convolve(rng.normal(0, 1, len(x)), np.ones(50) / np.sqrt(50), "same")
    sun_A = 15 * (1.2 + np.sin(time_s / 40) + np.sin(time_s / 97))
    for other in (
        np.where(x > 20, x * (1 - 0.2 * (time_s % 430) / 120), x),
        np.where(x > 20, x * (1 + 0.01 * wander), x),
        x + rng.normal(0, 2.0, len(x)),
        x - sun_A,
    ):
        assert seen_in(changed(chunk, current_A=other)).ripple is None


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("period_s", "every_s"), [(10.0, 5.0), (10.0, 1.0), (30.0, 10.0), (20.0, 5.0)])
def test_a_load_in_step_is_seen(seed, period_s, every_s):
    """A heater on for half of its period, a whole number of readings; its truth is inside the interval."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0, 3 * HOUR_S, every_s)
    share = rng.uniform(0.4, 0.6)
    on = (time_s + rng.uniform(0, period_s)) % period_s < share * period_s
    chunk = chunk_of(time_s, current_A=np.round(2 + 20.0 * on + rng.normal(0, 0.02, len(on)), 2), voltage_V=25.0)
    instants = seen_in(chunk)
    assert instants.in_step is not None or len(set(on)) == 1  # two readings a period may both find it on
    drawn = with_intervals(charge_of(chunk, how(gap_limit_s=50)), NOTHING_STATED).charge.sure.drawn
    assert instants.in_step is None or drawn.low <= (2 + 20 * share) * time_s[-1] / HOUR_S <= drawn.high
    assert instants.in_step is None or instants.in_step.readings == period_s / every_s


def test_a_load_that_drifts_past_the_readings_is_not_in_step():
    """Runs of chance lengths, a few readings long."""
    rng = np.random.default_rng(3)
    on = np.repeat(np.arange(3000) % 2, rng.integers(2, 12, 3000))
    assert seen_in(chunk_of(np.arange(len(on)), current_A=2 + 20.0 * on)).in_step is None


def alternating(count, *, low_A=2.0, high_A=22.0, gap_after=None, gap_s=60.0):
    """A load read on and off in turn, every second; each so many readings there may be a gap."""
    k = np.arange(count)
    return chunk_of(k + (gap_s * (k // gap_after) if gap_after else 0.0), current_A=np.where(k % 2, high_A, low_A))


def test_how_much_must_repeat_to_be_in_step():
    """Four times 64 readings without a gap, by 2 % of the draw, and on the whole drawn: as `in_step` states."""
    assert seen_in(alternating(256)).in_step == InStep(2, pytest.approx(20.0 / 12.0 / 2))
    assert seen_in(alternating(255)).in_step is None
    assert seen_in(alternating(2560, gap_after=50)).in_step is None
    # Two levels scatter by half of what lies between them.
    assert seen_in(alternating(2560, low_A=40.0, high_A=42.0)).in_step is not None
    assert seen_in(alternating(2560, low_A=40.0, high_A=41.4)).in_step is None
    assert seen_in(alternating(2560, low_A=-20.0, high_A=20.0)).in_step is None


@pytest.mark.parametrize(("amplitude", "seen"), [(0.9, True), (1.25, False)])
def test_no_more_than_all_of_the_draw_pulses(amplitude, seen):
    """What goes far below nought is a battery that is charged, too."""
    phase = np.random.default_rng(1).uniform(0, 2 * np.pi, 8000)
    chunk = chunk_of(np.arange(8000.0), current_A=40.0 * (1 + amplitude * np.cos(phase)))
    assert (seen_in(chunk).ripple is not None) is seen


def test_what_only_a_small_draw_shows_is_no_ripple():
    """A ripple is a share of the draw: what 40 A do not show, 2 A between them do not have."""
    time_s = np.arange(0, 3 * HOUR_S, 1.0)
    small_A = 2.0 * (1 + 0.5 * np.cos(np.random.default_rng(1).uniform(0, 2 * np.pi, len(time_s))))
    assert seen_in(chunk_of(time_s, current_A=np.where(time_s % 1000 < 300, 40.0, small_A))).ripple is None


@pytest.mark.parametrize(("windows", "seen"), [(6, True), (5, False)])
def test_a_few_still_windows_of_a_small_draw_tell_a_ripple_from_noise(windows, seen):
    """A meter's noise is the same in both; six windows of sixteen readings must show it."""
    amps = 40.0 * (1 + 0.6 * np.cos(np.random.default_rng(1).normal(0, 0.63, 4 * BLOCK)))
    amps[: windows * WINDOW] = 1.0
    assert (seen_in(chunk_of(np.arange(len(amps)), current_A=amps)).ripple is not None) is seen


@pytest.mark.parametrize("hours", [1, 4, 64])
def test_whole_waves_average_out_over_time(hours):
    """A steady draw whose ripple goes by in 31.3 s: as a share, by the root of the waves there were, within twice."""
    time_s = np.arange(0, hours * HOUR_S, 1.0)
    ripple = seen_in(chunk_of(time_s, current_A=40.0 * (1 + 0.5 * np.cos(2 * np.pi * time_s / 31.3)))).ripple
    assert (ripple.slow, ripple.scatters) == (False, False)
    assert ripple.amplitude == pytest.approx(0.5, rel=0.1)
    by_chance = 0.5 / sqrt(2) * sqrt(31.3 / len(time_s))
    assert by_chance / 2 < ripple.share < 2 * by_chance


@pytest.mark.parametrize("size", [100, 700])
@pytest.mark.parametrize("chunk", [pump_log(1, amplitude=0.5)[0], alternating(20 * BLOCK)])
def test_readings_that_come_few_by_few_show_the_same(chunk, size):
    """Blocks that fill up one by one wait until they are many."""
    whole = seen_in(chunk)
    few = fed(InstantsFold("current_A", 50.0), chunk, range(size, len(chunk), size)).result()
    assert whole.ripple or whole.in_step
    for name in ("ripple", "in_step"):
        a, b = getattr(whole, name), getattr(few, name)
        assert (vars(a) if a else a) == (pytest.approx(vars(b)) if b else b)


def test_what_they_make_of_an_amount():
    """Of 50 Ah no more than 55 % is symmetrical; what goes beyond lies above, to 0.95 of an even distribution's end."""
    ripple, in_step = Ripple(2.0, 0.8, slow=True, scatters=True), InStep(3, 0.3)
    first, second = Instants(ripple, in_step).components(50.0)
    assert (first.u, first.even) == (pytest.approx(27.5), 1.0)
    assert (second.u, second.even) == (pytest.approx(50.0 * 0.3 / sqrt(3)), 1.0)
    assert "every 3 readings" in second.reason
    assert Instants(ripple, in_step).beyond(50.0) == pytest.approx(0.95 * sqrt(3) * 50.0 * 0.25)
    (many,) = Instants(Ripple(0.5, 0.1, slow=False, scatters=False), None).components(50.0)
    assert (many.u, many.even) == (pytest.approx(5.0), 0.0)
    for none in (Instants(None, None), Instants(None, in_step)):
        assert none.beyond(50.0) == 0.0


def test_where_nothing_is_looked_at():
    """Means, readings by eye, and RMS values behind an inverter; watts stand in for amps."""
    assert looked_at("dc", "instant", {"current_A", "power_W"}) == "current_A"
    assert looked_at("dc", "instant", {"power_W"}) == "power_W"
    assert looked_at("dc", "instant", {"voltage_V"}) is None
    assert looked_at("dc", "mean", {"current_A"}) is None
    assert looked_at("dc", "held", {"current_A"}) is None
    assert looked_at("ac", "instant", {"power_W"}) is None


def test_quality_doubts_ah_with_a_ripple():
    """With care, in plain words; nothing of the kind without it."""
    quality, verdict = looked(pump_log(1, amplitude=0.5)[0])
    assert codes(quality) == {"ripple"}
    assert grades(verdict)[0] == "with care"
    assert codes(looked(pump_log(1)[0])[0]) == set()


def test_look_says_what_it_may_be(look):
    """A slow beat, and a load in step: what it is, and what to do."""
    lines, document = look(pump_log(2, amplitude=0.5, beat_Hz=0.001)[0])
    (line,) = [line for line in lines if line.startswith("check:")]
    assert "goes slowly up and down" in line
    assert line.endswith("a meter must average over the ripple")
    assert document["verdict"]["amounts"]["grade"] == "with care"
