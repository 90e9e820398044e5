"""Of a load of several speeds what holds for it is judged, and what does not is not, with the reason."""

from dataclasses import replace

import health_cycles
from health_cycles import site

from shuntbook.analysis.cycles.cycle import Speed
from shuntbook.analysis.health.health import NOT_AT_SPEEDS, health_of
from shuntbook.analysis.health.limits import limits_for


def checks_of(run_s, rest_s, speeds_W, at_speeds, **more):
    """Every check of runs at some draws, by its code."""
    made = health_cycles.cycles(run_s, rest_s, **more)
    speeds = tuple(Speed(None, watts, 600.0) for watts in speeds_W)
    runs = tuple(replace(c, at_speeds=at_speeds) for c in made.cycles)
    limits = limits_for(site(), site().loads[0])
    return {c.code: c for c in health_of(replace(made, cycles=runs, speeds=speeds), limits, 1.0).checks}


USUAL = ([120.0] * 12, [600.0] * 12)


def test_what_rests_on_one_running_draw_is_not_judged():
    """Prime, drift, air charge and failed starts: each says why; the same runs at one draw are judged."""
    checks = checks_of(*USUAL, (200.0, 700.0), (60.0, 60.0))

    for judge in NOT_AT_SPEEDS:
        assert checks[judge.__name__].outcome == "not judged"
        assert checks[judge.__name__].remark.startswith("it runs at several speeds, so ")
    at_one = checks_of(*USUAL, (), ())
    assert not any("several speeds" in check.remark for check in at_one.values())
    assert at_one["prime_lost"].outcome == "passed"


def test_runs_of_varying_draw_are_no_dry_ones():
    """A third of the draw in four runs would be a pump without water, of a load that is on or off."""
    draws_W = [780.0] * 8 + [300.0] * 4

    assert checks_of(*USUAL, (), (), draw_W=draws_W)["prime_lost"].outcome == "found"
    assert checks_of(*USUAL, (300.0, 780.0), (60.0, 60.0), draw_W=draws_W)["prime_lost"].finding is None


def test_how_often_it_starts_is_judged_all_the_same():
    """Runs of 8 s every half minute are too many for any motor."""
    checks = checks_of([8.0] * 60, [22.0] * 60, (200.0, 700.0), (4.0, 4.0))

    assert checks["short_cycling"].outcome == "found"


def test_its_highest_speed_is_held_against_the_rating():
    """The mean of a run is within the inverter's 3,000 W, its highest speed is not."""
    assert checks_of(*USUAL, (200.0, 900.0), (90.0, 30.0))["overload"].outcome == "passed"
    assert checks_of(*USUAL, (200.0, 9000.0), (90.0, 30.0))["overload"].outcome == "found"
