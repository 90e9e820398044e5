"""Another inverter with losses of its own, another bank with a price of its own, and a pump against more pressure."""

from dataclasses import replace
from functools import cache
from math import inf

import numpy as np
import pytest
from what_if_truth import PUMP, System, read

from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.units import KPA_PER_PSI
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.what_if.changes import (
    BankChange,
    PrechargeChange,
    PressureChange,
    Setup,
    TankChange,
    UseChange,
)
from shuntbook.analysis.what_if.figures import _difference
from shuntbook.analysis.what_if.replay import replayed
from shuntbook.analysis.what_if.tank_runs import FLOW_FALLS, FLOW_OFF, PRESSURES_OFF, VOLUME_OFF
from shuntbook.analysis.what_if.what_if import what_if
from shuntbook.cli.assembling.changes_asked import change_of, changes_of

PSI = KPA_PER_PSI


def a_site(inverter=None, bank=None, **tables):
    """A pump behind an inverter that takes 20 W idle and passes 80 % on."""
    losses = {"idle_W": 20.0, "efficiency_pct": 80.0} if inverter is None else inverter
    kinds = {"nominal_V": 24.0, "capacity_Ah": 400.0, "chemistry": "agm", "start_state_pct": 90.0}
    return Site.model_validate(
        {
            "name": "shed",
            "bank": {key: value for key, value in (kinds | (bank or {})).items() if value is not None},
            "inverters": [{"name": "inv", "continuous_VA": 3000.0, **losses}],
            "loads": [{"name": "pump", "kind": "pump", "inverter": "inv", "power_W": 800.0, "voltage_V": 230.0}],
            **tables,
        }
    )


def energy(site, *asked, hours=1.0):
    result = what_if(site, "pump", changes_of(asked), hours=hours)
    row = result.figure("energy_Wh")
    return row.before.value, row.after.value, " ".join(result.assumptions)


def test_another_inverter_with_its_own_losses():
    """800 W through 80 % and 20 W idle are 1,020 Wh; through 96 % and 5 W idle 838 (by hand)."""
    was, will, assumed = energy(a_site(), "inverter 3000 VA, 96 %, idle 5 W")
    assert (was, will) == (pytest.approx(1020), pytest.approx(800 / 0.96 + 5))
    assert "lose what the one that is there loses" not in assumed
    assert "stop at the voltage" in assumed


@pytest.mark.parametrize(
    ("asked", "after_Wh"),
    [
        ("inverter 2000 VA", 1020),
        ("inverter 2000 VA, idle 5 W", 1005),
        ("inverter 2000 VA, 100 %", 820),
        ("inverter 2000 VA 100 % efficient idle 0.01 kW", 810),
        ("inverter 2000 VA, surge 4000 VA for 5 s, 100 %, idle 10 W", 810),
        ("inverter 2000 VA, idle 10 W, 100%, surge 4000 VA for 5 s", 810),
    ],
)
def test_what_is_not_said_of_its_losses_is_that_of_the_old_one(asked, after_Wh):
    _, will, assumed = energy(a_site(), asked)
    assert will == pytest.approx(after_Wh)
    assert ("lose what the one that is there loses" in assumed) == ("%" not in asked)


def test_losses_that_were_measured_are_those_of_the_old_one_alone():
    """A loss model is of one inverter: another's stated efficiency goes before it, and its idle draw alone into it."""
    measured = {"loss_model": {"idle_W": 30.0, "proportional": 1.25, "square_per_W": 0.0}}
    assert energy(a_site(measured), "inverter 2000 VA")[1] == pytest.approx(1030)
    assert energy(a_site(measured), "inverter 2000 VA, 100 %")[1] == pytest.approx(830)
    assert energy(a_site(measured), "inverter 2000 VA, idle 3 W")[1] == pytest.approx(1003)
    assert energy(a_site(measured), "inverter 2000 VA, 100 %, idle 3 W")[1] == pytest.approx(803)


@pytest.mark.parametrize(
    "text",
    ["inverter 92 %", "inverter 3000 W, 0 %", "inverter 3000 W, 120 %", "inverter 3000 W, idle", "inverter idle 8 W",
     "inverter 3000 W, 92 %, 93 %", "inverter 3000 W, idle 8 V", "inverter 3000 W, 9,2,3 %"],
)  # fmt: skip
def test_losses_that_are_none_are_a_mistake(text):
    with pytest.raises(Exception, match="is not understood; write it like"):
        change_of(text)


BANK = {"price": 1000.0, "currency": "EUR", "throughput_kWh": 5000.0, "max_discharge_A": [200.0], "strings": 2,
        "max_charge_A": 100.0, "resistance_mohm": 8.0}  # fmt: skip


def made(change, **bank):
    site = a_site(bank=BANK | bank)
    setup = change.made_in(Setup(site, site.loads[0]))
    assert not isinstance(setup, Missing)
    return setup.site.bank


def test_more_strings_cost_and_last_as_many_times():
    bank = made(BankChange("b", strings=3))
    assert (bank.capacity_Ah, bank.price, bank.currency, bank.throughput_kWh) == (600, 1500, "EUR", 7500)
    assert (bank.max_discharge_A, bank.max_charge_A) == ((300.0,), 150.0)
    assert bank.resistance_mohm == pytest.approx(8 / 1.5)


def test_a_bank_of_another_size_has_no_price_and_lets_through_no_more():
    """What a larger one lets through is not known; a smaller one of the same cells lets through less."""
    larger, smaller = (made(BankChange("b", capacity_Ah=size)) for size in (800.0, 100.0))
    assert (larger.max_discharge_A, larger.max_charge_A) == ((200.0,), 100.0)
    assert (smaller.max_discharge_A, smaller.max_charge_A) == ((50.0,), 25.0)
    for bank, times in ((larger, 2.0), (smaller, 0.25)):
        assert (bank.price, bank.currency, bank.strings, bank.batteries) == (None, None, None, None)
        assert bank.throughput_kWh == 5000 * times
        assert bank.resistance_mohm == 8 / times
    assert made(BankChange("b", capacity_Ah=400.0)).price == 1000.0


def test_cells_of_another_kind_have_none_of_the_old_ones_life_or_price():
    bank = made(BankChange("b", chemistry="lifepo4"))
    for key in ("price", "currency", "throughput_kWh", "max_discharge_A", "max_charge_A", "resistance_mohm", "strings"):
        assert getattr(bank, key) is None, key
    assert bank.start_state_pct == 90.0
    # What the old cells stood at says nothing of the new ones but how full they are taken to be.
    rested = made(BankChange("b", chemistry="lifepo4"), start_state_pct=None, rested_V=25.2)
    assert rested.rested_V is None
    assert rested.start_state_pct == pytest.approx(75, abs=3)
    same = made(BankChange("b", chemistry="agm"))
    assert same.price == 1000.0


def test_other_cells_give_the_same_watts_by_other_amps():
    """22.8 V under load become 25.6 V: the same watts are 11 % fewer amps."""
    scene, seen = read(System(120.0, 1.0, 40.0, 60.0), 7)
    bank = scene.site.bank.model_copy(update={"chemistry": "agm"})
    site = scene.site.model_copy(update={"bank": bank})
    result = what_if(site, PUMP, changes_of(("bank lifepo4",)), hours=24.0, measured=seen)
    amps, watts = (result.figure(code) for code in ("charge_Ah", "energy_Wh"))
    share = 0.95 * 12 / 12.8
    assert watts.after == watts.before
    assert amps.after.value / amps.before.value == pytest.approx(share)
    assert amps.after.high / amps.before.high == pytest.approx(share, rel=0.02)
    assert any("other volts" in text for text in result.assumptions)
    assert any("protection set for them" in text for text in result.amiss)
    same = what_if(site, PUMP, changes_of(("bank 800 Ah",)), hours=24.0, measured=seen)
    assert same.figure("charge_Ah").after == same.figure("charge_Ah").before
    assert not any("other volts" in text for text in same.assumptions)
    assert same.amiss == ()


def at_pressures(low, high, *more, seen=None, site=None):
    changes = (PressureChange("p", low * PSI, high * PSI), PrechargeChange("a", (low - 2) * PSI), *more)
    return what_if(site or scene_of()[0], PUMP, changes, hours=24.0, measured=seen)


@cache
def scene_of():
    scene, seen = read(System(120.0, 1.0, 40.0, 60.0), 7)
    return scene.site, seen


def ends(row):
    """How far the ends of the figure after are out, below and above, in shares of it."""
    return 1 - row.after.low / row.after.value, row.after.high / row.after.value - 1


def test_against_more_pressure_runs_may_be_longer_and_take_more():
    """Ten psi more: up to 15 % less flow, runs up to 1/0.85 as long, amounts as much further out; it is said."""
    _, seen = scene_of()
    more, less, same = (at_pressures(low, low + 20, seen=seen) for low in (50, 30, 40))
    assert more.runs.less_flow == pytest.approx(10 * 0.015)
    assert less.runs.less_flow == pytest.approx(-10 * 0.015)
    assert pytest.approx(0.015) == FLOW_FALLS * PSI
    assert ends(more.figure("run_s"))[1] >= 1 / 0.85 - 1 - 1e-9
    assert ends(less.figure("run_s"))[0] >= 1 - 1 / 1.15 - 1e-9
    assert more.figure("in_an_hour").after.low <= more.figure("in_an_hour").after.value * 0.85 + 1e-9
    for code in ("charge_Ah", "energy_Wh"):
        row, still = more.figure(code), same.figure(code)
        # A limit of error of 15 %, anywhere within: 0.95 of it, with what else there is.
        assert ends(row)[1] > max(0.12, ends(still)[1])
        difference = row.difference
        assert difference.high - difference.value >= 0.15 * row.after.value
    text = " ".join(more.assumptions)
    assert "against 10 psi more on the mean it may give up to 15 % less" in text
    assert "against 10 psi less on the mean it may give up to 15 % more" in " ".join(less.assumptions)
    assert "on the mean" not in " ".join(same.assumptions)


def test_by_the_file_alone_the_ends_are_out_as_well():
    site = scene_of()[0]
    result = at_pressures(50, 70, site=site)
    run, hour = result.figure("run_s").after, result.figure("in_an_hour").after
    assert run.high == pytest.approx(run.value / 0.85)
    assert run.low == run.value
    assert hour.low == pytest.approx(0.85 * hour.value)
    assert hour.high == hour.value
    assert "up to 15 % less" in " ".join(result.assumptions)


def test_at_the_same_pressures_nothing_is_less_sure():
    site, seen = scene_of()
    result = what_if(site, PUMP, (TankChange("t", 240.0),), hours=24.0, measured=seen)
    assert result.runs.less_flow == 0
    assert replace(result.runs, assumptions=()).less_flow == 0
    assert "at any pressure" in " ".join(result.assumptions)
    # Against far more pressure a share says nothing any more: it ends where a tenth is left.
    assert at_pressures(150, 190, seen=seen).runs.less_flow == 0.9


@pytest.mark.parametrize(("more_psi", "is_told"), [(0.32, False), (0.35, True)])
def test_a_pressure_that_hardly_changes_is_not_told(more_psi, is_told):
    """Half a percent less flow at a third of a psi more."""
    _, seen = scene_of()
    told = " ".join(at_pressures(40 + more_psi, 60 + more_psi, seen=seen).assumptions)
    assert ("on the mean" in told) is is_told


def test_another_use_is_more_of_the_same_runs_or_longer_ones():
    """Middle values by more of the same; each end holds what taps open for longer would make of them."""
    site, seen = scene_of()
    run_h = seen.duty.value * 24
    as_used, twice, half = (
        what_if(site, PUMP, (UseChange("u", run_s=3600 * times * run_h),), hours=24.0, measured=seen)
        for times in (1.0, 2.0, 0.5)
    )
    assert as_used.figure("run_s").after == as_used.figure("run_s").before
    for result, times in ((twice, 2.0), (half, 0.5)):
        run, day = result.figure("run_s"), result.figure("a_day")
        assert run.after.value == run.before.value
        assert day.after.value == pytest.approx(times * day.before.value)
        # The log's runs and those to come are two lots, so each end is at least the root of two further out.
        for end in ("low", "high"):
            was, will = (abs(getattr(each, end) - each.value) for each in (run.before, run.after))
            assert will >= 2**0.5 * was - 1e-9
        assert result.figure("in_an_hour").after is None
        assert "more or fewer of the same runs" in " ".join(result.assumptions)
    assert "same runs" not in " ".join(as_used.assumptions)
    lengths = np.diff(seen.stretches_Wh.edges_h) * 3600
    longer = np.median(replayed(lengths[::2], lengths[1::2], 1.0, longer=2.0).runs_s)
    run, day = twice.figure("run_s").after, twice.figure("a_day")
    assert run.low <= longer <= run.high
    # Twice the time at the taps makes so many starts of the log's own, and the end on that side holds as many.
    many = len(replayed(lengths[::2], lengths[1::2], 1.0, longer=2.0).runs_s) / len(lengths[1::2])
    per_log = day.before.low if many < 2 else day.before.high
    end = day.after.low if many < 2 else day.after.high
    assert end == pytest.approx(many * per_log)


def with_cable(**cable):
    """That site with a cable to its inverter, which stops at 21 V."""
    main = {"name": "main", "gauge_AWG": "3/0", "length_m": 2.0, "fuse_A": 200.0, "carries": ["inv"], **cable}
    losses = {"idle_W": 0.0, "efficiency_pct": 88.0, "cut_off_V": 21.5}
    return a_site(losses, conductors=[{key: value for key, value in main.items() if value is not None}])


def test_a_larger_inverter_tells_that_its_cable_is_too_small():
    """3,000 VA at 21.5 V are 159 A, and 6,000 VA 317: the 200 A fuse may blow, and 3/0 bears less than 396 A."""
    result = what_if(with_cable(), "pump", changes_of(("inverter 6000 VA",)), hours=1.0)
    (sentence,) = [text for text in result.amiss if "Cable and fuse" in text]
    assert sentence.startswith(
        "Cable and fuse 'main' are then doubtful: 125 % of the greatest current, 317 A, is 396 A"
    )
    assert sentence.endswith('Ask also for "cable".')
    for fine in (("inverter 2500 VA",), ("inverter 6000 VA", "cable")):
        amiss = what_if(with_cable(), "pump", changes_of(fine), hours=1.0).amiss
        assert not any("Cable and fuse" in text for text in amiss)
    # What fails is told before all else, with why.
    failing = what_if(with_cable(), "pump", changes_of(("cable 10 mm2",)), hours=1.0)
    assert failing.after.conductors[0].failing
    assert not any("Cable and fuse" in text for text in failing.amiss)


def test_where_one_table_has_no_size_the_other_s_is_taken():
    """396 A: no gauge up to 4/0 bears them, 240 mm2 does with a fuse of 400 A."""
    result = what_if(with_cable(), "pump", changes_of(("inverter 6000 VA", "cable")), hours=1.0)
    assert result.not_judged == ()
    assert result.sizes == (
        "The smallest that fits: 240 mm² with a 400 A fuse (loses 0.061 %). No single cable up to 4/0 AWG carries "
        "396 A with at most 3 % lost; make it shorter, lay two, or raise the bank's voltage.",
    )
    assert result.after.conductors[0].wanted_A <= 400
    # Where none has, nothing is chosen, and it is said once.
    none = what_if(with_cable(), "pump", changes_of(("inverter 9000 VA", "cable")), hours=1.0)
    assert none.sizes == ()
    assert "no single cable" in none.not_judged[0].sentence


@pytest.mark.parametrize(("cable", "size"), [({}, "3/0"), ({"gauge_AWG": None, "area_mm2": 50.0}, 95.0)])
def test_a_cable_is_chosen_in_sizes_of_its_own_kind(cable, size):
    setup = Setup(with_cable(fuse_kA=10.0, **cable), with_cable().loads[0])
    (made_cable,) = change_of("cable").made_in(setup).site.conductors
    assert size in (made_cable.gauge_AWG, made_cable.area_mm2)
    assert (made_cable.fuse_A, made_cable.fuse_kA) == (200.0, 10.0)


def test_differences_have_the_ends_that_the_log_leaves():
    """Of runs what the tank leaves open; of amounts what chance makes of both alike; of plates none."""
    site, seen = scene_of()
    result = what_if(site, PUMP, changes_of(("tank 300 L",)), hours=24.0, measured=seen)
    for code in ("run_s", "in_an_hour", "a_day"):
        row = result.figure(code)
        assert row.difference.value == pytest.approx(row.after.value - row.before.value)
        assert row.difference.low == pytest.approx(row.after.low - row.before.value)
        assert row.difference.high == pytest.approx(row.after.high - row.before.value)
        assert row.limit.at_most == (code != "run_s")
    # Starts a day by those of the replayed log: one more or less may fall into it, and the rate has its own chance.
    lengths, times = np.diff(seen.stretches_Wh.edges_h) * 3600, result.runs.times
    count, fewest, most = (
        len(replayed(lengths[::2], lengths[1::2], each).runs_s) for each in (times.value, times.high, times.low)
    )
    starts_s = replayed(lengths[::2], lengths[1::2], times.value).starts_s
    busiest = max(int(np.sum((starts_s >= at) & (starts_s < at + 3600))) for at in starts_s)
    assert result.figure("in_an_hour").after.value == busiest
    assert result.runs.measured
    assert result.figure("run_s").name == "usual run"
    rate, runs, day = seen.starts_per_h, len(lengths[1::2]), result.figure("a_day").after
    chance = (rate.high - rate.low) / 2 / rate.value
    assert day.value == pytest.approx(24 * rate.value * count / runs)
    assert day.low == pytest.approx(24 * rate.value * (min(fewest, count) - 1) / runs * (1 - chance))
    assert day.high == pytest.approx(24 * rate.value * (max(most, count) + 1) / runs * (1 + chance))
    half = what_if(site, PUMP, (UseChange("u", run_s=1800 * seen.duty.value * 24),), hours=24.0, measured=seen)
    for code in ("charge_Ah", "energy_Wh"):
        row = half.figure(code)
        assert row.difference.value == pytest.approx(-row.before.value / 2)
        assert row.difference.low == pytest.approx(-row.before.high / 2)
        assert row.difference.high == pytest.approx(-row.before.low / 2)
    drop = what_if(with_cable(), "pump", changes_of(("cable 95 mm2",)), hours=1.0).figure("drop_pct")
    assert drop.difference == Within.exactly(drop.after.value - drop.before.value)


def test_the_difference_of_a_figure_without_an_end_has_none():
    """Too few runs leave an amount open: then the plain difference."""
    was, will = Within(10.0, 5.0, 15.0), Within(20.0, 10.0, 30.0)
    assert _difference(was, will, in_proportion=True) == Within(10.0, 5.0, 15.0)
    assert _difference(was, will, in_proportion=True, off=-0.1) == Within(10.0, 3.0, 17.0)
    assert _difference(was, will) == Within.exactly(10.0)
    for open_ended in (Within(10.0, 5.0, inf), Within(10.0, -inf, 15.0), Within(0.0, 0.0, 1.0)):
        assert _difference(open_ended, will, in_proportion=True) == Within.exactly(20.0 - open_ended.value)
    assert _difference(None, will) is None
    assert _difference(was, None) is None


def test_what_a_drive_is_taken_to_do_is_said_of_a_drive_alone():
    motor = {"name": "pump", "kind": "pump", "inverter": "inv", "power_W": 800.0, "voltage_V": 230.0, "hp": 0.5}
    site = a_site(loads=[motor])

    def assumed(*asked):
        return " ".join(what_if(site, "pump", changes_of(asked), hours=1.0).assumptions)

    words = "What a drive saves by running slower is not reckoned with"
    assert words in assumed("drive", "inverter 2000 VA")
    assert words not in assumed("soft start")
    assert words not in assumed("inverter 2000 VA")


def test_a_changed_pressure_stands_in_the_unit_of_the_file():
    """In psi where the file is in psi, also where it had no pre-charge; else in kPa."""
    psi = {"load": "pump", "tank_volume_gal": 44.0, "cut_in_psi": 40.0, "cut_out_psi": 60.0}
    kPa = {"load": "pump", "tank_volume_L": 160.0, "cut_in_kPa": 280.0, "cut_out_kPa": 410.0}
    for water, unit, other, value in ((psi, "psi", "kPa", 38.0), (kPa, "kPa", "psi", 38.0 * PSI)):
        for more in ({}, {f"precharge_{unit}": 10.0}):
            site = a_site(water=water | more)
            changed = PrechargeChange("a", 38.0 * PSI).made_in(Setup(site, site.loads[0])).site.water
            assert getattr(changed, f"precharge_{unit}") == pytest.approx(value)
            assert getattr(changed, f"precharge_{other}") is None
            assert getattr(changed, f"cut_in_{unit}") == water[f"cut_in_{unit}"]


def test_a_cable_that_is_as_it_was_hides_no_other_that_is_worse():
    """One that carries a pump alone stands ahead of the inverter's."""
    main = with_cable().conductors[0]
    tap = main.model_copy(update={"name": "tap", "carries": ["pump"], "gauge_AWG": "10", "fuse_A": 30.0})
    site = with_cable().model_copy(update={"conductors": [tap, main]})
    result = what_if(site, "pump", changes_of(("inverter 6000 VA",)), hours=1.0)
    assert [text.split(" are then ")[0] for text in result.amiss if "Cable and fuse" in text] == [
        "Cable and fuse 'main'"
    ]


def test_starts_a_day_by_the_file_are_running_time_over_that_of_a_tank():
    """Of two hours a day the pump starts at most as often as it fills its tank in them."""
    site = scene_of()[0]
    result = what_if(site, PUMP, (UseChange("u", run_s=7200.0),), hours=24.0)
    assert not result.runs.measured
    assert result.figure("run_s").name == "run with no water drawn"
    assert result.figure("a_day").after.value == pytest.approx(7200 / result.figure("run_s").after.value)


def test_a_change_of_which_nothing_is_known_is_told_apart():
    """Alone it leaves nothing to compare; beside another it is left out."""
    alone, beside = (
        what_if(a_site(), "pump", changes_of(asked), hours=1.0)
        for asked in (("tank 300 L",), ("tank 300 L", "bank 900 Ah"))
    )
    assert (alone.nothing_judged, beside.nothing_judged) == (True, False)
    assert len(beside.not_judged) == 1


@pytest.mark.parametrize("times", [0.5, 2.0])
def test_the_ends_of_another_use_are_two_lots_and_longer_taps(times):
    """The root of two of the log's own interval, at a right angle to what taps open for longer make of a run."""
    site, seen = scene_of()
    run_s = 3600 * times * seen.duty.value * 24
    result = what_if(site, PUMP, (UseChange("u", run_s=run_s),), hours=24.0, measured=seen)
    lengths = np.diff(seen.stretches_Wh.edges_h) * 3600
    longer = replayed(lengths[::2], lengths[1::2], 1.0, longer=times).runs_s
    was, will = result.figure("run_s").before, result.figure("run_s").after
    shift = float(np.median(longer)) - was.value
    assert will.low == pytest.approx(was.value - np.hypot(2**0.5 * (was.value - was.low), min(shift, 0)))
    assert will.high == pytest.approx(was.value + np.hypot(2**0.5 * (was.high - was.value), max(shift, 0)))
    day, many = result.figure("a_day"), len(longer) / len(lengths[1::2]) / times
    assert day.after.low == pytest.approx(times * day.before.low * min(many, 1))
    assert day.after.high == pytest.approx(times * day.before.high * max(many, 1))


def test_a_tank_is_sized_where_there_is_one_alone():
    """Without a water table its key is named."""
    site = a_site()
    missing = change_of("tank for 60 s").made_in(Setup(site, site.loads[0]))
    assert isinstance(missing, Missing)
    assert missing.add == ("water",)
    assert change_of("tank for 60 s").answer(Setup(site, site.loads[0])) == ""
    # Nor is a size told where the flow is not known.
    site = scene_of()[0]
    site = site.model_copy(update={"water": site.water.model_copy(update={"flow_L_per_min": None})})
    setup = Setup(site, site.load(PUMP))
    assert isinstance(change_of("tank for 60 s").size_L(setup), Missing)
    assert change_of("tank for 60 s").answer(setup) == ""
    assert (PRESSURES_OFF, VOLUME_OFF, FLOW_OFF) == (0.12, 0.05, 0.25)
