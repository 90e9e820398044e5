"""Runs of a pump without water from their start on: its own, though they draw less; and other loads that are not."""

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from load_scenes import Load, Scene, cycles_of, evenly
from readings import T0_US, US, how

from shuntbook.analysis.health.health import health_of
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.sureness.cycle_intervals import cycles_with_intervals
from shuntbook.analysis.sureness.meter_figures import figures_of

PUMP_A = 30.0


def wet(count=14, first_s=400.5):
    """Usual runs of 90 s, a quarter of an hour apart."""
    return evenly(first_s, 90.0, 810.0, count)


def found_in(scene, **more):
    """What is found, and the codes of what is said of it."""
    result = cycles_of(scene.chunk(), scene.every_s, **more)
    return result, {f.code for f in health_of(result, limits_for(None, None), scene.every_s).findings}


def with_dry(runs_s, share, *, wet_s=None, span_s=20000.0, seed=1, surge=4.0):
    """A pump and its dry runs: the same motor's top at the start, and a share of the draw after it."""
    top = PUMP_A * (surge - 1) / (share * PUMP_A) + 1
    dry = Load(share * PUMP_A, runs_s, surge=top, surge_s=0.8)
    return Scene(Load(PUMP_A, wet_s or wet(), surge=surge, surge_s=0.8), others=[dry], span_s=span_s, seed=seed)


def starts_s(result, *, less):
    """When runs of usual draw, or with less, began. [s]."""
    return [(c.start_us - T0_US) / US for c in result.cycles if c.draws_less is less]


@examples(7, 20)
@given(share=st.floats(0.35, 0.75), hours=st.floats(1.0, 6.0), seed=st.integers(0, 99))
def test_a_pump_that_starts_dry_and_runs_on_is_the_pump(share, hours, seed):
    """From 13,000 s on to the log's end, for an hour and more, at any share that trade sources name."""
    span_s = 13000.0 + hours * 3600
    result, codes = found_in(with_dry([(13000.5, 9e9)], share, span_s=span_s, seed=seed))
    assert starts_s(result, less=True) == pytest.approx([13000.5], abs=1.0)
    assert result.cycles[-1].run_A == pytest.approx(share * PUMP_A, rel=0.03)
    assert len(starts_s(result, less=False)) == 14
    assert "prime_lost" in codes


@pytest.mark.parametrize("share", [0.4, 0.55, 0.7])
def test_dry_starts_that_someone_stops_are_the_pumps(share):
    """Four tries of minutes, at the log's end, or at its beginning with the usual runs after them."""
    tries_s = [(13000.5, 13400.5), (13600.5, 13900.5), (14100.5, 14700.5), (14900.5, 15200.5)]
    result, codes = found_in(with_dry(tries_s, share))
    assert starts_s(result, less=True) == pytest.approx([a for a, _ in tries_s], abs=1.0)
    assert "prime_lost" in codes
    first_s = [(a - 12800, b - 12800) for a, b in tries_s]
    result, codes = found_in(with_dry(first_s, share, wet_s=wet(first_s=2900.5)))
    assert starts_s(result, less=True) == pytest.approx([a for a, _ in first_s], abs=1.0)
    assert "prime_lost" in codes


def test_what_dry_runs_took_is_counted():
    """Charge of a whole dry run above the base: its draw by its length, and the top of its start."""
    result, _ = found_in(with_dry([(13000.5, 16600.5)], 0.5))
    (dry,) = [c for c in result.cycles if c.draws_less]
    assert dry.charge_Ah == pytest.approx(15 * 3600 / 3600, rel=0.02)


@pytest.mark.parametrize(
    "runs_s",
    [
        [(600.5 + 1300 * k, 1000.5 + 1300 * k) for k in range(14)],  # a freezer
        [(2000.5, 2200.5), (7700.5, 7900.5), (16000.5, 16200.5)],  # a kettle
        [(9100.5, 14000.5)],  # lamps of an evening, with water drawn meanwhile
        [(13500.5 + 180 * k, 13600.5 + 180 * k) for k in range(20)],  # an oven by its thermostat, after the last run
    ],
    ids=["freezer", "kettle", "lamps", "oven"],
)
def test_other_loads_of_that_size_are_not_the_pump(runs_s):
    """Half the pump's draw, without a motor's start."""
    other = Load(0.5 * PUMP_A, runs_s)
    result, codes = found_in(Scene(Load(PUMP_A, wet(), surge=4, surge_s=0.8), others=[other], span_s=20000.0))
    assert not starts_s(result, less=True)
    assert "prime_lost" not in codes


@pytest.mark.parametrize(
    "runs_s",
    [
        [(13000.5 + 18 * k, 13010.5 + 18 * k) for k in range(20)],  # a drum between two of the pump's runs
        [(13000.5 + 120 * k, 13040.5 + 120 * k) for k in range(10)],  # slower pulses
        [(3950.5, 4150.5), *((13000.5 + 450 * k, 13300.5 + 450 * k) for k in range(6))],  # once on while the pump ran
        [(3060.5, 3101.0), *((3110.5 + 22 * k, 3118.5 + 22 * k) for k in range(6))],  # off as the pump came on
    ],
    ids=["drum", "pulses", "beside", "at once"],
)
def test_other_motors_of_that_size_are_not_the_pump(runs_s):
    """They start as the pump without water does."""
    result, codes = found_in(with_dry(runs_s, 0.6))
    assert len(starts_s(result, less=False)) == 14
    assert not starts_s(result, less=True)
    assert not codes & {"prime_lost", "air_charge_lost"}


def test_the_end_of_the_log_cut_anywhere_changes_no_earlier_run():
    """What is found does not depend on where chunks end."""
    scene = with_dry([(13000.5, 9e9)], 0.55)
    chunk = scene.chunk()
    whole, cut = cycles_of(chunk), cycles_of(chunk, cuts=(1, 9000, 13001, 13002, 15000))
    assert [(c.start_us, c.stop_us, c.draws_less) for c in whole.cycles] == [
        (c.start_us, c.stop_us, c.draws_less) for c in cut.cycles
    ]
    np.testing.assert_allclose([c.run_A for c in whole.cycles], [c.run_A for c in cut.cycles], rtol=1e-9)


def test_a_check_that_could_not_see_it_is_not_passed():
    """A load of half the draw that goes on for two hours without a motor's start, while no water was drawn."""
    other = Load(0.5 * PUMP_A, [(13000.5, 9e9)])
    scene = Scene(Load(PUMP_A, wet(), surge=4, surge_s=0.8), others=[other], span_s=13000.0 + 1.2 * 3600)
    result, codes = found_in(scene)
    checks = {c.code: c for c in health_of(result, limits_for(None, None), 1.0).checks}
    assert "prime_lost" not in codes
    assert checks["prime_lost"].outcome == "not judged"
    assert "without water, or another load" in checks["prime_lost"].remark
    assert checks["never_cuts_out"].outcome == "not judged"


def test_without_a_start_no_check_of_starts_is_passed():
    """Nothing ran at all."""
    result, _ = found_in(Scene(Load(PUMP_A, []), span_s=4000.0))
    checks = {c.code: c.outcome for c in health_of(result, limits_for(None, None), 1.0).checks}
    assert "passed" not in {checks[code] for code in ("start_trip", "stalled_start", "prime_lost", "never_cuts_out")}


def test_what_an_open_run_took_so_far_is_in_the_total():
    """14 runs of 30 A for 90 s, and 15 A for two hours that go on at the log's end; each start's top is 4 times 30 A.

    The cycle itself is not complete and has no charge: only what was seen of it.
    """
    result, _ = found_in(with_dry([(13000.5, 9e9)], 0.5, span_s=13000.0 + 7200))
    last = result.cycles[-1]
    assert (last.complete, last.charge_Ah, last.energy_Wh) == (False, None, None)
    assert last.so_far_Ah == pytest.approx(15 * 7200 / 3600, rel=0.01)
    assert last.so_far_Wh == pytest.approx(24.8 * 30, rel=0.03)  # at 25.2 V less 0.02 ohm x 17 A
    whole_Ah = sum(cycle.charge_Ah for cycle in result.cycles[:-1])
    assert result.summary.charge_Ah == pytest.approx(whole_Ah + last.so_far_Ah)


def house(seed, span_s):
    """A fridge of 4 A, and lamps of 2 A for some hours, as they come; none of them as the pump's draw steps."""
    rng = np.random.default_rng([seed, 5])
    fridge, at_s = [], rng.uniform(0, 1500)
    while at_s < span_s:
        fridge.append((at_s, at_s + rng.uniform(500, 1100)))
        at_s = fridge[-1][1] + rng.uniform(1200, 2400)
    lamps = [(at_s, at_s + 5000.0) for at_s in rng.uniform(0, span_s, 2)]
    fridge, lamps = ([run for run in runs if all(abs(s - 13020.0) > 120 for s in run)] for runs in (fridge, lamps))
    return [Load(4.0, fridge, surge=3, surge_s=0.5), Load(2.0, lamps)]


@examples(7, 20)
@given(share=st.floats(0.38, 0.72), hours=st.floats(2.0, 7.0), seed=st.integers(0, 99))
def test_a_pump_that_goes_dry_as_it_runs_is_the_pump(share, hours, seed):
    """Its draw falls 40 s after a start and stays so to the log's end, while a fridge and lamps go on and off."""
    span_s = 13000.0 + hours * 3600
    dry = Load(share * PUMP_A, [(13040.5, 9e9)])
    last = (13000.5, 13040.5)
    scene = Scene(Load(PUMP_A, [*wet(), last]), others=[dry, *house(seed, span_s)], span_s=span_s, seed=seed)
    result, codes = found_in(scene)
    assert starts_s(result, less=True) == pytest.approx([13000.5], abs=1.0)
    assert not result.cycles[-1].complete
    assert {"prime_lost", "never_cuts_out"} <= codes
    truth_Ah = PUMP_A * (40 + share * hours * 3600 - share * 40) / 3600
    assert result.cycles[-1].so_far_Ah == pytest.approx(truth_Ah, rel=0.05)


def test_a_floor_that_rose_while_the_pump_went_on_is_another_loads():
    """Half the pump's draw from 6000 s on, for good: the pump has its runs all the same."""
    other = Load(0.5 * PUMP_A, [(6000.5, 9e9)])
    result, codes = found_in(Scene(Load(PUMP_A, wet(), surge=4, surge_s=0.8), others=[other], span_s=20000.0))
    assert len(starts_s(result, less=False)) == 14
    assert not starts_s(result, less=True)
    assert "prime_lost" not in codes


def test_a_thermostat_that_goes_on_all_day_is_not_the_pump():
    """It has runs as long before the pump fell silent for hours: no runs of the pump's."""
    other = Load(0.4 * PUMP_A, evenly(500.5, 700.0, 2300.0, 12), surge=5, surge_s=0.8)
    pump = Load(PUMP_A, [(a, b) for a, b in wet(30) if a < 9000 or a > 25000], surge=4, surge_s=0.8)
    result, codes = found_in(Scene(pump, others=[other], span_s=36000.0))
    assert not starts_s(result, less=True)
    assert "prime_lost" not in codes


def test_runs_of_a_few_minutes_are_not_looked_for_in_the_hours_between_them():
    """A microwave that heats five times in a night, when no water is drawn."""
    runs_s = [(a, a + 130.0) for a in (15000.5, 15700.5, 24000.5, 31000.5, 38000.5)]
    scene = Scene(Load(PUMP_A, wet(), surge=4, surge_s=0.8), others=[Load(0.66 * PUMP_A, runs_s)], span_s=40000.0)
    result, codes = found_in(scene)
    assert not starts_s(result, less=True)
    assert "prime_lost" not in codes


def test_dry_tries_are_found_where_starts_do_not_show():
    """Three tries of some twenty minutes within two hours, in which the pump would have run seven times."""
    tries_s = [(13000.5, 14300.5), (15500.5, 16700.5), (18200.5, 19900.5)]
    dry = Load(0.55 * PUMP_A, tries_s)
    scene = Scene(Load(PUMP_A, [*wet(), *wet(5, 20500.5)]), others=[dry], span_s=26000.0)
    result, codes = found_in(scene)
    assert starts_s(result, less=True) == pytest.approx([a for a, _ in tries_s], abs=1.0)
    assert "prime_lost" in codes


def test_the_total_of_an_open_run_says_how_far_the_base_may_have_moved():
    """2 A that have gone on since the log began end within it: as many amp-hours of it may not be the pump's."""
    scene = with_dry([(13000.5, 9e9)], 0.5, span_s=13000.0 + 3 * 3600)
    scene.others.append(Load(2.0, [(-10.0, 13300.5)]))
    result, _ = found_in(scene)
    sure = cycles_with_intervals(result, figures_of(None), how(), noise=0.0)
    assert abs(result.cycles[-1].base_drift_A) == pytest.approx(2.0, abs=0.3)
    assert sure.summary.charge_u95_Ah > 3 * 2 * 0.9


def test_a_dry_run_taken_for_a_usual_one_does_not_part_the_others():
    """Three long tries at 68 % in a row, one of them nearly as a usual run looks; the pump had started three times."""
    tries_s = [(13000.5, 14300.5), (15500.5, 16700.5), (18200.5, 19900.5)]
    dry = [Load(share * PUMP_A, [span]) for share, span in zip((0.68, 0.76, 0.68), tries_s, strict=True)]
    scene = Scene(Load(PUMP_A, [*wet(), *wet(5, 20500.5)]), others=dry, span_s=26000.0)
    result, codes = found_in(scene)
    assert "prime_lost" in codes
    begun_s = np.array([(c.start_us - T0_US) / US for c in result.cycles])
    assert all(np.abs(begun_s - a).min() < 1.0 for a, _ in tries_s)


def test_three_long_tries_are_enough_though_few_starts_were_due():
    """The pump starts every two hours: one start was due while somebody tried for two hours."""
    tries_s = [(27000.5, 28300.5), (30000.5, 31200.5), (32700.5, 34400.5)]
    pump = Load(PUMP_A, [*evenly(400.5, 90.0, 7110.0, 4), *evenly(36000.5, 90.0, 7110.0, 2)])
    result, codes = found_in(Scene(pump, others=[Load(0.5 * PUMP_A, tries_s)], span_s=45000.0))
    assert starts_s(result, less=True) == pytest.approx([a for a, _ in tries_s], abs=1.0)
    assert "prime_lost" in codes
