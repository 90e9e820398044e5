"""Another start, or another wave, of a load: by its plate, by a log, and beside the simulator."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from readings import fed
from scenes import PUMP, _place, _true_runs, build
from what_if_truth import System, _lowest_V, made_of, read

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.equipment.demand import demand
from shuntbook.analysis.equipment.modified_wave import more_watts
from shuntbook.analysis.forecast.forecast import forecast
from shuntbook.analysis.forecast.load_from_log import measured_load
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.motor_kinds import ANY_SINGLE
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.analysis.what_if.changes import InverterChange, Setup
from shuntbook.analysis.what_if.load_after import factors, load_after
from shuntbook.analysis.what_if.start_change import StartChange
from shuntbook.analysis.what_if.what_if import what_if
from shuntbook.cli.assembling.changes_asked import changes_of

SOFT, DRIVE, DIRECT = (StartChange(kind, kind) for kind in ("soft", "drive", "direct"))
NO_RUNS = Missing("word on the pump's runs")


def a_site(*, inverter=True, **more):
    """A pump of 670 W and 5 A behind an inverter without losses, or on a bank of 24 V and 8 mohm itself."""
    bank = {"nominal_V": 24.0, "capacity_Ah": 400.0, "chemistry": "lifepo4", "resistance_mohm": 8.0, "cut_off_V": 20.0}
    pump = {"name": "pump", "kind": "pump", "power_W": 670.0, "current_A": 5.0, "voltage_V": 230.0, "hp": 0.5,
            "code_letter": "M", "inverter": "inv"}  # fmt: skip
    if not inverter:
        pump = {"name": "pump", "kind": "pump", "current_A": 30.0, "voltage_V": 24.0}
    inverters = [{"name": "inv", "continuous_VA": 3000.0, "surge_VA": 6000.0, "surge_s": 5.0, "efficiency_pct": 100.0,
                  "idle_W": 0.0, "cut_off_V": 20.0}]  # fmt: skip
    tables = {"name": "shed", "bank": bank, "inverters": inverters, "loads": [{**pump, **more}]}
    return Site.model_validate(tables)


def asked(*changes, site=None):
    return what_if(site or a_site(), "pump", changes, hours=1.0)


def ends(amount):
    return amount.low, amount.high


# -- by the plate ------------------------------------------------------------------------------------------------------


def test_a_soft_start_asks_less_of_inverter_and_bank():
    """2 to 4 times 1,150 VA of 6,000 VA; 24 V fall to the larger root of V^2 - 24 V + 0.008 x 3,910 W at the most."""
    result = asked(SOFT)
    share, lowest = result.figure("start_share_pct"), result.figure("lowest_V")
    assert ends(share.before) == pytest.approx((100 * 5000 / 6000, 100 * 5595 / 6000))
    assert ends(share.after) == pytest.approx((100 * 2300 / 6000, 100 * 4600 / 6000))
    assert lowest.after.low < (24 + (24**2 - 4 * 0.008 * 3910) ** 0.5) / 2
    assert lowest.before.value < lowest.after.value
    assert not result.not_judged
    assert result.amiss[0].startswith("That leaves 'pump' 17 to 85 % of its torque at standstill")
    assert any("made for single-phase motors" in text for text in result.amiss)
    assert any("2 to 4 times the running draw" in text for text in result.assumptions)
    assert any("of its torque at standstill" in text for text in result.assumptions)


def test_a_drive_asks_its_own_losses_and_no_start():
    """670 W / 0.97 (common practice, no source) at a power factor of 0.65 (from memory); no more at its start."""
    result = asked(DRIVE)
    assert result.figure("energy_Wh").after.value == pytest.approx(670 / 0.97)
    assert result.figure("running_share_pct").after.value == pytest.approx(100 * 670 / 0.97 / 0.65 / 3000)
    start = result.figure("start_share_pct")
    assert start.after.value == pytest.approx(100 * 670 / 0.97 / 0.65 / 3000)
    assert any("feeds a motor of three phases" in text for text in result.amiss)
    assert any("2 to 5 % of the watts" in text for text in result.assumptions)


def test_a_drive_of_a_three_phase_motor_needs_no_caution():
    site = a_site(phases=3, current_A=2.0, power_W=600.0, code_letter=None)
    result = asked(DRIVE, site=site)
    assert result.amiss == ()
    assert result.figure("energy_Wh").after.value == pytest.approx(600 / 0.97)
    (torque,) = asked(SOFT, site=site).amiss
    assert "No word on the torque that a soft start leaves 'pump'" in torque
    assert "loads.locked_rotor_A or loads.code_letter" in torque


def test_a_drive_on_a_modified_sine_is_warned_of():
    site = a_site()
    steps = site.model_copy(update={"inverters": (site.inverters[0].model_copy(update={"waveform": "modified"}),)})
    assert [("many drives refuse" in text) for text in asked(DRIVE, site=steps).amiss] == [False, True]
    assert not any("many drives refuse" in text for text in (*asked(DRIVE).amiss, *asked(SOFT, site=steps).amiss))


def test_the_time_of_a_start_is_not_carried_over():
    """Half a second of the plate is that of a direct start: the ramp that stands in its place lasts 3 s."""
    site = a_site(start_s=0.4)
    setup = Setup(site, site.loads[0])
    made = SOFT.made_in(setup)
    assert demand(made.load, made.site.inverters[0]).start_s == 3.0
    assert DIRECT.made_in(setup) is setup


@pytest.mark.parametrize(
    ("site", "change", "because", "add"),
    [
        (a_site(kind="heater"), SOFT, "no motor by its kind", ("loads.kind",)),
        (a_site(power_W=None, current_A=None, hp=None, code_letter=None), SOFT, "neither watts, amps nor horsepower",
         ("loads.current_A", "loads.power_W")),
        (a_site(start="drive"), SOFT, "of its drive, which says nothing of the motor", ()),
        (a_site(inverter=False), SOFT, "only on its data sheet", ("loads.locked_rotor_A", "loads.start")),
    ],
)  # fmt: skip
def test_where_the_plate_says_too_little_it_says_what_is_missing(site, change, because, add):
    got = change.made_in(Setup(site, site.loads[0]))
    assert isinstance(got, Missing)
    assert because in got.sentence
    assert got.add == add


def test_electronics_before_a_pump_on_the_bank():
    """150 A stalled at 24 V through 8 mohm are 1.2 V; behind electronics 30 A are a fifth of that."""
    result = asked(DRIVE, site=a_site(inverter=False, locked_rotor_A=150.0))
    lowest = result.figure("lowest_V")
    assert lowest.before.value == pytest.approx(24 - 150 * 0.008)
    assert lowest.after.value == pytest.approx((24 + (24**2 - 4 * 0.008 * 720) ** 0.5) / 2)


@pytest.mark.parametrize(
    ("text", "waveform"),
    [
        ("inverter 2 kW", None),
        ("inverter 2 kW modified", "modified"),
        ("inverter 2 kW, pure sine, surge 4 kW for 5 s", "sine"),
        ("inverter 2 kW, surge 4 kW for 5 s, modified sine", "modified"),
        ("inverter 2000 VA square wave, 88 %, idle 8 W", "modified"),
    ],
)
def test_the_wave_of_another_inverter(text, waveform):
    (change,) = changes_of((text,))
    assert isinstance(change, InverterChange)
    assert change.waveform == waveform
    assert (change.surge_W or 4000.0) == 4000.0


def test_a_modified_sine_makes_it_run_harder():
    """A start of 3 to 7 times the running amps: 1.01 to 1.31 times these, and watts by what its windings take more."""
    result = asked(*changes_of(("inverter 3000 VA modified, surge 6000 VA for 5 s",)))
    more = more_watts(ANY_SINGLE.start.within).value
    assert result.figure("energy_Wh").after.value == pytest.approx(670 * more)
    running = result.figure("running_share_pct")
    assert ends(running.after) == pytest.approx((1.010 * 1150 / 30, 1.311 * 1150 / 30), rel=1e-3)
    assert not result.figure("start_share_pct").differs


# -- by a log ----------------------------------------------------------------------------------------------------------


@lru_cache
def a_log():
    """Return a pump's behaviour in a simulated log, as if its starts had been seen whole: 5 times 30 A."""
    seen = read(System(120.0, 1.0, 40.0, 60.0), 7)[1]
    amps = Within(30.0, 29.0, 31.0)
    return replace(seen, run_A=amps, start_A=Within(150.0, 140.0, 160.0), start_resolved=True)


def by(change, site=None, **seen):
    """Return what a change makes of the log's load."""
    site = site or a_site()
    made = change.made_in(Setup(site, site.load("pump")))
    log = replace(a_log(), load="pump", **seen)
    return log, factors(site, made.site, site.load("pump"), log, NO_RUNS, 1.0)


def test_a_soft_start_of_a_log_is_its_multiple_of_the_draw_that_was_seen():
    """The plate's watts of a soft start over its 670 W, over the five times that were seen; never more than these."""
    asks = demand(a_site(start="soft").loads[0], a_site().inverters[0])
    start_W = asks.start_W()
    log, got = by(SOFT)
    assert got.draw == 1.0
    assert got.start.value == pytest.approx(start_W.value / 670 / 5)
    assert got.start.low == pytest.approx(start_W.low / 670 / 5)
    assert got.start.high == 1.0
    assert load_after(log, got).start_A.value == pytest.approx(30 * start_W.value / 670)
    # However little it draws: five times is five times.
    little = {"run_A": Within(0.6, 0.5, 0.7), "start_A": Within(3.0, 2.9, 3.1)}
    assert by(SOFT, **little)[1].start.value == pytest.approx(start_W.value / 670 / 5)
    # Behind the inverter a meter sees amps, which are volt-amperes.
    assert by(SOFT, side="ac")[1].start.value == pytest.approx(3 / 5)
    # Starts that were not seen whole say nothing: the plate's own direct start stands there.
    direct = demand(a_site().loads[0], a_site().inverters[0])
    assert by(SOFT, start_resolved=False)[1].start.value == pytest.approx(start_W.value / direct.start_W().value)


def test_a_drive_of_a_log_starts_with_what_it_runs_on():
    log, got = by(DRIVE)
    assert got.draw == pytest.approx(1 / 0.97, rel=1e-6)
    assert ends(got.start) == pytest.approx((1 / 5, 1 / 5))
    assert load_after(log, got).start_A.value == pytest.approx(30 / 0.97)


def test_starts_that_are_of_the_same_kind_count_as_they_are():
    """A log of a softly started pump speaks for itself; so does one of a pump of which nothing is said."""
    assert by(DIRECT)[1].start == Within.exactly(1.0)
    assert by(SOFT, site=a_site(start="soft"))[1].start == Within.exactly(1.0)
    assert by(DIRECT, site=a_site(start="soft"))[1].start.value > 1.0


def test_another_wave_makes_a_log_run_harder_and_start_as_it_did():
    log, got = by(changes_of(("inverter 3000 VA modified",))[0])
    more = more_watts(ANY_SINGLE.start.within).value
    assert got.draw == pytest.approx(more, rel=1e-6)
    assert load_after(log, got).start_A.value == pytest.approx(150.0, rel=1e-6)


def test_a_pump_on_the_bank_by_a_log():
    """150 A seen and 30 A running: electronics let a fifth of it through; a starter between that and its stalled."""
    site = a_site(inverter=False, locked_rotor_A=150.0)
    assert by(DRIVE, site=site)[1].start == Within.exactly(1 / 5)
    assert ends(by(SOFT, site=site)[1].start) == pytest.approx((1 / 5, 1.0))
    assert by(DRIVE, site=site, start_resolved=False)[1].start == Within.exactly(1.0)


def test_a_measured_pump_on_the_bank_loses_nothing_on_the_way():
    """What the meter at the bank saw is what the pump takes: no inverter, no losses, no idle draw."""
    log = replace(a_log(), load="pump")
    said = forecast(a_site(inverter=False, locked_rotor_A=150.0), "pump", hours=24.0, measured=log)
    assert said.inverter is None
    assert said.taken.energy_Wh == log.amount(24.0, "Wh")
    assert said.taken.charge_Ah == log.amount(24.0, "Ah")
    # The sum on paper and the plate are both 24 V x 30 A: on the bank volts times amps are watts.
    assert said.by_plate.paper_Wh == said.by_plate.energy_Wh == pytest.approx(720 * 24)


# -- beside the simulator ----------------------------------------------------------------------------------------------


def simulated(seed, **pump):
    """Return a scene of six hours, read ten times a second, whose pump is started in another way, and its plan."""
    made = made_of(System(120.0, 1.0, 40.0, 60.0), seed)[0]
    made.every_s, made.span_s = 0.1, 6 * 3600.0
    made.runs = [run for run in made.runs if run[1] < made.span_s]
    made.meter |= {"window_s": 0.0}
    made.pump |= pump
    return made


@pytest.mark.parametrize("seed", [20, 23])
@pytest.mark.parametrize("kind", ["soft", "drive"])
def test_what_is_said_of_another_start_is_what_happens(seed, kind):
    """A drive climbs to its draw in 3 s; a soft starter lets a share of the amps through, and of the watts less."""
    made = simulated(seed)
    scene = build("starts", seed, made)
    fold = CycleFold(scene.how, set(scene.chunk.quantities), load=PUMP)
    seen = measured_load(fed(fold, scene.chunk).result(), log="log", how=scene.how, figures=NOTHING_STATED, start_s=0.3)
    assert seen.start_resolved
    (change,) = changes_of(("soft start" if kind == "soft" else "drive",))
    result = what_if(scene.site, PUMP, (change,), hours=6.0, measured=seen)
    # Half the amps of a direct start, and between half and a quarter of its watts.
    surge = made.pump["surge"]
    other = {"surge": 1.0, "soft_s": 3.0} if kind == "drive" else {"surge": max(surge * 0.5**1.5, 1.05), "surge_s": 3.0}
    after = simulated(seed, **other)
    place = _place(after)
    runs = [run for run in _true_runs(after, place) if np.isfinite(run.stop_s)]
    happens = float(np.median([_lowest_V(place, run) for run in runs]))
    said = result.figure("lowest_V")
    assert said.after.low <= happens <= said.after.high
    assert said.before.value < said.after.value
