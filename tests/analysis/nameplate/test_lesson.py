"""The sum on paper beside what is taken, step by step, against published sums: there from the plate, and back again."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plate_sites import make

from shuntbook.analysis.nameplate.estimate import estimate
from shuntbook.analysis.nameplate.lesson import lesson
from shuntbook.analysis.nameplate.measured_chain import RunTotals, drawn_by_plate, drawn_by_runs
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site

PUMP = {"kind": "pump", "current_A": 5.0, "power_factor": 0.58}
ALWAYS_ON = {"efficiency_pct": 88, "idle_W": 28, "always_on": True}
#: Joules of a watt-hour, and coulombs of an amp-hour.
PER_HOUR = 3600

UNITS = {
    **{"watts": "W", "watts at the bank": "W", "hours": "h", "idling": "Wh", "starts": "Wh", "watt-hours": "Wh"},
    **{"volts": "V", "amp-hours": "Ah", "share of the bank": "%"},
}


def on_bank(load, nominal_V, capacity_Ah=100.0):
    """A site whose only load hangs on the bank."""
    bank = {"nominal_V": nominal_V, "capacity_Ah": capacity_Ah}
    return Site.model_validate({"name": "hut", "bank": bank, "loads": [{"name": "load"} | load]})


def by_plate(site, hours, volts=None):
    """The lesson without a log; `volts` is the bank's voltage under load."""
    plate = estimate(site, "load", hours=hours, dc_voltage_V=volts)
    return lesson(site, site.load("load"), plate.paper, drawn_by_plate(plate), plate=plate)


def by_runs(site, runs, hours, load_ac_W=None):
    """The lesson of some runs within so many hours."""
    load = site.load("load")
    plate = estimate(site, "load", hours=hours)
    drawn = drawn_by_runs(runs, through_inverter=load.inverter is not None, load_ac_W=load_ac_W)
    return lesson(site, load, plate.paper, drawn, plate=plate)


def steps_of(told):
    """Steps by their name."""
    return {step.name: step for step in told}


# ---- Published sums: what is on paper, and what is really taken ----------------------------------------------------


def printed(source, *values):
    """One case, with whose figures it is held against."""
    return pytest.param(*values, marks=pytest.mark.worked(source))


PRACTICES = "Sandia/NMSU, 'PV Power Systems and the NEC: Suggested Practices', as a syllabus restates it (read)"
MANUAL = "an inverter maker's wiring manual, p. 38: 166 and 214 A (read)"
OUTLET = "a published question and answer on sizing a battery for 120 V loads: "
LOSSLESS = {"efficiency_pct": 100}


@pytest.mark.parametrize(
    ("load", "inverter", "nominal_V", "hours", "volts", "paper", "really"),
    [
        # 2,500 W / 0.85 / 22 V, printed 134 A; an hour of it.
        printed(
            PRACTICES,
            *({"power_W": 2500}, {"efficiency_pct": 85}, 24, 1, 22.0),
            *(("amp-hours", 104.17), ("amp-hours", 133.69)),
        ),
        # 4,000 W at 24 V: printed 166 A on paper, and 214 A at 22 V and 85 %.
        printed(
            MANUAL,
            *({"power_W": 4000}, {"efficiency_pct": 85}, 24, 1, 22.0),
            *(("amp-hours", 166.67), ("amp-hours", 213.90)),
        ),
        printed(
            f"{OUTLET}2 x 60 W for 4 h are 4 Ah (read)",
            *({"power_W": 120}, LOSSLESS, 120, 4, 120.0),
            *(("amp-hours", 4.0), ("amp-hours", 4.0)),
        ),
        # On paper it runs all the time.
        printed(
            f"{OUTLET}200 W that run 25 % of 24 h are 10 Ah (read)",
            *({"power_W": 200, "duty_pct": 25}, LOSSLESS, 120, 24, 120.0),
            *(("amp-hours", 40.0), ("amp-hours", 10.0)),
        ),
        printed(
            f"{OUTLET}5 A for 25 times 15 s are 0.52 Ah (read)",
            *({"voltage_V": 120, "current_A": 5, "power_factor": 1.0}, LOSSLESS, 120, 25 * 15 / PER_HOUR, 120.0),
            *(("amp-hours", 0.5208), ("amp-hours", 0.5208)),
        ),
        printed(
            f"{OUTLET}a pump of 10 A, half of 24 h, is 120 Ah (read)",
            *({"voltage_V": 120, "current_A": 10, "power_factor": 1.0, "duty_pct": 50}, LOSSLESS, 120, 24, 120.0),
            *(("watt-hours", 28800.0), ("amp-hours", 120.0)),
        ),
        # The sum calls 2,400 VA watts; a pump's watts are fewer, by hand at a power factor of 0.7.
        printed(
            "a published account of a well pump in a power cut: 240 V x 10 A are 2,400 'watts' (read)",
            *({"kind": "pump", "voltage_V": 240, "current_A": 10, "power_factor": 0.7}, {"efficiency_pct": 90}),
            *(48, 1, 48.0, ("watts", 2400.0), ("watts", 1680.0)),
        ),
        # 11.4 V of 12: amps 5.3 % up. 120 W for 10 h are 100 Ah on paper, and 105.26 Ah.
        printed(
            "IEEE 1013-2007, 5.2: running current may be taken at 95 % of the system's voltage (read)",
            *({"power_W": 120}, None, 12, 10, None, ("amp-hours", 100.0), ("amp-hours", 105.26)),
        ),
        # 60 W for 5 h behind 90 % at 24 V: 300 Wh, 333.3 Wh, 13.89 Ah.
        printed(
            "the worksheets of SAND87-7023 and IEEE 1013: watts x hours / efficiency / volts (from memory)",
            *({"power_W": 60}, {"efficiency_pct": 90}, 24, 5, 24.0),
            *(("watt-hours", 300.0), ("amp-hours", 13.889)),
        ),
        printed(
            "OpenStax College Physics, 20.4: a car's headlight, 12.0 V x 2.50 A, is 30.0 W (from memory)",
            *({"current_A": 2.5}, None, 12, 1, 12.0, ("watts", 30.0), ("watts", 30.0)),
        ),
        printed(
            "OpenStax College Physics, 20.4: a 60 W bulb for 1,000 h takes 60 kWh (from memory)",
            *({"power_W": 60}, None, 12, 1000, 12.0, ("watt-hours", 60000.0), ("watt-hours", 60000.0)),
        ),
        # Root of 3 x 400 V x 10 A x 0.8 = 5,543 W, where 400 V x 10 A are 4,000 on paper.
        printed(
            "textbooks of electrical engineering: three phases take root 3 x V x I x power factor (from memory)",
            *({"voltage_V": 400, "current_A": 10, "phases": 3, "power_factor": 0.8},),
            *({"output_V": 400, "efficiency_pct": 95}, 48, 1, 48.0, ("watts", 4000.0), ("watts", 5542.56)),
        ),
    ],
)
def test_both_sums_are_the_published_ones(load, inverter, nominal_V, hours, volts, paper, really):
    """The same sum to more digits than were printed; each figure in its own unit."""
    site = on_bank(load, nominal_V) if inverter is None else make(load, inverter=inverter, nominal_V=nominal_V)
    told = steps_of(by_plate(site, hours, volts).steps)

    assert told[paper[0]].paper == pytest.approx(paper[1], rel=1e-4)
    assert told[really[0]].real == pytest.approx(really[1], rel=1e-4)
    assert {name: step.unit for name, step in told.items()} == {name: UNITS[name] for name in told}


@pytest.mark.parametrize(
    ("day_Wh", "days", "capacity_Ah", "share_pct"),
    [
        # 1,000 Wh x 2.5 days / 0.5 x 1.30 (40 degF): over 12 V that bank is 541.67 Ah, and the days take 1 / 2.6 of it.
        printed("a step-by-step sum after IEEE 1013: 2,500, 5,000 and 6,500 Wh (read)", 1000, 2.5, 541.67, 38.46),
        # 300 Wh x 2 days / 0.8 at 12 V: down by those 80 %.
        printed("a published design of a small system: 750 Wh and 62.5 Ah (read)", 300, 2, 62.5, 80.0),
    ],
)
def test_the_share_of_a_bank_is_that_it_was_sized_by(day_Wh, days, capacity_Ah, share_pct):
    """What was planned to be taken out of a bank of the printed size is the share it was planned with."""
    site = on_bank({"power_W": day_Wh / 24}, 12, capacity_Ah)
    told = steps_of(by_plate(site, 24 * days, 12.0).steps)

    assert told["watt-hours"].paper == pytest.approx(day_Wh * days)
    assert told["share of the bank"].paper == pytest.approx(share_pct, abs=0.005)


# ---- Back from measured amp-hours ----------------------------------------------------------------------------------


@pytest.mark.worked("OpenStax College Physics, 19.1: 60,000 C at 12.0 V are 720 kJ (from memory)")
def test_back_on_paper_is_charge_times_nominal_volts():
    """A car's battery: these are 200 Wh."""
    charge_Ah = 60_000 / PER_HOUR
    runs = RunTotals(1, 0, 2.0, charge_Ah * 12.6, charge_Ah * 6.3, charge_Ah)
    back = steps_of(by_runs(on_bank({"power_W": 100}, 12), runs, 4.0).back)

    assert back["watt-hours"].paper * PER_HOUR == pytest.approx(720e3)
    assert back["watt-hours"].paper == pytest.approx(200)
    assert back["watt-hours"].measured == pytest.approx(210)  # at the 12.6 V that were there


@pytest.mark.worked("the sum of a demonstration that took 12 Ah at 25.1 V (by hand)")
def test_twelve_amp_hours_at_24_volts_are_not_288_watt_hours():
    """At 25.1 V they are 301 Wh; over the plate's 1,150 W that is 15 min where it ran 24 (by hand)."""
    # 12 x 24 = 288; 12 x 25.1 = 301.2; 288 / 1150 = 0.2504 h; 301.2 Wh in 0.4 h are 753 W; 288 Wh over an hour 288 W.
    runs = RunTotals(1, 0, 0.4, 301.2, 753.0, 12.0)
    told = by_runs(make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0), runs, 1.0)
    back = steps_of(told.back)

    assert [step.name for step in told.back] == [
        "amp-hours", "volts", "watt-hours", "hours", "watts at the bank", "watts of the load",
    ]  # fmt: skip
    assert back["watt-hours"].why == "12 Ah at 24 V are not 12 x 24 Wh: the bank stood at 25.1 V."
    assert (back["watt-hours"].paper, back["watt-hours"].measured) == pytest.approx((288, 301.2))
    assert (back["hours"].paper, back["hours"].measured) == pytest.approx((288 / 1150, 0.4))
    assert (back["watts at the bank"].paper, back["watts at the bank"].measured) == pytest.approx((288, 753))
    # Behind the inverter 88 % come out: no log saw that, so it is no measurement.
    assert back["watts of the load"].measured == pytest.approx(753 * 0.88)
    assert back["watts of the load"].basis == "estimated"
    assert "1,150 VA" in back["watts of the load"].why


@pytest.mark.parametrize(
    ("charge_Ah", "because"), [(None, "the log does not tell at which volts"), (0.0, "does not tell at which volts")]
)
def test_without_amp_hours_there_is_no_way_back(charge_Ah, because):
    """And the steps that need volts say so, in place of a figure."""
    told = by_runs(make(PUMP, inverter=ALWAYS_ON), RunTotals(1, 0, 0.4, 300.0, 740.0, charge_Ah), 1.0)

    assert isinstance(told.back, Missing)
    assert because in told.back.sentence
    assert told.difference_Ah is None
    volts = steps_of(told.steps)["volts"]
    assert (volts.real, volts.basis) == (None, None)
    assert steps_of(told.steps)["amp-hours"].real is None


def test_nothing_measured_has_no_way_back():
    """The plate alone counted no amp-hours; its figures are under `plate`, none under `measured`."""
    told = by_plate(make(PUMP, inverter=ALWAYS_ON), 1.0)

    assert isinstance(told.back, Missing)
    assert {step.measured for step in told.steps} == {None}
    assert all(step.plate == step.real for step in told.steps)


# ---- What holds of any lesson --------------------------------------------------------------------------------------


@given(
    watts=st.floats(5, 5000),
    pct=st.floats(30, 100),
    duty=st.floats(1, 100),
    idle=st.just(0.0) | st.floats(0.1, 60),
    hours=st.floats(0.05, 200),
    volts=st.floats(9, 60),
    always_on=st.booleans(),
)
def test_the_steps_lead_to_the_amounts(watts, pct, duty, idle, hours, volts, always_on):
    """Watts x hours + idling = watt-hours, over volts = amp-hours, of the bank = its share; on paper as really."""
    inverter = {"efficiency_pct": pct, "idle_W": idle, "always_on": always_on}
    site = make({"power_W": watts, "duty_pct": duty}, inverter=inverter)
    plate = estimate(site, "load", hours=hours, dc_voltage_V=volts)
    told = by_plate(site, hours, volts)
    at = steps_of(told.steps)

    assert at["watts"].paper * at["hours"].paper == pytest.approx(at["watt-hours"].paper)
    assert at["watt-hours"].paper / at["volts"].paper == pytest.approx(at["amp-hours"].paper)
    assert at["amp-hours"].real == pytest.approx(plate.charge_Ah)
    assert at["watt-hours"].real / at["volts"].real == pytest.approx(at["amp-hours"].real)
    idle_Wh = at["idling"].real if "idling" in at else 0.0
    assert idle_Wh == pytest.approx(0.0 if always_on else idle * hours)
    assert at["watts at the bank"].real * at["hours"].real + idle_Wh == pytest.approx(at["watt-hours"].real)
    assert at["share of the bank"].real == pytest.approx(at["amp-hours"].real)  # the bank has 100 Ah
    assert_parts_add_up(told)


@given(
    run_h=st.floats(0.01, 50),
    rest=st.floats(0, 5),
    watts=st.floats(5, 5000),
    extra=st.floats(-0.3, 0.5),
    volts=st.floats(9, 60),
    behind=st.none() | st.floats(0.3, 0.99),
)
def test_the_measured_steps_lead_to_the_measured_amounts(run_h, rest, watts, extra, volts, behind):
    """Watts x hours + starts = watt-hours, over volts = amp-hours; and the way back ends where it began."""
    energy_Wh = watts * run_h * (1 + extra)
    runs = RunTotals(3, 0, run_h, energy_Wh, watts, energy_Wh / volts)
    site = make(PUMP, inverter=ALWAYS_ON)
    told = by_runs(site, runs, run_h * (1 + rest), None if behind is None else watts * behind)
    at, back = steps_of(told.steps), steps_of(told.back)
    at_bank = at["watts" if behind is None else "watts at the bank"]

    assert at_bank.measured * at["hours"].measured + at["starts"].measured == pytest.approx(energy_Wh)
    assert at["watt-hours"].measured / at["volts"].measured == pytest.approx(at["amp-hours"].measured)
    assert back["amp-hours"].measured * back["volts"].measured == pytest.approx(energy_Wh)
    assert back["watts at the bank"].measured == pytest.approx(watts)
    assert_parts_add_up(told)


def assert_parts_add_up(told):
    """What the steps make of the difference is the difference."""
    for name, whole, key in (
        ("energy_Wh", told.difference_Wh, "watt-hours"),
        ("charge_Ah", told.difference_Ah, "amp-hours"),
    ):
        last = steps_of(told.steps)[key]
        assert sum(getattr(step, name) or 0.0 for step in told.steps) == pytest.approx(whole, rel=1e-7, abs=1e-9)
        assert last.real - last.paper == pytest.approx(whole, rel=1e-7, abs=1e-9)


# ---- The words -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("load", "inverter", "words"),
    [
        (PUMP, ALWAYS_ON, "By the plate's power factor 58 % are watts"),
        ({"kind": "pump", "current_A": 5.0}, ALWAYS_ON, "By a usual power factor 65 % are watts"),
        ({"hp": 0.5, "kind": "pump"}, ALWAYS_ON, "Horsepower is what the shaft gives"),
        ({"power_W": 90}, ALWAYS_ON, "A plate's watts are watts already"),
        (
            {"current_A": 5.0, "phases": 3, "power_factor": 0.8},
            {"efficiency_pct": 95},
            "Three phases count the root of 3",
        ),
    ],
)
def test_why_watts_differ_is_told_by_what_the_plate_gives(load, inverter, words):
    """Volt-amperes are not watts, horsepower is not what is taken in; and a plate's watts are left alone."""
    told = steps_of(by_plate(make(load, inverter=inverter), 1.0).steps)

    assert words in told["watts"].why
    assert ("volt-amperes" in told["watts"].why) == ("current_A" in load)


def test_what_a_drive_or_a_modified_sine_adds_is_a_reason_of_its_own():
    """The power factor told is the plate's, whatever else makes the watts."""
    site = make(PUMP, inverter=ALWAYS_ON | {"waveform": "modified"})
    why = steps_of(by_plate(site, 1.0).steps)["watts"].why

    assert "By the plate's power factor 58 % are watts. 'inverter' gives a modified sine" in why
    driven = make({"kind": "pump", "hp": 1, "phases": 3, "start": "drive"}, inverter=ALWAYS_ON)
    assert steps_of(by_plate(driven, 1.0).steps)["watts"].why.endswith("its drive loses a share.")


def test_a_start_is_told_with_its_highest_reading():
    """At least that, where readings could have missed the top of it; and a draw that sank is no start's."""
    runs = RunTotals(3, 0, 0.5, 400.0, 780.0, 16.0, start_A=67.2)
    site = make(PUMP, inverter=ALWAYS_ON)

    assert "asked at least 67.2 A" in steps_of(by_runs(site, runs, 1.0).steps)["starts"].why
    whole = replace(runs, start_resolved=True)
    assert "asked 67.2 A" in steps_of(by_runs(site, whole, 1.0).steps)["starts"].why
    assert "Cable, fuse and inverter must bear that" in steps_of(by_runs(site, whole, 1.0).steps)["starts"].why
    # 780 W at 25 V are 31.2 A: a start that hardly rises above that is none to tell of.
    flat = replace(runs, start_A=46.0)
    assert "For a moment" not in steps_of(by_runs(site, flat, 1.0).steps)["starts"].why
    direct = by_runs(on_bank({"power_W": 700}, 24), runs, 1.0)
    assert "Cable and fuse must bear that" in steps_of(direct.steps)["starts"].why
    assert "Cable and fuse must bear" in steps_of(direct.back)["watts at the bank"].why
    sank = replace(runs, run_W=820.0)
    assert "sank" in steps_of(by_runs(site, sank, 1.0).steps)["starts"].why


def test_one_meter_at_the_bank_does_not_part_load_and_inverter():
    """There is one step of watts then; with a log behind the inverter there are two."""
    runs, site = RunTotals(3, 0, 0.5, 400.0, 780.0, 16.0), make(PUMP, inverter=ALWAYS_ON)
    as_one, apart = by_runs(site, runs, 1.0), by_runs(site, runs, 1.0, load_ac_W=660.0)

    assert "watts at the bank" not in steps_of(as_one.steps)
    assert "the inverter's loss is in its figure" in steps_of(as_one.steps)["watts"].why
    assert steps_of(apart.steps)["watts"].measured == 660.0
    assert "keeps 15.4 %" in steps_of(apart.steps)["watts at the bank"].why


def test_the_time_that_it_pauses_is_told():
    """By the log, by the site file, or not at all."""
    runs, site = RunTotals(3, 0, 0.25, 200.0, 780.0, 8.0), make(PUMP | {"duty_pct": 40}, inverter=ALWAYS_ON)

    assert "it ran 25 % of the time" in steps_of(by_runs(site, runs, 1.0).steps)["hours"].why
    assert "the site file gives 40 %" in steps_of(by_plate(site, 1.0).steps)["hours"].why
    assert "is not given" in steps_of(by_plate(make(PUMP), 1.0).steps)["hours"].why


@pytest.mark.parametrize(
    ("run_W", "volts", "words"),
    [
        (753.0, 25.1, "With more watts on paper than it drew, the time comes out too short."),
        (1200.0, 21.0, "With fewer watts on paper than it drew, the time comes out too long."),
        (1150.0, 25.1, "The volts and the uneven draw make the time come out too short."),
        (1120.0, 22.0, "The volts and the uneven draw make the time come out too long."),
        (1150.0, 24.0, "Here paper leads to the time that it ran."),
    ],
)
def test_why_the_time_from_paper_is_wrong(run_W, volts, words):
    """By the watts where these lead there, else by volts and starts: never a reason that leads the other way."""
    runs = RunTotals(3, 0, 0.4, 0.4 * run_W, run_W, 0.4 * run_W / volts)
    back = steps_of(by_runs(make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0), runs, 1.0).back)

    assert back["hours"].why == words


def test_back_with_two_logs_that_disagree_no_loss_is_told():
    """And where the inverter's losses are not known, what is behind it is assumed."""
    runs = RunTotals(3, 0, 0.4, 300.0, 750.0, 12.0)
    known = make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0)
    told = by_runs(known, runs, 1.0, load_ac_W=760.0)

    assert steps_of(told.back)["watts of the load"].why.startswith("No loss shows here.")
    assert steps_of(told.steps)["watts at the bank"].why == "No loss shows here."
    unknown = by_runs(make(PUMP, nominal_V=24.0), runs, 1.0)
    assert steps_of(unknown.back)["watts of the load"].basis == "assumed"


# ---- How each figure is come by, word by word: they are read aloud --------------------------------------------------


def hows(steps):
    """How each step's two figures are come by."""
    return {step.name: (step.how_on_paper, step.how_really) for step in steps}


def test_how_it_is_come_by_with_a_log():
    """Past tense: it was measured."""
    told = by_runs(make(PUMP, inverter=ALWAYS_ON), RunTotals(3, 0, 0.4, 300.0, 740.0, 24.0), 1.0)

    assert hows(told.steps) == {
        "watts": ("230 V x 5 A, taken for watts", "at the bank while it ran"),
        "hours": ("all of the time", "the time it ran"),
        "starts": ("no start is reckoned", "what it took beyond its settled draw"),
        "watt-hours": ("watts times hours", "all that was taken"),
        "volts": ("the bank's nominal voltage", "what the bank stood at under it"),
        "amp-hours": ("watt-hours over nominal volts", "what the meter counted"),
        "share of the bank": ("of a full bank", "of a full bank"),
    }
    assert hows(told.back) == {
        "amp-hours": ("what the meter counted", "the same"),
        "volts": ("the bank's nominal voltage", "what the bank stood at under it"),
        "watt-hours": ("amp-hours times nominal volts", "amp-hours times the volts that there were"),
        "hours": ("watt-hours over the plate's watts", "the time it ran"),
        "watts at the bank": ("watt-hours over all of the time", "what the bank gave while it ran"),
        "watts of the load": ("the same, as if nothing were lost", "at the load, behind the inverter"),
    }


def test_how_it_is_come_by_without_one():
    """Present tense: it is reckoned. On paper there is no start, and no idling."""
    told = by_plate(make({"power_W": 90}, inverter={"efficiency_pct": 88, "idle_W": 28}), 2.0)

    assert hows(told.steps) == {
        "watts": ("the plate's watts", "what it takes while it runs"),
        "watts at the bank": ("the same, as if nothing were lost", "what the bank gives for it while it runs"),
        "hours": ("all of the time", "the time it runs"),
        "idling": ("no idling is reckoned", "what the inverter takes for itself"),
        "watt-hours": ("watts times hours", "all that it takes"),
        "volts": ("the bank's nominal voltage", "a bank under load"),
        "amp-hours": ("watt-hours over nominal volts", "watt-hours over the volts under load"),
        "share of the bank": ("of a full bank", "of a full bank"),
    }
    assert steps_of(told.steps)["idling"].paper == 0.0
    assert steps_of(told.steps)["volts"].why.startswith("Nominal volts are a name. The bank stands lower, so")


def test_how_it_is_come_by_where_amps_are_not_read():
    """Words that say it, in place of volts."""
    told = steps_of(by_runs(make(PUMP, inverter=ALWAYS_ON), RunTotals(3, 0, 0.4, 300.0, 740.0), 1.0).steps)

    assert told["volts"].how_really == "the log has no amps to tell them by"
    assert "Without them" in told["volts"].why
    assert told["starts"].paper == 0.0


def test_watts_of_a_display_are_told_as_such():
    """What a display showed is neither the plate's nor volts times amps."""
    site = make({"power_W": 90}, inverter=ALWAYS_ON)
    plate = estimate(site, "load", hours=1.0, displayed_W=120.0)
    told = steps_of(lesson(site, site.load("load"), plate.paper, drawn_by_plate(plate), plate=plate).steps)

    assert (told["watts"].paper, told["watts"].how_on_paper) == (120.0, "as a display shows them")


@pytest.mark.parametrize(
    ("load", "words"),
    [
        (PUMP, "On the plate volts times amps come to 1,150 VA."),
        ({"power_W": 700}, "The plate led to 700 W."),
    ],
)
def test_back_the_plate_is_named_last(load, words):
    """And it is the mean over the hours that lies on paper beside what it drew."""
    runs = RunTotals(3, 0, 0.4, 301.2, 753.0, 12.0)
    back = by_runs(make(load, inverter=ALWAYS_ON, nominal_V=24.0), runs, 2.0).back

    assert [step.paper for step in back[-2:]] == [pytest.approx(288 / 2)] * 2
    assert back[-1].why == f"The inverter keeps 12 % of it. {words}"


@pytest.mark.parametrize(
    ("run_h", "running_only", "words"),
    [
        (0.4, False, "Spread over its pauses it looks small."),
        (1.0, False, "It never paused, so the volts and the uneven draw make the difference."),
        (1.0, True, "The volts and the uneven draw make the difference."),
    ],
)
def test_why_the_mean_is_not_the_draw(run_h, running_only, words):
    """Pauses where there are any, else what is left."""
    site = make(PUMP, inverter=ALWAYS_ON)
    plate = estimate(site, "load", hours=1.0)
    drawn = drawn_by_runs(RunTotals(3, 0, run_h, 800.0 * run_h, 790.0, 32.0 * run_h), through_inverter=True)
    told = lesson(site, site.load("load"), plate.paper, drawn, plate=plate, running_only=running_only)

    assert steps_of(told.back)["watts at the bank"].why.startswith(words)
    assert ("no pause is in them" in steps_of(told.steps)["hours"].why) == running_only


@pytest.mark.parametrize(
    ("bank", "more"), [({"usable_depth_pct": 50}, " Of what you allow to be used it is 20 %."), ({}, "")]
)
def test_the_share_of_what_the_owner_allows_is_told_beside_the_plates(bank, more):
    """10 Ah are 10 % of a bank of 100 Ah, and 20 % of the half that may be used."""
    site = on_bank({"power_W": 120}, 12)
    site = site.model_copy(update={"bank": site.bank.model_copy(update=bank)})
    share = steps_of(by_plate(site, 1.0, 12.0).steps)["share of the bank"]

    assert share.real == pytest.approx(10)
    assert share.why == f"Both are shares of the 100 Ah on the bank's plate.{more}"


@pytest.mark.parametrize("volts", [24.0, 24.01])
def test_volts_that_hardly_differ_are_told_as_alike(volts):
    """Within what a reading of volts can tell; there and back."""
    runs = RunTotals(3, 0, 0.4, 12 * volts, 720.0, 12.0)
    told = by_runs(make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0), runs, 1.0)

    assert steps_of(told.steps)["volts"].why == "Here the two agree."
    assert steps_of(told.back)["watt-hours"].why == "The bank stood at its nominal voltage, so here the two agree."
    further = by_runs(make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0), replace(runs, energy_Wh=12 * 24.02), 1.0)
    assert "are not" in steps_of(further.back)["watt-hours"].why
    assert "stood higher" in steps_of(further.steps)["volts"].why
