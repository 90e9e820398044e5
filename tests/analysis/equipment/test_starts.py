"""Kinds of starts, of motors and of what feeds them, held against tables, a textbook and sums done by hand."""

from cmath import phase
from math import cos, hypot, radians, sqrt

import numpy as np
import pytest

from shuntbook.analysis.bank.draw import bank_draw
from shuntbook.analysis.check_site.contradictions import contradictions
from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.check_site.unjudged import unjudged
from shuntbook.analysis.equipment.conductor import Drop, check_conductors
from shuntbook.analysis.equipment.demand import Demand, demand, power_factors, starting, va_of_watts
from shuntbook.analysis.equipment.inverter_check import check_inverter
from shuntbook.analysis.equipment.judged import Judged
from shuntbook.analysis.equipment.modified_wave import fundamental, more_amps, more_heat, more_watts, torque
from shuntbook.analysis.equipment.motor_start import direct_current_start_A, on_modified
from shuntbook.analysis.forecast.bank_check import bank_by_plates
from shuntbook.analysis.forecast.forecast import forecast
from shuntbook.analysis.forecast.unseen_starts import unseen_starts
from shuntbook.analysis.nameplate.estimate import estimate
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.site.motor_kinds import motor_of, usual_start_s
from shuntbook.analysis.site.motor_tables import full_load_A
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Inverter, Load
from shuntbook.analysis.stats.interval95 import Within

INVERTER = {"name": "shed", "continuous_VA": 3000.0, "surge_VA": 6000.0, "surge_s": 5.0, "efficiency_pct": 100.0,
            "idle_W": 0.0}  # fmt: skip
#: A 1/2 hp submersible of 5 A and 670 W with letter M: 10.0 to 11.19 kVA/hp (NEC Table 430.7(B)), 5,000 to 5,595 VA.
PUMP = {"name": "pump", "kind": "pump", "inverter": "shed", "voltage_V": 230.0, "current_A": 5.0, "power_W": 670.0,
        "hp": 0.5, "code_letter": "M"}  # fmt: skip
#: A pump for direct current: 8 A at 24 V, 60 A stalled.
POND = {"name": "pond", "kind": "pump", "voltage_V": 24.0, "current_A": 8.0}


def asked(load=PUMP, inverter=INVERTER, without=(), **more):
    """What a load asks of its inverter."""
    plate = {key: value for key, value in {**load, **more}.items() if key not in without}
    got = demand(Load(**plate), Inverter(**inverter))
    assert isinstance(got, Demand)
    return got


def site(*loads, inverters=(INVERTER,), **tables):
    """A lithium bank of 24 V and 8 mohm that lets out 200 A, 400 A for 5 s, with these loads."""
    bank = {"chemistry": "lifepo4", "nominal_V": 24.0, "capacity_Ah": 400.0, "resistance_mohm": 8.0, "cut_off_V": 20.0,
            "max_discharge_A": [200.0, 400.0], "max_discharge_s": 5.0}  # fmt: skip
    given = {"name": "shed", "bank": bank, "inverters": list(inverters), "loads": list(loads)}
    return Site.model_validate(given | tables)


def kind_of(capacitor=None, phases=1):
    """The figures of a kind of motor."""
    return motor_of(Load(name="m", kind="motor", capacitor=capacitor, phases=phases))


def ends(amount):
    return amount.low, amount.high


# -- soft starters -----------------------------------------------------------------------------------------------------


def test_a_soft_starter_lets_two_to_four_times_the_running_amps_through():
    """2 to 4 times 1,150 VA (common practice, no source) in a ramp of 3 s, in place of 5,000 to 5,595 VA in 0.5 s."""
    direct, soft = asked(), asked(start="soft")
    assert ends(direct.start_VA) == pytest.approx((5000, 5595))
    assert (soft.start_VA.low, soft.start_VA.value, soft.start_VA.high) == pytest.approx((2300, 3450, 4600))
    assert (direct.start_s, soft.start_s) == (0.5, 3.0)
    assert soft.running_VA == direct.running_VA
    assert asked(start="soft", start_s=6.0).start_s == 6.0
    assert any("2 to 4 times the running draw" in text and "no source" in text for text in soft.assumptions)


def test_a_soft_starter_never_asks_more_than_the_motor_by_itself():
    """15 A at standstill are 3,450 VA: four times the running 1,150 VA would be more."""
    soft = asked(start="soft", without=("code_letter",), locked_rotor_A=15.0)
    assert soft.start_VA.high == pytest.approx(3450)


@pytest.mark.worked("torque with the square of the volts (by hand)")
def test_torque_falls_with_the_square_of_the_amps():
    """1,150 x 2 / 5,595 and 1,150 x 4 / 5,000 of the amps: 17 and 85 % of the torque (handbooks of motors)."""
    sentence = next(text for text in asked(start="soft").assumptions if "torque" in text)
    assert f"{100 * (2300 / 5595) ** 2:.0f} to {100 * (4600 / 5000) ** 2:.0f} % of its torque" in sentence
    unknown = next(text for text in asked(start="soft", without=("code_letter",)).assumptions if "torque" in text)
    assert "No word on the torque" in unknown
    assert "loads.locked_rotor_A or loads.code_letter" in unknown
    # check-site says which keys are missing, and nothing of it where they are there or nothing is started softly.
    plate = {key: value for key, value in PUMP.items() if key != "code_letter"}
    sentences = {
        name: [each for each in unjudged(site(load)) if "torque" in each.sentence]
        for name, load in {
            "without": {**plate, "start": "soft"}, "with": {**PUMP, "start": "soft"}, "straight": plate,
            "heater": {"name": "pump", "kind": "heater", "power_W": 9.0, "start": "soft", "inverter": "shed"},
        }.items()
    }  # fmt: skip
    assert [each.about for each in sentences["without"]] == [
        (("loads", 0, "locked_rotor_A"), ("loads", 0, "code_letter"))
    ]
    assert sentences["with"] == sentences["straight"] == sentences["heater"] == []


def test_watts_of_a_soft_start_fall_faster_than_its_volt_amperes():
    """Of cut waves volt-amperes go with the voltage, watts with its square (Ohm's law at the motor's impedance)."""
    direct, soft = asked(), asked(start="soft")
    share = 2300 / 5595
    assert soft.standstill.low == pytest.approx(share * direct.standstill.low)
    assert soft.standstill.high == direct.standstill.high
    # The middle of a ramp: half-way from the motor's share of its voltage to all of it.
    assert soft.standstill.value == pytest.approx(0.7 * (1 + 3450 / 5297.5) / 2)
    assert soft.start_power_factor.low == soft.standstill.low
    # Never less than running: 2,300 VA x 0.5 x 0.41 are 473 W.
    assert soft.start_W().low == 670.0
    assert soft.start_W().high == pytest.approx(4600 * 0.85)


def test_an_inverter_too_small_for_a_direct_start_holds_a_soft_one():
    """4,600 VA within a surge of 4,800 VA; 5,000 VA are not. The ramp of 3 s is within its 5 s, and not within 2 s."""
    small = {**INVERTER, "surge_VA": 4800.0}
    # Within what it gives for good, in the unit of that rating.
    for unit in ("VA", "W"):
        where = site({**PUMP, "start": "drive"}, inverters=[{"name": "shed", f"continuous_{unit}": 3000.0}])
        at_start = check_inverter(where.inverters[0], where).starting
        assert isinstance(at_start, Judged)
        assert (at_start.verdict, at_start.rating, at_start.unit) == ("holds", 3000.0, unit)
    words = {}
    for start in ("direct", "soft", "drive"):
        where = site({**PUMP, "start": start}, inverters=[small])
        words[start] = check_inverter(where.inverters[0], where).verdict
    assert words == {"direct": "fails", "soft": "holds", "drive": "holds"}
    where = site({**PUMP, "start": "soft"}, inverters=[{**small, "surge_s": 2.0}])
    check = check_inverter(where.inverters[0], where)
    assert check.verdict == "fails"
    assert isinstance(check.starting, Judged)
    assert "with 'pump' starting softly" in check.starting.sentence
    assert "3 s" in check.starting.sentence


# -- drives ------------------------------------------------------------------------------------------------------------


def test_a_drive_asks_no_more_than_running():
    """Whatever the motor would draw at standstill."""
    got = asked(start="drive")
    assert (ends(got.start_VA), got.extra_VA.high) == ((1150, 1150), 0.0)
    assert got.start_W() == Within.exactly(670.0)
    assert any("brings it up in a ramp" in text for text in got.assumptions)
    assert any("of what goes into its drive" in text for text in got.assumptions)
    assert got.watts_of_start == ""
    where = site({**PUMP, "start": "drive"})
    assert bank_draw(where, where.loads).starting_W is None
    # Where the plate has watts alone the amps are those of a rectifier: 670 W at 0.65 (0.55 to 0.98, from memory).
    by_watts = asked(start="drive", without=("current_A",))
    assert (by_watts.running_VA, *ends(by_watts.running)) == pytest.approx((670 / 0.65, 670 / 0.98, 670 / 0.55))


def test_a_three_phase_motor_behind_a_drive_has_a_plate_of_its_own():
    """2 A at 230 V on three phases are 796.7 VA, at 0.8 637.4 W; into the drive 637.4 / 0.97 W, over 0.65 in VA."""
    motor = {"name": "m", "kind": "motor", "phases": 3, "voltage_V": 230.0, "current_A": 2.0, "power_factor": 0.8,
             "start": "drive", "inverter": "shed"}  # fmt: skip
    got = asked(motor)
    assert got.running_W == pytest.approx(230 * sqrt(3) * 2 * 0.8 / 0.97)
    assert got.running_VA == pytest.approx(got.running_W / 0.65)
    assert got.phases == 1
    assert any("2 to 5 % more watts" in text for text in got.assumptions)
    # The nameplate's chain takes the same watts as the inverter's check.
    where = site(motor)
    assert estimate(where, "m", hours=1.0).ac_W == pytest.approx(got.running_W)
    assert [step.value for step in estimate(where, "m", hours=1.0).steps if "drive" in step.step] == [
        pytest.approx(1 / 0.97)
    ]
    one = {**INVERTER, "phases": 1}
    where = site(motor, inverters=[one])
    assert check_inverter(where.inverters[0], where).verdict == "holds"


@pytest.mark.parametrize(("start", "lasts_s"), [(None, 0.5), ("direct", 0.5), ("soft", 3.0), ("drive", 3.0)])
def test_a_ramp_lasts_seconds(start, lasts_s):
    """Half a second straight on, 3 s of 1 to 10 by a ramp (common practice, no source), and it is said."""
    notes = []
    assert usual_start_s(Load(name="x", kind="pump", start=start), notes) == lasts_s
    assert "no source" in notes[0]
    assert ("set to 1 to 10 s" in notes[0]) == (lasts_s == 3.0)
    assert usual_start_s(Load(name="x", kind="heater", start=start), []) == 0.0


# -- capacitors --------------------------------------------------------------------------------------------------------


def textbook(capacitor):
    """Line amps and power factor at standstill of a textbook's 1/3 hp, 120 V motor, with and without its capacitor.

    Windings of 4.5 + j3.7 and 9.5 + j3.5 ohm; 177 uF bring their amps a quarter turn apart (A. E. Fitzgerald and
    others, Electric Machinery, on the capacitor-start motor; from memory).
    """
    reactance = 1e6 / (2 * np.pi * 60 * 177) if capacitor else 0.0
    main, start = 120 / complex(4.5, 3.7), 120 / complex(9.5, 3.5 - reactance)
    return abs(main + start), cos(phase(main + start)), abs(phase(start / main))


@pytest.mark.worked("Fitzgerald and others, Electric Machinery (from memory)")
def test_the_textbooks_motor_is_as_the_book_says():
    """The capacitor brings the amps of the windings a quarter turn apart: the example's own answer."""
    assert textbook(capacitor=True)[2] == pytest.approx(radians(90), abs=0.02)


@pytest.mark.worked("Fitzgerald and others, Electric Machinery (from memory)", "NEC Table 430.248 (read)")
@pytest.mark.parametrize(("kind", "capacitor"), [("none", False), ("start", True)])
def test_starts_hold_a_textbooks_motor(kind, capacitor):
    """1/3 hp at 115 V runs on 7.2 A (NEC Table 430.248): 4.4 and 3.1 times, at power factors of 0.84 and 0.95."""
    amps, factor, _ = textbook(capacitor)
    usual = kind_of(kind)
    assert usual.start.low <= amps / full_load_A(1 / 3, 115) <= usual.start.high
    assert usual.standstill.low <= factor <= usual.standstill.high


#: 4-inch submersibles at 230 V: amps running, amps and standstill (a submersible-motor manual, from memory).
WITHOUT = ((5.0, 32.2), (6.8, 40.7), (8.2, 48.7), (10.6, 66.6))
WITH = ((5.0, 23.0), (6.8, 34.2), (8.2, 41.8))


@pytest.mark.worked("a submersible-motor manual (from memory)")
@pytest.mark.parametrize(("kind", "rows"), [("none", WITHOUT), ("start", WITH)])
def test_starts_hold_a_motor_manuals_table(kind, rows):
    """4.6 to 5.1 times with a start capacitor, 5.9 to 6.4 without one; the value lies among them."""
    times = [locked / running for running, locked in rows]
    usual = kind_of(kind).start
    assert usual.low <= min(times)
    assert max(times) <= usual.high
    assert min(times) - 0.2 <= usual.value <= max(times) + 0.2


@pytest.mark.worked("NEMA MG 1, 12.33 (from memory)", "NEC Table 430.248 (read)")
@pytest.mark.parametrize(
    ("hp", "letters_N_A", "letters_O_A"),
    # NEMA MG 1, 12.33, at 115 V: the most that designs N and O may draw at standstill (from memory).
    [(1 / 3, 31.0, 50.0), (1 / 2, 45.0, 50.0), (3 / 4, 61.0, None), (1, 80.0, None)],
)
def test_starts_hold_a_standards_limits(hp, letters_N_A, letters_O_A):
    """Design N is that of capacitor-start motors, O that of split-phase ones: within the ranges of both."""
    running_A = full_load_A(hp, 115)
    assert kind_of("start").start.low <= letters_N_A / running_A <= kind_of("start").start.high
    if letters_O_A is not None:
        assert kind_of("none").start.low <= letters_O_A / running_A <= kind_of("none").start.high


@pytest.mark.parametrize("kind", ["none", "start", "run", "both"])
def test_a_capacitor_says_how_hard_a_pump_starts(kind):
    """Without amps at standstill or a letter the kind's own multiple counts; with a letter the letter does."""
    got, usual = asked(without=("code_letter", "power_W"), capacitor=kind), kind_of(kind)
    assert got.start_VA == usual.start.within.scaled(1150.0)
    assert got.running_W == pytest.approx(1150 * usual.running.value)
    assert ends(got.power_factor) == ends(usual.running)
    assert any(usual.start.source in text for text in got.assumptions)
    assert f"{usual.standstill.low:.2g} to {usual.standstill.high:.2g}" in got.watts_of_start
    assert f"{usual.standstill.low:g} to {usual.standstill.high:g}" in va_of_watts(Load(**PUMP, capacitor=kind))
    assert ends(asked(capacitor=kind).start_VA) == pytest.approx((5000, 5595))
    assert power_factors(Load(**PUMP, capacitor=kind))[1].value == usual.standstill.value


def test_kinds_of_motors_are_within_what_a_motor_can_be():
    """No factor above 1, no start beyond ten times running, no range that says nothing; each has a source."""
    for kind in (kind_of(), kind_of(phases=3), *map(kind_of, ("none", "start", "run", "both"))):
        factors = [each for each in (kind.standstill, kind.running) if each is not None]
        for each in (kind.start, *factors):
            assert each.low < each.value < each.high <= 2.5 * each.low, kind.word
            assert each.source
        assert all(each.high <= 1 for each in factors)
        assert 2 <= kind.start.low < kind.start.high < 10
        # A motor that stands still takes no larger share of watts than one with the best of power factors.
        assert kind.standstill.low >= 0.4
    # More of the watts go with a start capacitor; a run capacitor leaves hardly any volt-amperes beside them.
    assert kind_of("start").standstill.value > kind_of("none").standstill.value
    assert kind_of("run").running.low > kind_of("start").running.high
    assert kind_of("run").start.value < kind_of("start").start.value < kind_of("none").start.value


def test_without_a_word_on_it_any_single_phase_motor_is_taken():
    got = asked(without=("code_letter",))
    # Six times is behind NEC Table 430.251(A) (from memory), three to seven stand on pages of the trade.
    assert got.start_VA == kind_of().start.within.scaled(1150.0) == Within(6900.0, 3450.0, 8050.0)
    assert any("add locked_rotor_A or code_letter" in text for text in got.assumptions)


# -- three phases ------------------------------------------------------------------------------------------------------


#: NEC Tables 430.250 and 430.251(B), 230 V, design B: full-load amps and amps at standstill (from memory).
THREE = ((0.5, 2.2, 20.0), (0.75, 3.2, 25.0), (1, 4.2, 30.0), (2, 6.8, 50.0), (5, 15.2, 92.0), (10, 28.0, 162.0))


@pytest.mark.worked("NEC Tables 430.250 and 430.251(B) (from memory)")
@pytest.mark.parametrize(("hp", "running_A", "locked_A"), THREE)
def test_three_phase_motors_by_the_tables(hp, running_A, locked_A):
    """Volts times amps times the root of 3; half as many amps at 460 V as at 230 V."""
    motor = {"name": "m", "kind": "motor", "phases": 3, "hp": hp, "inverter": "shed"}
    got = asked(motor)
    assert got.running_VA == pytest.approx(230 * sqrt(3) * running_A)
    assert kind_of(phases=3).start.low <= locked_A / running_A <= kind_of(phases=3).start.high
    assert asked(motor, locked_rotor_A=locked_A).start_VA.value == pytest.approx(230 * sqrt(3) * locked_A)
    assert full_load_A(hp, 460, 3) == pytest.approx(running_A / 2, rel=0.01)
    assert estimate(site(motor), "m", hours=1.0).ac_W == pytest.approx(got.running_W)


@pytest.mark.worked("NEC Table 430.7(B) (read)")
@pytest.mark.parametrize(("letter", "low_kVA", "high_kVA"), [("K", 8.0, 8.99), ("V", 22.4, 44.8)])
@pytest.mark.parametrize("phases", [1, 3])
def test_a_code_letter_is_of_volt_amperes_whatever_the_phases(letter, low_kVA, high_kVA, phases):
    """Locked-rotor kVA per horsepower; V has no upper end, and twice its lower one is taken and said."""
    motor = {"name": "m", "kind": "motor", "phases": phases, "hp": 2.0, "code_letter": letter, "inverter": "shed"}
    got = asked(motor)
    assert ends(got.start_VA) == pytest.approx((2000 * low_kVA, 2000 * high_kVA))
    assert got.start_VA.value == pytest.approx(1000 * (low_kVA + high_kVA))
    assert any("has no upper end" in text for text in got.assumptions) == (letter == "V")
    assert any("amps of 'm' are from NEC Table 430.2" in text for text in got.assumptions)


def test_the_three_phase_table_has_no_column_for_400_volts():
    with pytest.raises(Refusal, match=r"no column for 400 V \(it has 200, 208, 220 to 240, 440 to 480 and 550 to 600"):
        full_load_A(1.0, 400, 3)


@pytest.mark.parametrize(("phases", "verdict"), [(1, "fails"), (3, "holds"), (None, "doubtful")])
def test_one_phase_does_not_run_a_three_phase_motor(phases, verdict):
    """But through a drive: said by the inverter's word, by check-site, and to be looked up where nothing is said."""
    motor = {"name": "m", "kind": "motor", "phases": 3, "voltage_V": 230.0, "current_A": 1.0, "locked_rotor_A": 6.0,
             "inverter": "shed"}  # fmt: skip
    where = site(motor, inverters=[{**INVERTER, **({"phases": phases} if phases else {})}])
    check = check_inverter(where.inverters[0], where)
    assert check.verdict == verdict
    assert isinstance(check.running, Judged)
    remarks = [text for text in contradictions(where) if "drive" in text]
    assert bool(remarks) == (phases != 3)
    if phases == 1:
        assert "gives one phase and 'm' needs three, which only a drive makes of one" in check.running.sentence
    if phases is None:
        assert "inverters.phases" in check.running.sentence
        assert "only through a drive" in remarks[0]
    driven = site({**motor, "start": "drive"}, inverters=[{**INVERTER, **({"phases": phases} if phases else {})}])
    assert not [text for text in contradictions(driven) if "three-phase" in text]
    assert check_inverter(driven.inverters[0], driven).verdict == "holds"


# -- a modified sine ---------------------------------------------------------------------------------------------------


def steps(stands_deg, n=36_000):
    """One turn of a wave that stands at its voltage for so many degrees of each half."""
    at = np.arange(n) * 360 / n
    width = stands_deg / 2
    return (abs(at - 90) < width).astype(float) - (abs(at - 270) < width)


@pytest.mark.parametrize("stands_deg", [90.0, 105.0, 120.0])
def test_the_sine_within_the_steps_by_a_fourier_transform(stands_deg):
    """numpy's transform of the wave itself: 90 % of its effective volts at 90 degrees, 95.5 % at 120."""
    wave = steps(stands_deg)
    spectrum = np.abs(np.fft.rfft(wave)) / len(wave) * sqrt(2)
    assert fundamental(stands_deg) == pytest.approx(spectrum[1] / sqrt(np.mean(wave**2)), rel=2e-3)


@pytest.mark.parametrize(
    ("times", "stands_deg", "end"), [(6.0, 90.0, "high"), (6.0, 120.0, "low"), (3.0, 120.0, "low")]
)
def test_amps_on_a_modified_sine_by_a_fourier_transform(times, stands_deg, end):
    """Each harmonic through an inductance that lets `times` the running amps through at full voltage."""
    spectrum = np.abs(np.fft.rfft(steps(stands_deg)))
    n = np.arange(2, 100)
    harmonics = times * spectrum[2:100] / spectrum[1] / n
    assert getattr(more_amps(Within.exactly(times)), end) == pytest.approx(hypot(1.0, *harmonics), rel=2e-3)


@pytest.mark.worked("Fourier's sum of a square wave (by hand)")
def test_a_modified_sine_costs_amps_heat_watts_and_torque():
    """Of six times the running amps at standstill: up to 1.24 times the amps, 1.53 the heat; the trade says 20 %."""
    amps, heat, watts = (each(Within.exactly(6.0)) for each in (more_amps, more_heat, more_watts))
    assert ends(amps) == pytest.approx((1.038, 1.236), abs=1e-3)
    assert ends(heat) == pytest.approx((1.038**2, 1.236**2), abs=2e-3)
    assert all(each.value == pytest.approx((each.low + each.high) / 2) for each in (amps, watts, torque()))
    # A tenth to three tenths of the watts heat the windings (from memory).
    assert ends(watts) == pytest.approx((1 + 0.1 * (1.038**2 - 1), 1 + 0.3 * (1.236**2 - 1)), abs=1e-3)
    assert ends(torque()) == pytest.approx((8 / np.pi**2, 9 / np.pi**2))
    # Three phases have the longer steps alone.
    assert more_amps(Within.exactly(6.0), phases=3) == Within.exactly(more_amps(Within.exactly(6.0)).low)
    assert torque(3) == Within.exactly(torque().high)
    assert more_watts(Within.exactly(6.0), 3).low == watts.low
    assert more_watts(Within.exactly(6.0), 3).high < watts.high
    assert "starts with 81 to 91 % of its torque" in on_modified(Load(**PUMP))
    assert "starts with 91 % of its torque" in on_modified(Load(**{**PUMP, "phases": 3}))


def test_a_motor_on_a_modified_sine_asks_more_of_its_inverter():
    """3 to 7 times at standstill: 1.01 to 1.31 times 1,150 VA; a heater, a drive and a sine ask what they ask."""
    steps_of = {**INVERTER, "waveform": "modified"}
    got, sine = asked(inverter=steps_of), asked(inverter={**INVERTER, "waveform": "sine"})
    assert sine == asked()
    assert ends(got.running) == pytest.approx((1.010 * 1150, 1.311 * 1150), rel=1e-3)
    assert got.running_W == pytest.approx(670 * more_watts(kind_of().start.within).value)
    assert got.start_VA == sine.start_VA
    assert any(
        "On the modified sine of 'shed' the motor of 'pump' takes 1.01 to 1.31 times" in x for x in got.assumptions
    )
    where = site(PUMP, inverters=[steps_of])
    assert estimate(where, "pump", hours=1.0).ac_W == pytest.approx(got.running_W)
    heater = {"name": "h", "kind": "heater", "power_W": 100.0, "inverter": "shed"}
    assert asked(heater, steps_of).running == Within.exactly(100.0)
    assert asked(start="drive", inverter=steps_of).running == Within.exactly(1150.0)


@pytest.mark.parametrize(
    ("load", "words"),
    [
        (PUMP, "its windings get 1.0 to 1.7 times the heat"),
        ({**PUMP, "capacitor": "run"}, "run capacitor gets hot"),
        ({**PUMP, "start": "drive"}, "many drives refuse"),
        (
            {"name": "radio", "kind": "electronics", "power_W": 20.0, "inverter": "shed"},
            "may hum, get hot",
        ),
        ({"name": "h", "kind": "heater", "power_W": 20.0, "inverter": "shed"}, None),
    ],
)
def test_check_site_speaks_of_a_modified_sine(load, words):
    """What it does to each kind of load; nothing of a heater, and nothing where the inverter gives a sine."""
    for waveform in ("modified", "sine"):
        where = site(load, inverters=[{**INVERTER, "waveform": waveform}])
        remarks = [text for text in contradictions(where) if "modified sine" in text]
        assert bool(remarks) == (words is not None and waveform == "modified")
        assert all(words in text for text in remarks)
        assert "pure sine" in " ".join(describe(where)) or waveform == "modified"


# -- direct current ----------------------------------------------------------------------------------------------------


def test_a_pump_on_the_bank_starts_by_its_stalled_amps():
    """60 A of 24 V against 8 A running (192 W): 1,440 W, in amps through the bank; no inverter loses anything."""
    where = site({**POND, "locked_rotor_A": 60.0})
    draw = bank_draw(where, where.loads)
    assert (draw.running_W, draw.starting_W) == (192.0, Within.exactly(1440.0))
    check = bank_by_plates(where, where.loads)
    assert check.verdict == "holds"
    assert any("60 A with 'pond' starting" in part.sentence for part in check.parts)
    # 24 V less 60 A x 8 mohm, and whatever the resistance may be beside that.
    assert check.sag.lowest_V.value == pytest.approx(24.0 - 60 * 0.008)
    plate = estimate(where, "pond", hours=2.0)
    assert (plate.energy_Wh, plate.ac_W, plate.efficiency) == (384.0, None, None)


def test_a_start_that_no_plate_tells_is_not_judged():
    """What a motor for direct current draws stalled is in no table: said by bank, cable and forecast."""
    cable = {"name": "dc", "area_mm2": 6.0, "length_m": 4.0, "fuse_A": 20.0, "carries": ["pond"]}
    where = site(POND, conductors=[cable])
    check = bank_by_plates(where, where.loads)
    assert check.verdict is None
    assert isinstance(check.sag, Missing)
    assert check.decides == ("loads.locked_rotor_A", "loads.start")
    assert forecast(where, "pond", hours=1.0).word.verdict is None
    assert isinstance(check_conductors(where)[0].starting, Missing)
    assert isinstance(check_conductors(where)[0].running, Drop)
    assert any("word on the start of 'pond'" in each.sentence for each in unjudged(where))
    known = site({**POND, "locked_rotor_A": 60.0}, conductors=[cable])
    lost = check_conductors(known)[0].starting
    assert isinstance(lost, Drop)
    assert lost.current_A == 60.0


def test_a_start_that_cannot_be_the_hardest_needs_no_word():
    """Ten times 8 A (from memory) are less than a well pump's 2,500 W; beside a small one it may be the hardest."""
    where = site(PUMP, POND)
    assert bank_by_plates(where, where.loads).verdict == "holds"
    small = site({**PUMP, "start": "soft"}, {**POND, "current_A": 40.0})
    check = bank_by_plates(small, small.loads)
    assert check.verdict is None
    assert [each.add for each in check.not_judged] == [("loads.locked_rotor_A", "loads.start")]


def test_electronics_bring_a_pump_on_the_bank_up_gently():
    """A drive of its own asks no more than running; a starter somewhere between running and stalled."""
    driven = site({**POND, "start": "drive"})
    assert bank_by_plates(driven, driven.loads).verdict == "holds"
    assert bank_draw(driven, driven.loads).unknown_start is None
    stalled = Load(**POND, locked_rotor_A=60.0)
    assert direct_current_start_A(stalled, 8.0) == Within.exactly(60.0)
    assert direct_current_start_A(stalled.model_copy(update={"start": "soft"}), 8.0) == Within(34.0, 8.0, 60.0)
    assert direct_current_start_A(Load(name="lamp", kind="lights", current_A=2.0), 2.0) == Within.exactly(2.0)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"power_factor": 0.8}, "direct current knows no power_factor"),
        ({"code_letter": "M", "hp": 0.5}, "direct current knows no code_letter"),
        ({"capacitor": "run"}, "direct current knows no capacitor"),
        ({"phases": 3}, "three-phase but on no inverter"),
        ({"phases": 3, "start": "drive"}, None),
        ({"kind": "heater", "start": "soft"}, "has no motor by its kind"),
        ({"kind": "heater"}, None),
    ],
)
def test_what_does_not_go_with_direct_current(more, words):
    """Keys of alternating current, and ways to start what has no motor."""
    remarks = contradictions(site({**POND, **more}))
    assert any(words in text for text in remarks) if words else not any("'pond'" in text for text in remarks)


@pytest.mark.parametrize("capacitor", [None, "none", "start", "run", "both"])
@pytest.mark.parametrize("start", ["direct", "soft", "drive"])
def test_a_start_winding_is_not_left_on(capacitor, start):
    """By starters and drives those motors are burnt that switch a winding off once they turn (trade)."""
    pump = {**PUMP, "start": start, **({"capacitor": capacitor} if capacitor else {})}
    remarks = [text for text in contradictions(site(pump)) if "may leave that on" in text]
    assert bool(remarks) == (start != "direct" and capacitor in ("none", "start", "both"))
    assert all(("a soft starter" if start == "soft" else "a drive") in text for text in remarks)


def test_a_capacitor_is_of_one_phase():
    motor = {**PUMP, "phases": 3, "capacitor": "run", "inverter": "shed"}
    assert any("only single-phase motors have one" in text for text in contradictions(site(motor)))


@pytest.mark.parametrize(
    ("load", "words"),
    [
        (PUMP, "Start of 'pump': 5,000 to 5,595 VA for 0.5 s, of 1,150 VA running."),
        ({**PUMP, "start": "soft"}, "Start of 'pump': 2,300 to 4,600 VA for 3 s, of 1,150 VA running."),
        ({**PUMP, "start": "drive"}, "Start of 'pump': no more than the 1,150 VA that it takes running."),
        ({**POND, "locked_rotor_A": 60.0}, "Start of 'pond': 60 A for 0.5 s, of 8 A running."),
        ({**POND, "start": "drive"}, "Start of 'pond': no more than the 8 A that it takes running."),
        (POND, "No word on the start of 'pond': what a motor for direct current draws before it turns (stalled)"),
        ({"name": "h", "kind": "heater", "power_W": 9.0}, None),
        ({"name": "pond", "kind": "pump"}, None),
        ({"name": "pump", "kind": "pump", "inverter": "shed"}, None),
    ],
)
def test_check_site_says_what_each_start_asks(load, words):
    """By the figures of the tests above; nothing of what has no motor, or of a plate that says nothing."""
    sentences = [text for text in describe(site(load)) if "tart of" in text]
    assert [text.startswith(words or "") for text in sentences] == [True] * bool(words)


def test_check_site_says_what_a_soft_start_leaves_open():
    plate = {key: value for key, value in PUMP.items() if key != "code_letter"}
    for load, known in ((plate, True), ({**plate, "start": "soft"}, False), ({**PUMP, "start": "soft"}, True)):
        assert any("the torque that a soft start leaves" in text for text in describe(site(load))) != known


# -- words and starts that were not seen -------------------------------------------------------------------------------


def test_how_a_load_starts_stands_in_its_sentences():
    words = {start: starting(Load(**PUMP, start=start)) for start in (None, "direct", "soft", "drive")}
    assert words[None] == words["direct"] == "with 'pump' starting (locked-rotor)"
    assert (words["soft"], words["drive"]) == ("with 'pump' starting softly", "with 'pump' starting on its drive")
    assert starting(Load(name="h", kind="heater", start="soft")) == "with 'h' starting"


def test_what_readings_may_have_missed_of_a_start_is_by_its_kind():
    """A drive has nothing to miss; a ramp lasts seconds; stalled amps of 24 V are watts."""
    how = HowRead(side="dc", sampling="instant", gap_limit_s=10.0)
    assert unseen_starts(site({**PUMP, "start": "drive"}), Load(**PUMP, start="drive"), 3, how) is None
    soft = unseen_starts(site({**PUMP, "start": "soft"}), Load(**PUMP, start="soft"), 3, how)
    assert soft.lasts_s == 3.0
    stalled = {**POND, "locked_rotor_A": 60.0}
    assert unseen_starts(site(stalled), Load(**stalled), 3, how).extra_W == pytest.approx(1440 - 192)
    assert unseen_starts(site(POND), Load(**POND), 3, how).extra_W == pytest.approx(9 * 192)
