"""The estimate from the plate, against published sums and tables."""

from math import sqrt

import pytest
from plate_sites import make

from shuntbook.analysis.equipment.plate_power import USUAL_POWER_FACTORS, Chain, ac_power_W
from shuntbook.analysis.nameplate.estimate import Estimate, compare, estimate
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.site.motor_tables import CODE_LETTERS_KVA_PER_HP, full_load_A, locked_rotor, starts_limit
from shuntbook.analysis.site.site import Site


def step(result: Estimate, name: str) -> float:
    (value,) = [each.value for each in result.steps if each.step == name]
    return value


def test_inverter_current_at_low_bank_voltage():
    """The published chain 2500 W / 0.85 / 22 V gives 134 A."""
    # Sandia/NMSU, "PV Power Systems and the NEC: Suggested Practices", as restated in a PV installers' syllabus:
    # 2500 W, 85 %, 22.0 V, printed 134 A. Half a unit of the last printed digit.
    site = make({"power_W": 2500}, inverter={"efficiency_pct": 85}, nominal_V=24)
    result = estimate(site, "load", hours=1, dc_voltage_V=22.0)

    assert result.dc_A == pytest.approx(134, abs=0.5)
    assert result.dc_A == pytest.approx(133.6898, abs=5e-5)  # the same sum, to more digits


def test_naive_and_honest_inverter_current():
    """4,000 W at 24 V: 166 A on paper, 214 A at 22 V and 85 %."""
    # An inverter maker's wiring manual, p. 38: printed 166 (exactly 166.67) and 214 A (exactly 213.90).
    site = make({"power_W": 4000}, inverter={"efficiency_pct": 85}, nominal_V=24)
    result = estimate(site, "load", hours=1, dc_voltage_V=22.0)

    assert result.paper_Ah == pytest.approx(166.67, abs=0.005)
    assert result.dc_A == pytest.approx(213.90, abs=0.005)


def test_paper_sum_and_the_honest_one():
    """A thousand watts for a quarter of an hour: 20.83 Ah on paper, 24.93 Ah with loss and real voltage."""
    # Arithmetic, illustrative: 1000/12 x 0.25 = 20.83; 1000/0.85/11.8 x 0.25 = 24.93.
    site = make({"power_W": 1000}, inverter={"efficiency_pct": 85})
    result = estimate(site, "load", hours=0.25, dc_voltage_V=11.8)

    assert result.steps[0].step == "paper"
    assert result.paper_Ah == pytest.approx(20.83, abs=0.005)
    assert result.charge_Ah == pytest.approx(24.93, abs=0.005)
    assert result.paper_Wh == pytest.approx(250)


def test_quarter_of_an_hour_of_cycling():
    """A pump that runs 40 % of the time on an idling inverter takes half of what the paper says."""
    # Arithmetic, illustrative: (670 x 0.4 / 0.85 + 25) x 0.25 / 12 = 7.09 Ah; 670/12 x 0.25 = 13.96 Ah.
    site = make({"power_W": 670, "duty_pct": 40}, inverter={"efficiency_pct": 85, "idle_W": 25})
    result = estimate(site, "load", hours=0.25, dc_voltage_V=12.0)

    assert result.charge_Ah == pytest.approx(7.09, abs=0.005)
    assert result.paper_Ah == pytest.approx(13.96, abs=0.005)
    assert result.run_h == pytest.approx(0.1)


def test_duty_cycle_day_in_amp_hours_at_the_outlet():
    """A day of four loads at 120 V adds up to 134.52 Ah on the AC side."""
    # A published battery-sizing question and answer: 2 x 60 W for 4 h, 200 W 25 % of 24 h, 5 A for 25 x 15 s,
    # a 10 A pump half of 24 h; printed 4, 10, 0.52 and 120 Ah (volts x amps as watts, hence power factor 1).
    lossless = {"efficiency_pct": 100, "output_V": 120}
    loads = [
        ({"power_W": 120}, 4.0),
        ({"power_W": 200, "duty_pct": 25}, 24.0),
        ({"current_A": 5, "power_factor": 1.0}, 25 * 15 / 3600),
        ({"current_A": 10, "power_factor": 1.0, "duty_pct": 50}, 24.0),
    ]
    amp_hours = [
        estimate(make({"voltage_V": 120} | load, inverter=lossless), "load", hours=hours).energy_Wh / 120
        for load, hours in loads
    ]

    assert amp_hours == pytest.approx([4, 10, 0.52, 120], abs=0.005)
    assert sum(amp_hours) == pytest.approx(134.52, abs=0.005)


def test_volts_times_amps_are_never_called_watts():
    """The well pump of a published sum, 240 V x 10 A "2,400 W", has 2400 VA and fewer watts."""
    # A published blog sum takes the 2400 VA for watts; here only the paper step does so, and says so.
    result = estimate(make({"kind": "pump", "voltage_V": 240, "current_A": 10}), "load", hours=1)

    assert [each.unit for each in result.steps if each.value == pytest.approx(2400)] == ["VA"]
    assert "taken for watts" in result.steps[0].origin
    assert result.paper_Wh == pytest.approx(2400)
    assert result.ac_W == pytest.approx(2400 * USUAL_POWER_FACTORS["pump"].value)


@pytest.mark.parametrize(
    ("volts", "amps", "watts"),
    # Typical figures of 1/2 to 1-1/2 hp 4-inch single-phase submersibles: volts, amps, watts. From memory.
    [(115, 10.0, 670), (230, 5.0, 670), (230, 6.8, 940), (230, 8.2, 1210), (230, 10.6, 1770)],
)
def test_range_of_a_pumps_power_factor_holds_typical_motors(volts, amps, watts):
    """The range that is stated with the assumed power factor holds each of the typical motors."""
    usual = USUAL_POWER_FACTORS["pump"]

    assert usual.low - 0.005 <= watts / (volts * amps) <= usual.high + 0.005
    assert usual.low < usual.value < usual.high


def test_usual_power_factors_lie_in_their_ranges():
    """A factor is above 0 and at most 1 (watts are never more than volt-amperes); a heating wire's is 1."""
    for usual in USUAL_POWER_FACTORS.values():
        assert 0 < usual.low <= usual.value <= usual.high <= 1
    assert USUAL_POWER_FACTORS["heater"].low == 1


def test_horsepower_alone_leads_through_the_table_of_currents():
    """With hp only, current is the table's, and the estimate says that it is a sizing value."""
    # NEC Table 430.248: 1/2 hp at 230 V, 4.9 A.
    result = estimate(make({"kind": "motor", "hp": 0.5, "power_factor": 0.7}), "load", hours=1)

    assert step(result, "current") == 4.9
    assert step(result, "apparent power") == pytest.approx(230 * 4.9)
    assert any("sizing value" in sentence for sentence in result.assumptions)
    assert result.paper_Wh == pytest.approx(373, abs=0.5)  # 746 W a horsepower, as people reckon


@pytest.mark.parametrize(
    ("plate", "volts", "origin"),
    [({"voltage_V": 115}, 115, "voltage_V, from the plate"), ({"voltage_V": None}, 230, "what the inverter gives")],
)
def test_volts_are_the_plates_else_the_inverters(plate, volts, origin):
    """And the chain says which."""
    result = estimate(make({"kind": "heater", "current_A": 2} | plate, inverter={"output_V": 230}), "load", hours=1)
    (assumed,) = [each for each in result.steps if each.step == "voltage"]

    assert (assumed.value, assumed.origin) == (volts, origin)
    assert result.ac_W == pytest.approx(2 * volts)
    (factor,) = [sentence for sentence in result.assumptions if "power factor" in sentence]
    assert "between" not in factor  # a heating wire's is 1


def test_three_phases_count_the_square_root_of_three():
    """Three-phase volt-amperes are sqrt(3) x V x A."""
    result = estimate(make({"phases": 3, "current_A": 2, "power_factor": 0.8}), "load", hours=1)

    assert step(result, "apparent power") == pytest.approx(sqrt(3) * 460)


def test_bank_voltage_not_stated_is_95_percent_of_nominal():
    """A running load is reckoned at 95 % of system voltage, which raises amps by 5.3 %."""
    # IEEE 1013-2007, 5.2: 12 V -> 11.4 V.
    site = make({"power_W": 1000}, inverter={"efficiency_pct": 85})
    result = estimate(site, "load", hours=1)

    assert result.dc_voltage_V == pytest.approx(11.4)
    assert result.dc_A / estimate(site, "load", hours=1, dc_voltage_V=12.0).dc_A == pytest.approx(1.053, abs=0.0005)
    assert any("1013" in sentence for sentence in result.assumptions)


def test_what_is_not_given_is_listed():
    """Power factor, efficiency, idle draw, duty cycle and bank voltage are each named when they are assumed."""
    assumed = " ".join(estimate(make({"kind": "pump", "current_A": 5}), "load", hours=1).assumptions)

    for word in ("power factor", "efficiency", "idle draw", "duty cycle", "voltage under load", "0.58 and 0.73"):
        assert word in assumed


def test_what_is_given_leaves_nothing_to_assume():
    """With every figure stated the list of assumptions is empty."""
    site = make({"power_W": 670, "duty_pct": 40}, inverter={"efficiency_pct": 85, "idle_W": 25})

    assert estimate(site, "load", hours=1, dc_voltage_V=24.0).assumptions == ()


def test_an_efficiency_curve_is_read_between_its_points():
    """Half way between two points is half way between their efficiencies; the idle draw is in the curve."""
    site = make({"power_W": 200}, inverter={"efficiency_curve": [[100, 70], [300, 90]], "idle_W": 20})
    result = estimate(site, "load", hours=1)

    assert result.efficiency == pytest.approx(0.80)
    assert result.dc_W == pytest.approx(250)


def test_beside_a_curve_the_idle_draw_counts_only_at_rest():
    """Running a quarter of the time, the other three quarters are idle draw."""
    curve = {"efficiency_curve": [[100, 80]], "idle_W": 20}
    result = estimate(make({"power_W": 100, "duty_pct": 25}, inverter=curve), "load", hours=4)

    assert result.energy_Wh == pytest.approx(125 * 1 + 20 * 3)
    (origin,) = [each.origin for each in result.steps if each.step == "energy"]
    assert origin == "DC power x running time + idle draw x the rest of the time"
    (origin,) = [each.origin for each in estimate(make({"power_W": 9}), "load", hours=4).steps if each.step == "energy"]
    assert origin == "DC power x running time"


def test_a_loss_model_gives_the_efficiency_and_its_idle_draw():
    """25 W idle, 1.05 W in for each W out: an 80 W load takes 109 W, 73 % all told."""
    # Illustrative: 80 x 1.05 + 25 = 109 W; 80 / 109 = 73 %. The efficiency step leaves the idle draw out: 1 / 1.05.
    model = {"loss_model": {"idle_W": 25, "proportional": 1.05}}
    result = estimate(make({"power_W": 80}, inverter=model), "load", hours=1)

    assert result.dc_W == pytest.approx(109)
    assert result.efficiency == pytest.approx(1 / 1.05)
    assert result.idle_W == 25


def test_a_loss_model_may_grow_with_the_square_of_the_load():
    """1.05 W in for each W out and 0.0002/W more: a 500 W load takes 500 x 1.15 + 25 = 600 W."""
    model = {"loss_model": {"idle_W": 25, "proportional": 1.05, "square_per_W": 0.0002}}
    assert estimate(make({"power_W": 500}, inverter=model), "load", hours=1).dc_W == pytest.approx(600)


def test_an_efficiency_that_is_not_given_is_85_percent():
    """The published sums above reckon with 85 %: 850 W are 1,000 W at the bank."""
    assert estimate(make({"power_W": 850}), "load", hours=1).dc_W == pytest.approx(1000)


def test_outside_a_curve_is_said():
    """Below its first point a load costs the watts lost there: 10 W of 100 / 0.7 - 90 W; above, the last efficiency."""
    curve = {"efficiency_curve": [[100, 70], [300, 90]]}
    result = estimate(make({"power_W": 10}, inverter=curve), "load", hours=1)

    assert result.efficiency == pytest.approx(10 / (100 / 0.7 - 90))
    assert result.dc_W == pytest.approx(100 / 0.7 - 90)
    assert any("outside the efficiency curve (100 to 300 W); the watts lost" in text for text in result.assumptions)
    above = estimate(make({"power_W": 900}, inverter=curve), "load", hours=1)
    assert above.dc_W == pytest.approx(1000)
    assert any("; the efficiency at its last point is used" in text for text in above.assumptions)
    for watts, efficiency in ((100, 0.7), (300, 0.9)):
        at_end = estimate(
            make({"power_W": watts}, inverter={"efficiency_curve": [[100, 70], [300, 90]]}), "load", hours=1
        )
        assert at_end.efficiency == pytest.approx(efficiency)
        assert not any("outside" in sentence for sentence in at_end.assumptions)


def test_the_idle_draw_of_an_inverter_that_stays_on_is_not_the_loads():
    """What is drawn day and night is standing draw, not this load's."""
    always_on = {"efficiency_pct": 80, "idle_W": 25, "always_on": True}
    result = estimate(make({"power_W": 80}, inverter=always_on), "load", hours=1)

    assert result.energy_Wh == pytest.approx(100)
    assert result.idle_W == 0


@pytest.mark.parametrize("plate", [{"current_A": 2}, {"power_W": 48}])
def test_on_the_dc_side_volts_times_amps_are_watts(plate):
    """A DC load has no power factor and no inverter loss: 2 A at 24 V are 48 W."""
    site = Site.model_validate(
        {"name": "s", "bank": {"nominal_V": 24, "capacity_Ah": 9}, "loads": [{"name": "lamp"} | plate]}
    )
    result = estimate(site, "lamp", hours=3, dc_voltage_V=24.0)

    assert (result.ac_W, result.efficiency) == (None, None)
    assert result.energy_Wh == pytest.approx(144)
    assert "taken for watts" not in result.steps[0].origin
    assert result.charge_Ah == pytest.approx(6)
    assert result.paper_Ah == pytest.approx(6)
    assert any("same watts at any bank voltage" in sentence for sentence in result.assumptions)


@pytest.mark.parametrize(
    ("load", "hours", "voltage_V", "words"),
    [
        ({}, 1.0, None, "no power_W, current_A or hp in the site file; add one"),
        ({"hp": 20.0, "phases": 3}, 1.0, None, "ends at 10 hp"),
        ({"hp": 1.0, "voltage_V": 48}, 1.0, None, "no column for 48 V"),
        ({"hp": 15.0}, 1.0, None, "ends at 10 hp"),
        ({"power_W": 10}, 0.0, None, "hours must be a number above 0"),
        ({"power_W": 10}, float("nan"), None, "hours must be a number above 0"),
        ({"power_W": 10}, 1.0, -12.0, "the bank voltage must be a number above 0"),
    ],
)
def test_what_cannot_be_estimated_is_refused(load, hours, voltage_V, words):
    """A plate that says too little, or a time or voltage that is none, is refused in a sentence."""
    with pytest.raises(Refusal, match=words):
        estimate(make(load), "load", hours=hours, dc_voltage_V=voltage_V)


def test_watts_of_an_empty_plate_are_refused():
    """The step to AC watts refuses a plate without any figure, whoever asks."""
    site = make({})

    with pytest.raises(Refusal, match="has no power_W, current_A or hp"):
        ac_power_W(Chain(), site.load("load"), site.inverter("inverter"))


def test_a_dc_motor_with_horsepower_alone_is_refused():
    """The table of currents is for alternating current only."""
    site = Site.model_validate(
        {"name": "s", "bank": {"nominal_V": 24, "capacity_Ah": 9}, "loads": [{"name": "winch", "hp": 1.0}]}
    )
    with pytest.raises(Refusal, match="on the DC side needs power_W or current_A"):
        estimate(site, "winch", hours=1)


def test_comparison_gives_ratios_of_measured_over_estimated():
    """Measured over estimated, and over the paper, for energy and for charge."""
    site = make({"power_W": 1000}, inverter={"efficiency_pct": 80})
    guess = estimate(site, "load", hours=1, dc_voltage_V=12.5)  # 1250 Wh, 100 Ah; on paper 1000 Wh, 83.3 Ah
    result = compare(guess, measured_energy_Wh=1000, measured_charge_Ah=75)

    assert result.energy_ratio == pytest.approx(0.8)
    assert result.paper_energy_ratio == pytest.approx(1.0)
    assert result.charge_ratio == pytest.approx(0.75)
    assert result.paper_charge_ratio == pytest.approx(0.9)
    assert result.sentence == (
        "'load' took 1000 Wh, 20 % less than the 1250 Wh estimated; "
        "75 Ah, 25 % less than the 100 Ah estimated; 10 % less than the 83.33 Ah of the sum on paper."
    )


@pytest.mark.parametrize(
    ("measured_Wh", "words"),
    [(3750, "200 % more than the 1250 Wh"), (0, "100 % less than the 1250 Wh"), (1255, "the same as the 1250 Wh")],
)
def test_a_difference_is_told_in_whole_percent(measured_Wh, words):
    """Three times as much is 200 % more; nothing is 100 % less; 0.4 % is the same."""
    guess = estimate(make({"power_W": 1000}, inverter={"efficiency_pct": 80}), "load", hours=1)
    assert words in compare(guess, measured_energy_Wh=measured_Wh).sentence
    with pytest.raises(Refusal, match="must be a number from 0 up"):
        compare(guess, measured_energy_Wh=-1.0)


def test_comparison_without_measured_charge():
    """With energy alone the ratios of charge are unknown, not 0."""
    guess = estimate(make({"power_W": 1000}, inverter={"efficiency_pct": 80}), "load", hours=1)
    result = compare(guess, measured_energy_Wh=1000)

    assert (result.charge_ratio, result.paper_charge_ratio) == (None, None)
    assert result.sentence.endswith("the same as the 1000 Wh of the sum on paper.")
    with pytest.raises(Refusal, match="measured energy"):
        compare(guess, measured_energy_Wh=float("nan"))


@pytest.mark.parametrize(
    ("hp", "amps"),
    # NEC Table 430.248, all its rows: horsepower, and amps at 115, 200, 208 and 230 V.
    [
        (1 / 6, (4.4, 2.5, 2.4, 2.2)),
        (0.25, (5.8, 3.3, 3.2, 2.9)),
        (1 / 3, (7.2, 4.1, 4.0, 3.6)),
        (0.5, (9.8, 5.6, 5.4, 4.9)),
        (0.75, (13.8, 7.9, 7.6, 6.9)),
        (1, (16, 9.2, 8.8, 8.0)),
        (1.5, (20, 11.5, 11.0, 10)),
        (2, (24, 13.8, 13.2, 12)),
        (3, (34, 19.6, 18.7, 17)),
        (5, (56, 32.2, 30.8, 28)),
        (7.5, (80, 46, 44, 40)),
        (10, (100, 57.5, 55, 50)),
        (0.33, (7.2, 4.1, 4.0, 3.6)),  # the row of 1/3, as plates round it
        (0.6, (13.8, 7.9, 7.6, 6.9)),  # between two rows: the larger
    ],
)
def test_full_load_current_is_the_tables(hp, amps):
    """Each row and column is found; 120 V and 240 V are in the columns of 115 V and 230 V."""
    assert tuple(full_load_A(hp, volts) for volts in (115, 200, 208, 230)) == amps
    assert (full_load_A(hp, 120), full_load_A(hp, 240)) == (amps[0], amps[-1])


@pytest.mark.parametrize(
    ("hp", "letter", "amps"),
    # Typical locked-rotor amps of 230 V 4-inch submersibles and the letters on their plates. From memory.
    [(0.5, "R", 32.2), (0.75, "N", 40.7), (1, "N", 48.7), (1.5, "M", 66.6), (0.5, "M", 23.0), (1, "L", 41.8)],
)
def test_code_letter_holds_typical_locked_rotor_currents(hp, letter, amps):
    """The letter on the plate and the amps of the same motor agree."""
    current = locked_rotor(letter, hp, 230)

    assert current.high_A is not None
    assert current.low_A <= amps <= current.high_A


def test_code_letter_of_a_three_phase_motor():
    """Letter G, 20 hp: 158 A at 460 V."""
    # A published forum sum: 6.29 kVA/hp x 20 hp / (1.732 x 460 V) = 157.9, printed 158 (its formula says 480 V).
    assert locked_rotor("G", 20, 460, phases=3).high_A == pytest.approx(158, abs=0.5)


@pytest.mark.parametrize(
    ("letter", "low", "high"),
    # NEC Table 430.7(B), all its rows: kVA per horsepower. B ends at 3.54, where some copies print 3.55.
    [
        *[("A", 0, 3.14), ("B", 3.15, 3.54), ("C", 3.55, 3.99), ("D", 4.0, 4.49), ("E", 4.5, 4.99), ("F", 5.0, 5.59)],
        *[("G", 5.6, 6.29), ("H", 6.3, 7.09), ("J", 7.1, 7.99), ("K", 8.0, 8.99), ("L", 9.0, 9.99), ("M", 10.0, 11.19)],
        *[("N", 11.2, 12.49), ("P", 12.5, 13.99), ("R", 14.0, 15.99), ("S", 16.0, 17.99), ("T", 18.0, 19.99)],
        *[("U", 20.0, 22.39), ("V", 22.4, None)],
    ],
)
def test_code_letters_are_the_tables(letter, low, high):
    """A 1 hp motor at 1,000 V draws the table's kVA per horsepower in amps."""
    current = locked_rotor(letter, 1.0, 1000.0)

    assert (current.low_A, current.high_A) == pytest.approx((low, high))


def test_code_letters_leave_no_hole():
    """Each letter begins where the one before ends, to the hundredth that the table prints."""
    rows = list(CODE_LETTERS_KVA_PER_HP.values())

    assert [low for low, _ in rows[1:]] == pytest.approx([high + 0.01 for _, high in rows[:-1]])
    assert locked_rotor("V", 1, 230).high_A is None
    with pytest.raises(Refusal, match="no letter 'I'"):
        locked_rotor("I", 1, 230)


@pytest.mark.parametrize(
    ("hp", "phases", "per_day"),
    # A submersible-motor manual's table of starts, and Water Well Journal, "Tank Selection by the Numbers":
    # single-phase up to 0.75 hp 300, 1 to 5.5 hp 100, 7.5 to 30 hp 50; three-phase 300, 300, 100, 40 hp and above 100.
    [
        *[(0.5, 1, 300), (0.75, 1, 300), (1, 1, 100), (5.5, 1, 100), (7.5, 1, 50), (30, 1, 50)],
        *[(0.5, 3, 300), (5.5, 3, 300), (7.5, 3, 100), (50, 3, 100)],
        *[(0.9, 1, 100), (6, 1, 50), (6, 3, 100)],  # between two rows: the stricter
    ],
)
def test_starts_a_day_are_the_tables(hp, phases, per_day):
    """Each row is found, and between two rows the stricter holds."""
    assert starts_limit(hp, phases).per_day == per_day


def test_a_motor_beyond_the_table_of_starts_is_refused():
    """For a single-phase motor above 30 hp nothing is published."""
    with pytest.raises(Refusal, match="starts_per_day"):
        starts_limit(40)
