"""What is told of runs, from levels put down by hand: figures, failed starts, others' steps, the array's share."""

import math
from array import array
from dataclasses import replace

import numpy as np
import pytest
from readings import US, how

from shuntbook.analysis.cycles.choose_load import LoadSteps
from shuntbook.analysis.cycles.cycle_figures import (
    at_regulation,
    brief_cycle,
    may_share,
    prompt_ohm,
    regulation_V,
    with_brief,
)
from shuntbook.analysis.cycles.cycle_figures import cycle_of as cycle_told
from shuntbook.analysis.cycles.failed_starts import attempts_of, without_failed
from shuntbook.analysis.cycles.on_off_path import RunLevels
from shuntbook.analysis.cycles.run_figures import Coincidence, SeenRun, coincidences, seen
from shuntbook.analysis.signal_levels.level_record import Burst, LevelList, LevelRecord

NAN = math.nan


def levels(*rows, spacing_s=2.0):
    """Levels of so many seconds each, a spacing apart: (length, amps, volts), and what else is to be said of one."""
    made, at_s, sums = [], 0.0, {"current_A": 0.0, "power_W": 0.0}
    for length_s, current_A, voltage_V, *more in rows:
        x = {"current_A": float(current_A), "voltage_V": float(voltage_V), "power_W": float(current_A * voltage_V)}
        if made:
            for name in sums:
                sums[name] += (made[-1].last[name] + x[name]) / 2 * spacing_s
        first = dict(sums)
        sums = {name: total + x[name] * length_s for name, total in sums.items()}
        at_us = round(at_s * US)
        level = LevelRecord(
            start_us=at_us - spacing_s * US / 2 if made else float(at_us),
            spacing_s=spacing_s if made else 0.0,
            left_us=at_us - spacing_s * US / 2 if made else float(at_us),
            left_s=spacing_s if made else 0.0,
            reached_us=at_us - spacing_s * US / 2 if made else float(at_us),
            reached_s=spacing_s if made else 0.0,
            first_us=at_us,
            last_us=at_us + round(length_s * US),
            after_gap=not made,
            least=0.5,
            first=x,
            last=x,
            usual=x,
            peak={name: x[name] for name in sums},
            lowest_V=x["voltage_V"],
            highest_W=x["power_W"],
            sums_first=first,
            sums_last=dict(sums),
            burst=None,
        )
        made.append(replace(level, **(more[0] if more else {})))
        at_s += length_s + spacing_s
    return LevelList("current_A", made)


def cycle_of(seen_run, how_read):
    """A run's figures, of no load in particular, whatever came before it."""
    return cycle_told(seen_run, how_read, None, None)


def run(of, start, stop, others=(), **more):
    """A run among levels."""
    return SeenRun(of, start, stop, (stop or len(of)) - 1, list(others), **more)


# --- the array's share ----------------------------------------------------------------------------------------------


def test_the_bank_is_held_at_the_highest_voltage_of_its_charging():
    """Levels while it gives, or nothing flows, or volts are unknown, do not count."""
    made = levels((9, -5, 28.0), (9, -3, 28.8), (9, 0, 29.5), (9, 4, 30.0), (9, -1, NAN))
    assert regulation_V(made) == 28.8
    assert math.isnan(regulation_V(levels((9, 0, 29.5), (9, 4, 30.0))))
    assert math.isnan(regulation_V(LevelList("current_A", [])))


def test_a_step_is_made_at_regulation_if_the_bank_was_held_there_before():
    """Within 1 % of 28.8 V, 28.512 V, and charged; the first level has nothing before it."""
    made = levels((9, -3, 28.8), (9, -3, 28.52), (9, -3, 28.5), (9, 0, 28.7), (9, -0.5, 28.8), (9, 0, 20))
    assert at_regulation(made) == [False, True, True, False, False, True]
    assert at_regulation(levels((9, 3, 28.8), (9, 4, 28.8))) == [False, False]


@pytest.mark.parametrize(
    ("before", "running", "after", "shared"),
    [
        ((-4, 28.8), (16, 28.7), (-4, 28.8), True),  # 20 A at 10 mohm would be 0.2 V; 0.1 V is half, 0.09 V is less
        ((-4, 28.8), (16, 28.6), (-4, 28.8), False),  # the volts fell as they do on the bank alone
        ((-4, 28.8), (16, 28.6), (-7, 28.8), True),  # afterwards the bank takes 3 A more: over a tenth of 20 A
        ((-4, 28.8), (16, 28.6), (-5, 28.8), False),  # 1 A more: less than a tenth
        ((0, 28.8), (20, 28.79), (0, 28.8), False),  # nothing went into the bank
        ((4, 28.8), (24, 28.79), (4, 28.8), False),  # the bank gave already
        ((-4, 0.99 * 28.8), (16, 28.5), (-9, 28.5), True),  # just 1 % below it
        ((-4, 28.0), (16, 27.99), (-9, 28.0), False),  # more than 1 % below the regulation voltage: still filling
    ],
)
def test_when_the_array_may_have_given_part_of_a_run(before, running, after, shared):
    """By hand, for a bank held at 28.8 V whose volts fall by 10 mohm x the amps in runs on the bank alone."""
    made = levels((99, *before), (99, *running), (99, *after))
    top_V, ohm = 28.8, 0.0101
    assert may_share(run(made, 1, 2), top_V, ohm) is shared
    assert not may_share(run(made, 1, 2), NAN, ohm)
    held = levels((99, -4, 28.8), (99, 16, 28.79))
    assert not may_share(run(held, 1, None), 28.8, NAN)  # no end and no resistance to judge by


def test_how_far_the_volts_fall_at_starts_on_the_bank_alone():
    """10, 12 and 30 mohm: the middle; starts while the bank is charged or not seen in volts are left out."""
    made = levels(
        (9, 2, 26), (9, 22, 25.8), (9, 2, 26), (9, 22, 25.76), (9, 2, 26), (9, 22, 25.4), (9, -2, 28), (9, 18, 20)
    )
    runs = [run(made, start, None) for start in (1, 3, 5, 7)]
    assert prompt_ohm(runs) == pytest.approx(0.012)
    assert prompt_ohm(runs[:2]) == pytest.approx(0.012)  # the upper of two
    unseen = levels((9, 2, NAN), (9, 22, NAN))
    assert math.isnan(prompt_ohm([run(unseen, 1, None)]))
    assert math.isnan(prompt_ohm(runs[3:]))
    assert prompt_ohm([run(levels((9, 0.5, 26), (9, 1.0, 25.99)), 1, None)]) == pytest.approx(0.02)


# --- starts that failed ---------------------------------------------------------------------------------------------


def load(up, *runs):
    """A load of this draw with these runs."""
    return LoadSteps(up, up, 0.25, tuple(RunLevels(a, b) for a, b in runs))


def at_us(*seconds):
    """Instants."""
    return np.array(seconds, dtype=float) * US


@pytest.mark.parametrize(
    ("draw", "lasts_s", "then_s", "fails"),
    [
        (100.0, 2.0, 60.0, True),
        (100.0, 2.0, 178.0, True),  # within 180 s of its beginning
        (100.0, 2.0, 179.0, False),
        (100.0, 10.0, 60.0, True),  # a protection of class 10 trips by then
        (100.0, 10.5, 60.0, False),
        (26.1, 2.0, 60.0, True),  # 1.3 to 10 times the draw of 20 A
        (26.0, 2.0, 60.0, False),
        (199.0, 2.0, 60.0, True),
        (200.0, 2.0, 60.0, False),
    ],
)
def test_a_load_that_is_another_ones_failed_starts(draw, lasts_s, then_s, fails):
    """Brief, 1.3 to 10 times its draw, and followed soon by its start."""
    when = at_us(0, 100, 100 + lasts_s, 100 + lasts_s + then_s, 1000, 1001)
    loads = [load(draw, (1, 2)), load(20.0, (3, 4))]
    assert without_failed(loads, when) == (loads[1:] if fails else loads)


def test_half_of_the_failed_starts_must_be_followed_and_runs_be_longer():
    """One of two is enough; none is not; and a load that runs no longer than three times as long is another load."""
    when = at_us(0, 100, 102, 150, 400, 1000, 1002, 2000)
    pump = load(20.0, (3, 4))
    assert without_failed([load(100.0, (1, 2), (5, 6)), pump], when) == [pump]
    late = load(100.0, (5, 6))
    assert without_failed([late, pump], when) == [late, pump]
    brief = at_us(0, 100, 102, 150, 155.9, 156.1)
    for stop, count in ((4, 2), (5, 1)):  # 5.9 s and 6.1 s
        assert len(without_failed([load(100.0, (1, 2)), load(20.0, (3, stop))], brief)) == count
    # A load that is still on lasts to the log's end.
    assert len(without_failed([load(100.0, (1, 2)), load(20.0, (3, None))], brief)) == 1


def bursting(peak_A, readings=4, sag_V=0.8, at_s=120.0):
    """What stood out for 2 s."""
    burst = Burst(at_s * US, (at_s + 2) * US, readings, {"current_A": peak_A, "power_W": 24 * peak_A}, sag_V)
    return {"burst": burst}


PUMP = [(50, 2, 25), (50, 22, 24.8), (50, 2, 25)]  # 20 A, and 0.2 V for them: 10 mohm


@pytest.mark.parametrize(
    ("burst", "is_one"),
    [
        (bursting(80.0), True),  # 0.8 V: what 80 A make the volts fall
        (bursting(80.0, sag_V=0.25), True),  # 0.3 of that is enough
        (bursting(80.0, sag_V=0.23), False),
        (bursting(80.0, readings=2), True),  # two readings, with the volts
        (bursting(80.0, readings=1), False),
        (bursting(80.0, readings=2, sag_V=NAN), False),  # without volts three are needed
        (bursting(80.0, readings=3, sag_V=NAN), True),
        (bursting(27.0), True),  # 1.3 to 10 times 20 A
        (bursting(25.9), False),
        (bursting(199.0, sag_V=2.0), True),
        (bursting(201.0, sag_V=2.0), False),
        (bursting(80.0, at_s=40.0), True),  # before it ever ran
        (bursting(80.0, at_s=75.0), False),  # while the pump runs
        (bursting(80.0, at_s=102.9), False),
        (bursting(80.0, at_s=103.0), True),  # the moment it has stopped, midway between two readings
    ],
)
def test_what_stands_out_between_two_levels_may_be_a_failed_start(burst, is_one):
    """Of a pump of 20 A that starts at 51 s and stops at 103 s."""
    made = levels(*PUMP[:2], (50, 2, 25, burst))
    attempts = attempts_of(made, [run(made, 1, 2)], None)
    assert len(attempts) == is_one
    for attempt in attempts:
        assert (attempt.start_us, attempt.lasted_s) == (burst["burst"].start_us, 2.0)
        assert (attempt.peak_A, attempt.peak_W) == (burst["burst"].peak["current_A"], burst["burst"].peak["power_W"])


@pytest.mark.parametrize(("stays_A", "count"), [(-20.0, 1), (4.9, 1), (5.1, 0)])
def test_a_start_after_which_the_load_goes_on_has_not_failed(stays_A, count):
    """The surge of a pump of 20 A, of which the array gives three quarters once it runs."""
    made = levels(*PUMP[:2], (50, 2, 25), (50, 2 + stays_A, 25, bursting(80.0, at_s=155.0)))
    assert len(attempts_of(made, [run(made, 1, 2)], None)) == count


@pytest.mark.parametrize(("peak_A", "count", "left"), [(36.0, 7, 7), (36.0, 8, 0), (49.0, 8, 0), (51.0, 8, 8)])
def test_many_bursts_of_less_than_a_standstills_draw_are_an_appliances_pulses(peak_A, count, left):
    """Of a pump of 20 A, 1.8 times as much: a hob's; a rotor at standstill draws more."""
    pulses = [(50, 2, 25, bursting(peak_A, at_s=120.0 + 52 * k)) for k in range(count)]
    made = levels(*PUMP[:2], *pulses)
    assert len(attempts_of(made, [run(made, 1, 2)], None)) == left


def test_bursts_after_which_the_pump_starts_are_failed_starts_however_many_and_weak():
    """Eight of 36 A, each half a minute before the pump of 20 A starts."""
    made = levels(*(x for k in range(8) for x in ((50, 2, 25, bursting(36.0, at_s=20 + 104 * k)), (50, 22, 24.8))))
    pump = [run(made, k, k + 1) for k in range(1, 15, 2)]
    assert len(attempts_of(made, pump, None)) == 8


def test_a_load_that_never_ran_is_judged_by_its_plate():
    """80 A of a load of 20 A; without a plate there is nothing to judge by; unknown watts are none."""
    burst = bursting(80.0)["burst"]
    made = levels((50, 2, 25), (50, 2, 25, {"burst": replace(burst, peak={"current_A": 80.0, "power_W": NAN})}))
    (attempt,) = attempts_of(made, [], 20.0)
    assert (attempt.peak_A, attempt.peak_W) == (80.0, None)
    assert attempts_of(made, [], None) == ()


@pytest.mark.parametrize(
    ("brief", "count"),
    [
        ((6, 82, 24.2), 1),
        ((8, 82, 24.2), 1),  # ten seconds from edge to edge
        ((8.5, 82, 24.2), 0),
        ((6, 82, 24.75), 1),  # 0.3 of what 80 A make the volts fall is 0.24 V
        ((6, 82, 24.8), 0),
        ((6, 82, 24.2, {"after_gap": True}), 0),
        ((6, -30, 24.2), 0),
    ],
)
def test_a_brief_level_of_its_own_may_be_a_failed_start(brief, count):
    """80 A for some seconds, and back; by its highest reading, and with the volts."""
    made = levels(*PUMP, brief, (50, 2, 25))
    attempts = attempts_of(made, [run(made, 1, 2)], None)
    assert len(attempts) == count
    for attempt in attempts:
        assert attempt.peak_A == 80.0
        assert attempt.lasted_s == pytest.approx(brief[0] + 2.0)
        assert attempt.peak_W == pytest.approx(82 * brief[2] - 50)


def test_a_brief_level_that_does_not_come_back_is_no_failed_start():
    """80 A up and 55 A down leave 25 A: less than 0.3 of the step is allowed; nor at a gap, nor at the log's ends."""
    for after_A, count in ((22, 1), (30, 0)):
        made = levels(*PUMP, (6, 82, 24.2), (50, after_A, 25), (9, 2, 25))
        assert len(attempts_of(made, [run(made, 1, 2)], None)) == count
    made = levels(*PUMP, (6, 82, 24.2), (50, 2, 25, {"after_gap": True}))
    assert attempts_of(made, [run(made, 1, 2)], None) == ()
    made = levels(*PUMP, (6, 82, 24.2))
    assert attempts_of(made, [run(made, 1, 2)], None) == ()
    made = levels(*PUMP, (6, 82, 24.2), (50, 2, 25))
    assert attempts_of(made, [run(made, 1, 2), run(made, 3, 4)], None) == ()  # a run is no attempt


# --- what other loads did at the very moment ------------------------------------------------------------------------


def with_runs(*up_down):
    """Levels of a pump with these steps up and down, and its runs."""
    rows = [(50, 2, 25)]
    for up, down in up_down:
        rows += [(50, rows[-1][1] + up, 25), (50, rows[-1][1] + up - down, 25)]
    return levels(*rows), [RunLevels(k, k + 1) for k in range(1, len(rows), 2)]


def test_a_strange_step_is_told_by_how_it_differs_from_the_usual():
    """Four steps of 20 A and one of 24 A: 4 A at its start, nothing at its stop, and the same in watts."""
    made, runs = with_runs((20, 20), (20, 20), (24, 20), (20, 20), (20, 20))
    strange = coincidences(made, runs)
    assert list(strange) == [runs[2]]
    assert strange[runs[2]].at_start == {"current_A": pytest.approx(4.0), "power_W": pytest.approx(100.0)}
    assert strange[runs[2]].at_stop == {"current_A": 0.0, "power_W": 0.0}


@pytest.mark.parametrize(("up", "strange"), [(21.0, False), (21.1, True), (19.0, False), (18.9, True)])
def test_a_twentieth_of_the_usual_step_is_not_strange(up, strange):
    """Nor is what differs four times as much as steps differ usually."""
    made, runs = with_runs((20, 20), (20, 20), (up, up), (20, 20))
    assert bool(coincidences(made, runs)) is strange
    made, runs = with_runs((19.5, 20), (20.5, 20), (up + math.copysign(0.8, up - 20), 20), (19.5, 20), (20.5, 20))
    assert coincidences(made, runs) == {}  # 4 x 0.5 A


def test_a_stop_may_be_strange_as_well_and_few_runs_show_nothing():
    """A lamp of 5 A goes off with the pump; of three runs nobody can say what is usual."""
    made, runs = with_runs((20, 20), (20, 25), (20, 20), (20, 20))
    assert coincidences(made, runs)[runs[1]].at_stop["current_A"] == pytest.approx(-5.0)
    made, runs = with_runs((20, 20), (20, 25), (20, 20))
    assert coincidences(made, runs) == {}
    made, runs = with_runs((20, 20), (20, 25), (20, 20), (20, 20))
    assert coincidences(made, [*runs[:3], RunLevels(7, None)]) == {}
    assert coincidences(made, [*runs[:3], RunLevels(7, 8, 7)]) == {}


# --- what a run was like --------------------------------------------------------------------------------------------


def test_figures_of_a_run_by_hand():
    """20 A above 2 A for 50 s between readings 2 s apart: 52 s, 20 x 52 / 3600 Ah."""
    made = levels(*PUMP)
    cycle = cycle_of(run(made, 1, 2), how())
    assert (cycle.start_us, cycle.stop_us, cycle.run_s) == (51 * US, 103 * US, 52.0)
    assert (cycle.start_within_s, cycle.stop_within_s, cycle.complete) == (1.0, 1.0, True)
    assert (cycle.run_A, cycle.surge_A, cycle.surge_ratio) == (20.0, 20.0, 1.0)
    assert cycle.charge_Ah == pytest.approx(20 * 52 / 3600)
    assert cycle.run_W == pytest.approx(22 * 24.8 - 50)
    assert cycle.peak_W == pytest.approx(22 * 24.8 - 50)
    assert cycle.energy_Wh == pytest.approx((22 * 24.8 - 50) * 52 / 3600)
    assert (cycle.before_V, cycle.lowest_V, cycle.sag_V) == (25.0, 24.8, pytest.approx(0.2))
    assert (cycle.base_drift_A, cycle.base_drift_W) == (0.0, 0.0)
    assert not cycle.surge_resolved


def test_what_comes_after_a_run_is_not_in_its_figures():
    """Another load of 38 A goes on as it stops: highest watts and lowest volts are the run's."""
    cycle = cycle_of(run(levels((50, 2, 25), (50, 22, 24.8), (50, 40, 24.6)), 1, 2), how())
    assert (cycle.peak_W, cycle.lowest_V) == (pytest.approx(22 * 24.8 - 50), 24.8)


@pytest.mark.parametrize("usual_A", [2.0, 1.0])
def test_a_surge_has_no_ratio_to_a_draw_of_nothing(usual_A):
    """What settles at its base or below it."""
    usual = {"usual": {"current_A": usual_A, "voltage_V": 25.0, "power_W": 25 * usual_A}}
    cycle = cycle_of(run(levels((50, 2, 25), (50, 22, 25, usual), (50, 2, 25)), 1, 2), how())
    assert (cycle.run_A, cycle.surge_A, cycle.surge_ratio) == (usual_A - 2, 20.0, None)


def test_figures_of_a_run_whose_end_was_not_seen():
    """It has a draw and a surge, but no length or charge; what others draw was never less than before it, nor more."""
    cycle = cycle_of(run(levels(*PUMP[:2]), 1, None), how())
    assert (cycle.stop_us, cycle.run_s, cycle.charge_Ah, cycle.energy_Wh, cycle.stop_within_s) == (None,) * 5
    assert (cycle.run_A, cycle.complete, cycle.base_drift_A) == (20.0, False, 0.0)
    assert run(levels(*PUMP[:2]), 1, None).length_s == 51.0  # seen running to the last reading


def test_a_base_that_moves_is_taken_as_a_line():
    """2 A before and 6 A after: 4 A on average, so 18 A of the run's 22 A are its own, within the edges."""
    made = levels((50, 2, 25), (50, 22, 25), (50, 6, 25))
    cycle = cycle_of(run(made, 1, 2), how())
    # By hand: (2 + 22) / 2 x 2 s + 22 x 50 + (22 + 6) / 2 x 2 s = 1152 A s, less (2 + 6) / 2 x 54 s.
    assert cycle.charge_Ah == pytest.approx((1152 - 4 * 54) / 3600)
    assert cycle.base_drift_A == pytest.approx(4.0)
    shared = cycle_of(run(made, 1, 2, shared=True), how())
    assert shared.charge_Ah == pytest.approx((1152 - 2 * 54) / 3600)  # what the bank takes back is no drift
    assert (shared.base_drift_A, shared.array_may_share) == (None, True)


def test_another_loads_steps_within_a_run_are_not_its_own():
    """A lamp of 6 A from the run's middle on, which burns on afterwards."""
    made = levels((50, 2, 25), (20, 22, 25), (28, 28, 25), (50, 8, 25))
    with_lamp = seen(made, RunLevels(1, 3))
    assert with_lamp.others == [2]
    assert (with_lamp.settled("current_A"), with_lamp.drift("current_A")) == (20.0, 0.0)
    assert cycle_of(with_lamp, how()).charge_Ah == pytest.approx(20 * 52 / 3600)


def test_a_step_down_is_its_own_where_the_base_says_so():
    """30 A, then 20 A: back at the base it was its own; 10 A below the base it was a lamp's that had been on."""
    own = seen(levels((50, 12, 25), (20, 42, 25), (30, 32, 25), (50, 12, 25)), RunLevels(1, 3))
    lamp = seen(levels((50, 12, 25), (20, 42, 25), (30, 32, 25), (50, 2, 25)), RunLevels(1, 3))
    assert (own.others, lamp.others) == ([], [2])
    assert own.settled("current_A") == 20.0  # the longer of its two levels
    assert lamp.settled("current_A") == 30.0


@pytest.mark.parametrize(("step_A", "others"), [(0.24, []), (0.26, [2])])
def test_a_step_of_less_than_half_of_what_stands_out_is_no_other_loads(step_A, others):
    """0.5 A stand out from the noise; a twenty-fifth of the run's 5 A is less than half of that."""
    made = levels((50, 2, 25), (20, 7, 25), (30, 7 + step_A, 25), (50, 2 + step_A, 25))
    assert seen(made, RunLevels(1, 3)).others == others


def test_what_came_straight_from_the_array_is_no_more_than_the_run_took():
    """At 60 A into the bank a run of 20 A for 52 s takes them straight from the array, and what it drew is the most."""
    straight_Ah = [
        cycle_of(run(levels((50, -60, 25), (50, -60 + drawn_A, 25, usual), (50, -60, 25)), 1, 2), how()).straight_Ah
        for drawn_A, usual in (
            (20, {}),
            (20, {"usual": {"current_A": -30.0, "voltage_V": 25.0, "power_W": -750.0}}),  # its rule is more than all
            (-5, {"usual": {"current_A": -30.0, "voltage_V": 25.0, "power_W": -750.0}}),
        )
    ]
    assert straight_Ah == pytest.approx([20 * 52 / 3600, 20 * 52 / 3600, 0.0])


def test_a_strange_start_is_anothers_where_the_base_says_so():
    """24 A up and 20 A down: with the base 4 A higher a lamp went on at the start; else the pump drew more at first."""
    lamp = Coincidence({"current_A": 4.0}, {})
    on = seen(levels((50, 2, 25), (50, 26, 25), (50, 6, 25)), RunLevels(1, 2), lamp)
    not_on = seen(levels((50, 2, 25), (50, 26, 25), (50, 2, 25)), RunLevels(1, 2), lamp)
    assert (on.coincidence, not_on.coincidence) == (lamp, Coincidence({}, {}))
    assert (on.settled("current_A"), not_on.settled("current_A")) == (20.0, 24.0)
    assert cycle_of(on, how()).charge_Ah == pytest.approx(((2 + 26) + 26 * 50 + (26 + 6) - 6 * 54) / 3600)


def test_a_run_cut_by_a_gap_ends_there():
    """Its last level is the one before the gap."""
    made = levels((50, 2, 25), (20, 22, 25), (20, 30, 25), (50, 2, 25, {"after_gap": True}), (9, 5, 25))
    assert (seen(made, RunLevels(1, None)).last, seen(made, RunLevels(4, None)).last) == (2, 4)


def test_what_charged_the_bank_before_a_run_is_told_in_watt_hours_too():
    """4 A and 100 W went into the bank before and after 52 s; without amps nobody knows on what the watts stand."""
    made = levels((50, -4, 25), (50, 16, 25), (50, -4, 25))
    cycle = cycle_of(run(made, 1, 2), how())
    assert (cycle.straight_Ah, cycle.straight_Wh) == (pytest.approx(4 * 52 / 3600), pytest.approx(100 * 52 / 3600))
    for x in (made.first, made.last, made.usual):
        x["current_A"] = array("d", [NAN] * 3)
    assert cycle_of(run(made, 1, 2), how()).straight_Wh is None


def test_brief_runs_stand_among_the_others_with_the_rests_between():
    """Runs from 51 to 103 s and from 271 s on, brief ones of 4 s at 20, 30 and 200 s, and a gap at 207 s."""
    made = levels(*PUMP, (50, 2, 25), (9, 2, 25, {"after_gap": True}), (30, 2, 25), (50, 22, 24.8))
    own = [cycle_of(run(made, 1, 2), how()), cycle_of(run(made, 6, None), how())]

    def burst_at(at_s):
        """One of two readings in 4 s."""
        return Burst(at_s * US, (at_s + 2) * US, 1, {"current_A": 50.0}, NAN, (at_s + 4) * US, 2, {"current_A": 20.0})

    brief = [brief_cycle(burst_at(at_s), how(), None) for at_s in (20, 30, 200)]
    merged = with_brief(own, brief, made)
    assert [cycle.start_us / US for cycle in merged] == [20, 30, 51, 200, own[1].start_us / US]
    assert [cycle.off_before_s for cycle in merged] == [None, 6.0, 17.0, 97.0, None]
    assert (merged[0].run_s, merged[0].run_A, merged[0].charge_Ah) == (4.0, 20.0, pytest.approx(20 * 4 / 3600))
    assert (merged[0].run_W, merged[0].energy_Wh, merged[0].surge_A, merged[0].start_within_s) == (
        None,
        None,
        50.0,
        1.0,
    )
    fell = replace(burst_at(20), sag_V=0.4)
    assert [brief_cycle(fell, how(side=side), None).sag_V for side in ("dc", "ac")] == [0.4, None]
    assert brief_cycle(fell, how(side="ac"), None).charge_Ah is None


def test_what_is_unknown_is_none():
    """Volts missing in the run: no sag, no watts; and watts unknown for a while: no energy."""
    cycle = cycle_of(run(levels((50, 2, 25), (50, 22, NAN), (50, 2, 25)), 1, 2), how())
    assert (cycle.lowest_V, cycle.sag_V, cycle.run_W, cycle.peak_W, cycle.energy_Wh) == (None,) * 5
    assert cycle.charge_Ah == pytest.approx(20 * 52 / 3600)
    made = levels(*PUMP)
    for sums in (made.sums_first, made.sums_last):
        sums["power_W unknown"] = array("d", (0.0, 0.0, 3.0))
    holed = cycle_of(run(made, 1, 2), how())
    assert (holed.energy_Wh, holed.run_W) == (None, pytest.approx(22 * 24.8 - 50))


def test_behind_an_inverter_there_are_no_amp_hours_and_no_sag():
    """RMS amps have no sign, and the volts are not the bank's."""
    cycle = cycle_of(run(levels(*PUMP), 1, 2), how(side="ac"))
    assert (cycle.charge_Ah, cycle.before_V, cycle.lowest_V, cycle.sag_V) == (None,) * 4
    assert cycle.energy_Wh is not None


@pytest.mark.parametrize(
    ("spacing_s", "sampling", "resolved"),
    [(0.2, "instant", True), (0.21, "instant", False), (0.2, "held", False), (0.1, "mean", True)],
)
def test_a_surge_is_seen_by_readings_close_together(spacing_s, sampling, resolved):
    """0.2 s at most; what is read by eye never."""
    assert cycle_of(run(levels(*PUMP, spacing_s=spacing_s), 1, 2), how(sampling=sampling)).surge_resolved is resolved
