"""The bank: what is asked of it, by plates and by starts that were seen, and whether it gives that."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_scenes import make_cycle

from shuntbook.analysis.bank.draw import amps, bank_draw
from shuntbook.analysis.bank.limits import Asked, charging_judged, check_bank
from shuntbook.analysis.bank.resistance import Resistance, stated_resistance
from shuntbook.analysis.bank.sag import Sag, sag_of_starts
from shuntbook.analysis.bank.seen_starts import SeenStarts, seen_starts
from shuntbook.analysis.bank.system_word import InverterWord, absent_parts, system_word, weakest
from shuntbook.analysis.check_site.contradictions import contradictions
from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.equipment.bank_voltage import VoltageFloor, voltage_floor
from shuntbook.analysis.equipment.judged import worst
from shuntbook.analysis.forecast.bank_check import bank_by_plates
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Array, Bank
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.sureness.meter_figures import Accuracy

INVERTER = {"name": "shed", "continuous_VA": 3000, "surge_VA": 6000, "surge_s": 5, "efficiency_pct": 100, "idle_W": 0}
HEATER = {"name": "heater", "kind": "heater", "inverter": "shed", "power_W": 950.0}
# 20 A before it turns: 4,600 VA, at power factors of 0.5 to 0.85 (from memory) 2,300 to 3,910 W.
PUMP = {"name": "pump", "kind": "pump", "inverter": "shed", "voltage_V": 230.0, "current_A": 5.0, "power_factor": 0.6,
        "locked_rotor_A": 20.0, "start_s": 0.5}  # fmt: skip
NO_WORD = Missing("word on the sag at start", ("bank.resistance_mohm",))
UNKNOWN = Missing("internal resistance", ("bank.resistance_mohm",))


def site(*loads, inverters=(INVERTER,), array=None, **bank):
    """A bank of 24 V and 200 Ah with these loads."""
    tables = {"name": "shed", "bank": {"nominal_V": 24, "capacity_Ah": 200, **bank}, "loads": list(loads)}
    more = {} if array is None else {"array": array}
    return Site.model_validate({**tables, "inverters": list(inverters), **more})


def of(bank, running_A, starting_A=None, start_s=0.5, **changes):
    """The word on a bank of which so much is asked."""
    asked = Asked(Within.exactly(running_A), starting_A, start_s, "with 'pump' starting", **changes)
    tables = {"nominal_V": 25.6, "capacity_Ah": 100, "chemistry": "lifepo4", **bank}
    return check_bank(Bank.model_validate(tables), asked, NO_WORD, UNKNOWN, before_V=25.6)


# -- the keys ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "continuous_A", "moment_A"),
    [
        ({"max_discharge_A": 100}, 100, None),
        ({"max_discharge_A": [100]}, 100, None),
        ({"max_discharge_A": [100, 200], "max_discharge_s": 5}, 100, 200),
        ({"max_discharge_A": 200, "max_discharge_s": 5}, None, 200),
        ({}, None, None),
    ],
)
def test_amps_alone_are_without_a_break(keys, continuous_A, moment_A):
    """One figure alone is for good; with seconds it is for these; two are both."""
    bank = Bank.model_validate({"nominal_V": 24, "capacity_Ah": 100, **keys})
    assert (bank.continuous_A, bank.moment_A) == (continuous_A, moment_A)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"max_discharge_A": [100, 200]}, "needs max_discharge_s"),
        ({"max_discharge_s": 5}, "says nothing without max_discharge_A"),
        ({"max_discharge_A": [200, 100], "max_discharge_s": 5}, "continuous amps first"),
        ({"max_discharge_A": [1, 2, 3], "max_discharge_s": 5}, "one figure, or two"),
        ({"max_discharge_A": [], "max_discharge_s": 5}, "one figure, or two"),
        ({"max_discharge_A": "100 A"}, "a number of amps, or two"),
        ({"max_discharge_A": True}, "a number of amps, or two"),
        ({"max_discharge_A": [100, -1], "max_discharge_s": 5}, "greater than 0"),
        ({"max_charge_A": 0}, "greater than 0"),
    ],
)
def test_amps_that_cannot_be_are_told(keys, words):
    """One plain sentence for each slip."""
    with pytest.raises(ValueError, match=words):
        Bank.model_validate({"nominal_V": 24, "capacity_Ah": 100, **keys})


def test_a_site_files_words_name_the_limits_and_the_verdict():
    """`check-site` says what was entered, how the bank fares with all loads, and tells a failure again."""
    limits = {"chemistry": "lifepo4", "max_discharge_A": [40, 90], "max_discharge_s": 2, "max_charge_A": 60}
    said = " ".join(describe(site(PUMP, HEATER, **limits)))
    for words in ("lets out 40 A without a break", "90 A for 2 s", "takes in 60 A at most", "the bank fails"):
        assert words in said
    again = [text for text in contradictions(site(PUMP, HEATER, **limits)) if text.startswith("The bank: ")]
    assert any("running, of 40 A" in text for text in again)
    assert any("with 'pump' starting (locked-rotor), of 90 A" in text for text in again)
    assert "The bank was not judged: add bank.max_discharge_A" in " ".join(describe(site(PUMP, chemistry="lifepo4")))
    assert "bank.max_discharge_A or bank.chemistry" in " ".join(describe(site(PUMP)))


# -- limits ------------------------------------------------------------------------------------------------------------

PAIR = {"max_discharge_A": [100, 200], "max_discharge_s": 5}
CONTINUOUS = {"max_discharge_A": 100}
MOMENT = {"max_discharge_A": 200, "max_discharge_s": 5}


@pytest.mark.parametrize(
    ("keys", "running_A", "starting_A", "start_s", "verdict"),
    [
        (PAIR, 90, (150, 199), 0.5, "holds"),
        (PAIR, 101, (150, 199), 0.5, "fails"),  # running above the continuous
        (PAIR, 90, (150, 210), 0.5, "doubtful"),  # the start may be above the moment's
        (PAIR, 90, (210, 250), 0.5, "fails"),
        (PAIR, 50, (60, 99), 8.0, "holds"),  # longer than the moment: against the continuous
        (PAIR, 50, (101, 120), 8.0, "fails"),
        (CONTINUOUS, 90, (50, 99), 0.5, "holds"),
        (CONTINUOUS, 90, (101, 150), 0.5, "fails"),  # nothing says that more may flow for a moment
        (MOMENT, 150, (150, 199), 0.5, "doubtful"),  # runs longer than the seconds of the only limit given
        (MOMENT, 201, None, 0.5, "fails"),
        (MOMENT, 50, (60, 99), 8.0, "doubtful"),
    ],
)
def test_starts_are_for_a_moment_and_running_is_for_good(keys, running_A, starting_A, start_s, verdict):
    """A start against the momentary limit if it is no longer than its seconds, a running draw against the other."""
    start = None if starting_A is None else Within(sum(starting_A) / 2, *starting_A)
    got = of(keys, running_A, start, start_s)
    assert got.verdict == verdict
    if keys is MOMENT and running_A <= 200:
        assert "max_discharge_A = [continuous, 200]" in got.parts[0].sentence


def test_a_bank_whose_protection_is_not_known_never_holds():
    """Lithium by its voltage alone does not hold, and yet it may fail; lead-acid is judged by its size."""
    high, low = (Sag(Within(v, v - 1, v + 1), 21.5, "it stops", 0, ()) for v in (25.0, 20.0))
    asked = Asked(Within.exactly(10.0), Within.exactly(20.0), 0.5, "with 'pump' starting")
    for kind in (None, "other", "lifepo4"):
        bank = Bank(nominal_V=24.0, capacity_Ah=100.0, chemistry=kind)
        unknown = check_bank(bank, asked, high, UNKNOWN, before_V=24.0)
        assert (unknown.verdict, unknown.decides[0]) == (None, "bank.max_discharge_A")
        sags = check_bank(bank, asked, low, UNKNOWN, before_V=24.0)
        assert (sags.verdict, sags.worst_part) == ("fails", low)
    lead = Bank(nominal_V=24.0, capacity_Ah=100.0, chemistry="agm")
    assert check_bank(lead, asked, NO_WORD, UNKNOWN, before_V=24.0).verdict == "holds"


@pytest.mark.parametrize(
    ("kind", "running_A", "starting_A", "verdict"),
    # Shares of the size in an hour, common practice without a source: see `bank_limits`.
    [
        ("flooded_lead_acid", 20, 90, "holds"),
        ("flooded_lead_acid", 30, 90, "doubtful"),
        ("agm", 30, 190, "holds"),
        ("flooded_lead_acid", 20, 190, "doubtful"),
        ("flooded_lead_acid", 25, 100, "holds"),  # up to its ease, not only below
        ("flooded_lead_acid", 146, 90, "fails"),
        ("gel", 20, 301, "fails"),
        ("gel", 26, 90, "doubtful"),
        ("gel", 25, 101, "doubtful"),
        ("agm", 34, 90, "doubtful"),
        ("agm", 20, 301, "doubtful"),
        ("agm", 20, 501, "fails"),
    ],
)
def test_lead_acid_is_held_against_its_size(kind, running_A, starting_A, verdict):
    """100 Ah; each sentence says that its limit has no source."""
    got = of({"chemistry": kind}, running_A, Within.exactly(starting_A))
    assert got.verdict == verdict
    assert all("common practice, no source" in part.sentence for part in got.parts)


def test_what_is_not_counted_keeps_a_bank_from_holding():
    """A load whose plate says nothing makes what is asked a lower bound: too much is too much, enough is not enough."""
    mute = Missing("word on 'radio'", ("loads.power_W",))
    assert of(PAIR, 10, left_out=(mute,)).verdict is None
    assert "loads.power_W" in of(PAIR, 10, left_out=(mute,)).decides
    assert of(PAIR, 110, left_out=(mute,)).verdict == "fails"


LIMITS = st.one_of(
    st.just({}),
    st.builds(lambda amps: {"max_discharge_A": amps}, st.floats(5, 500)),
    st.builds(lambda amps, s: {"max_discharge_A": amps, "max_discharge_s": s}, st.floats(5, 500), st.floats(0.1, 20)),
    st.builds(
        lambda amps, more, s: {"max_discharge_A": [amps, amps + more], "max_discharge_s": s},
        *(st.floats(5, 500), st.floats(0, 500), st.floats(0.1, 20)),
    ),
)
KINDS = st.sampled_from((None, "other", "lifepo4", "agm", "gel", "flooded_lead_acid"))


@given(LIMITS, KINDS, st.floats(1, 400), st.floats(1, 3), st.floats(1, 2), st.floats(0.1, 20), st.booleans())
def test_the_word_on_a_bank_is_the_worst_that_its_sentences_say(keys, kind, amps_A, ratio, wide, start_s, in_part):
    """In all combinations: a sentence has one word in it, its verdict; the bank's is the worst, or it is not judged."""
    kinds = {} if kind is None else {"chemistry": kind}
    start = Within(ratio * amps_A, ratio * amps_A / wide, ratio * amps_A * wide)
    tables = {"nominal_V": 24.0, "capacity_Ah": 100.0, **kinds, **keys}
    asked = Asked(Within.exactly(amps_A), start, start_s, "with 'pump' starting", seen_in_part=in_part)
    got = check_bank(Bank.model_validate(tables), asked, NO_WORD, UNKNOWN, before_V=24.0)
    for part in got.parts:
        assert re.findall("holds|doubtful|fails", part.sentence) == [part.verdict]
    if got.verdict is None:
        assert got.decides
        assert all(part.verdict == "holds" for part in got.parts)
    else:
        assert got.verdict == worst(*(part.verdict for part in got.parts))
        assert got.worst_part.verdict == got.verdict
    if "max_discharge_A" not in keys and kind in (None, "other", "lifepo4"):
        assert got.verdict is None


@given(LIMITS, st.floats(1, 400), st.floats(1.01, 3), st.floats(0.1, 20))
def test_more_asked_is_never_better(keys, amps_A, more, start_s):
    """The word gets no better as the draw rises."""
    order = [None, "holds", "doubtful", "fails"]
    less, much = (of(keys, x, Within.exactly(2 * x), start_s).verdict for x in (amps_A, more * amps_A))
    assert order.index(much) >= order.index(less)


# -- charging ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("most_A", "returned_A", "verdicts"),
    [
        # 1,200 W: 41.7 A at 28.8 V, 25 A of these by the performance ratio, 50 A at nominal 24 V.
        (None, 90.0, []),
        (50.0, None, ["holds"]),
        (40.0, None, ["doubtful"]),
        (24.0, None, ["fails"]),
        (50.0, 51.0, ["holds", "fails"]),
        (50.0, 0.0, ["holds"]),
    ],
)
def test_what_is_put_in_is_held_against_the_limit(most_A, returned_A, verdicts):
    """The array's watts over the bank's voltage, and the highest that a log shows."""
    array = Array(power_W=1200.0, performance_ratio=0.6)
    bank = Bank(nominal_V=24.0, capacity_Ah=100.0, charging_V=28.8, max_charge_A=most_A)
    assert [part.verdict for part in charging_judged(bank, array, returned_A)] == verdicts
    assert len(charging_judged(bank, None, returned_A)) == (most_A is not None and bool(returned_A))


def test_an_array_without_a_performance_ratio_may_give_all_its_watts():
    """900 W at 28.8 V are 31.25 A at the least, and 37.5 A at nominal; amps at MPPT are the panels'."""
    bank = Bank(nominal_V=24.0, capacity_Ah=100.0, charging_V=28.8, max_charge_A=30.0)
    (part,) = charging_judged(bank, Array(power_W=900.0, controller="mppt", current_A=9.0))
    assert (part.asked.low, part.asked.high, part.verdict) == (31.25, 37.5, "fails")


def test_a_pwm_controller_puts_in_the_arrays_amps():
    """50 A at peak power, whatever the voltage."""
    array = Array(power_W=1200.0, performance_ratio=0.6, controller="pwm", current_A=50.0)
    bank = Bank(nominal_V=24.0, capacity_Ah=100.0, max_charge_A=49.0)
    (part,) = charging_judged(bank, array)
    assert (part.asked.low, part.asked.high, part.verdict) == (30.0, 50.0, "doubtful")


# -- what is asked, by plates ------------------------------------------------------------------------------------------


def test_a_start_is_watts_at_a_standstills_power_factor():
    """The pump's 690 W and the heater's 950 W; at the start 4,600 VA x 0.5 to 0.85 in the pump's place."""
    got = bank_draw(site(PUMP, HEATER), site(PUMP, HEATER).loads)
    assert (got.running_W, got.hardest, got.start_s) == (1640.0, "pump", 0.5)
    assert (got.starting_W.low, got.starting_W.high) == pytest.approx((950 + 2300, 950 + 3910))
    assert any("0.5 to 0.85 are watts" in said and "from memory" in said for said in got.assumptions)
    assert not any("stands still" in said for said in bank_draw(site(HEATER), site(HEATER).loads).assumptions)


def test_losses_and_the_surge_rating_are_in_what_is_asked():
    """80 % and 20 W of idling; never more volt-amperes than the inverter's surge rating."""
    lossy = {**INVERTER, "efficiency_pct": 80, "idle_W": 20, "surge_VA": 4000}
    where = site(PUMP, inverters=[lossy])
    got = bank_draw(where, where.loads)
    assert got.running_W == pytest.approx(690 / 0.8 + 20)
    assert got.starting_W.high == pytest.approx(4000 * 0.85 / 0.8 + 20)


def test_loads_of_two_inverters_and_of_the_bank_add_up_at_the_bank():
    """Ratings of two inverters never add up for one load; what they draw from one bank does."""
    other = {**INVERTER, "name": "house"}
    fridge = {"name": "fridge", "kind": "heater", "inverter": "house", "power_W": 100.0}
    lamp, pond = {"name": "lamp", "current_A": 5.0}, {"name": "pond", "kind": "pump", "power_W": 240.0}
    where = site(HEATER, fridge, lamp, pond, inverters=[INVERTER, other])
    got = bank_draw(where, where.loads)
    assert got.running_W == 950 + 100 + 5 * 24 + 240
    # What a motor for direct current draws stalled is in no table: ten times its running amps at most (from memory).
    assert any("'pond' draws before it turns is not known" in text for text in got.assumptions)
    assert (got.hardest, got.starting_W) == (None, None)
    assert got.unknown_start.add == ("loads.locked_rotor_A", "loads.start")
    stalled = site({**pond, "locked_rotor_A": 60.0}, HEATER)
    # 60 A of 24 V are 1,440 W.
    assert bank_draw(stalled, stalled.loads).starting_W == Within.exactly(950 + 1440)
    idle = site(HEATER, inverters=[INVERTER, other])
    assert bank_draw(idle, idle.loads).running_W == 950  # nothing hangs on the other


def test_a_load_that_says_nothing_is_left_out_and_said():
    """A radio on the inverter and one on the bank."""
    radio = {"name": "radio", "kind": "electronics"}
    where = site(HEATER, {**radio, "inverter": "shed"}, {**radio, "name": "other"})
    got = bank_draw(where, where.loads)
    assert [len(each.add) for each in got.left_out] == [2, 2]
    assert (got.running_W, got.starting_W, got.hardest) == (950.0, None, None)
    assert bank_by_plates(where, where.loads).verdict is None


def test_amps_are_at_the_voltage_that_the_resistance_leaves():
    """2,400 W from 24 V: 105.3 A at 95 % of it (IEEE 1013-2007, 5.2); through 10 mohm at 22.95 V."""
    watts = Within.exactly(2400.0)
    assert amps(site(), watts, 24.0, UNKNOWN).value == pytest.approx(2400 / 22.8)
    known = stated_resistance(Bank(nominal_V=24.0, capacity_Ah=1.0, resistance_mohm=10.0))
    assert amps(site(), watts, 24.0, known).value == pytest.approx(2400 / ((24 + (576 - 96) ** 0.5) / 2))
    too_much = amps(site(), Within.exactly(14401.0), 24.0, known)
    assert isinstance(too_much, Missing)
    assert "14,400 W through at most" in too_much.sentence  # 24^2 / 0.04
    each = amps(site(), Within(2400.0, 1200.0, 3600.0), 24.0, known)
    assert each.low < each.value < each.high
    assert each.value == pytest.approx(2400 / ((24 + (576 - 96) ** 0.5) / 2))


@given(st.floats(10, 60), st.floats(0.5, 100), st.floats(1, 60_000))
def test_no_current_is_told_that_the_resistance_does_not_let_through(volts, mohm, watts):
    """At the most half of the short circuit's flows: E / 2 R, at half the voltage."""
    where = site(nominal_V=volts)
    got = amps(where, Within.exactly(watts), volts, Resistance(Within.exactly(mohm), 0, ()))
    if isinstance(got, Within):
        assert got.high <= volts / (2 * mohm / 1000) * (1 + 1e-9)
        assert got.value * (volts - got.value * mohm / 1000) == pytest.approx(watts, rel=1e-6)
    else:
        assert watts > volts**2 / (4 * mohm / 1000) * (1 - 1e-9)


@pytest.mark.parametrize(
    ("bank", "inverter", "floor_V"),
    [
        ({"chemistry": "agm", "cut_off_V": 22.0}, {"cut_off_V": 21.5}, 21.5),  # a dip does not make it empty
        ({"chemistry": "lifepo4", "cut_off_V": 22.0}, {"cut_off_V": 21.5}, 22.0),  # its protection opens at once
        ({"chemistry": "lifepo4", "cut_off_V": 20.0}, {"cut_off_V": 21.5}, 21.5),
        ({"chemistry": "lifepo4", "cut_off_V": 20.0}, {}, 20.0),
        ({"chemistry": "agm", "cut_off_V": 22.0}, {}, None),
    ],
)
def test_the_floor_of_a_start_is_what_switches_off_first(bank, inverter, floor_V):
    """The inverter's cut-off, beside it that of a protection; without either its key."""
    where = site(PUMP, inverters=[{**INVERTER, **inverter}], **bank)
    got = voltage_floor(where, where.loads[0])
    assert (got.V if isinstance(got, VoltageFloor) else None) == floor_V
    assert isinstance(got, VoltageFloor) or got.add == ("inverters.cut_off_V",)


# -- starts that were seen ---------------------------------------------------------------------------------------------


def starts(lowest_V, *, resolved=True, interval_s=1.0, sampling="instant", start_s=0.5, voltage=None, instants=False):
    """What these starts say of the next, from 25 V before each."""
    runs = [make_cycle(60.0 * k, surge_resolved=resolved, before_V=25.0, lowest_V=v) for k, v in enumerate(lowest_V)]
    return seen_starts(runs, voltage, start_s=start_s, interval_s=interval_s, sampling=sampling, instants=instants)


@pytest.mark.parametrize(
    ("count", "places"),
    [(6, 1000), (12, 500), (40, 300), *(pytest.param(n, 1000, marks=pytest.mark.night) for n in (12, 40, 150))],
)
def test_the_next_start_lies_within_what_was_seen(count, places):
    """Of places with so many starts of a scatter of their own, 95 % hold the next one (93 % is the bar)."""
    rng, held = np.random.default_rng(20 + count), 0
    for _ in range(places):
        lowest = rng.normal(23.5, 0.2, count + 1)
        got = starts(lowest[:-1])
        held += got.lowest_V.holds(lowest[-1])
    assert held / places >= 0.93


@pytest.mark.parametrize("count", [30, 120])
def test_starts_met_in_part_hold_the_true_fall_of_the_next(count):
    """A surge of 0.4 s falls to about 9.7 V and then rises; readings a second apart meet it where they may."""
    rng, held, places = np.random.default_rng(count), 0, 300
    for _ in range(places):
        true = rng.normal(9.7, 0.05, count + 1)
        at_s = rng.uniform(0, 1, count)
        seen = np.where(at_s < 0.4, true[:-1] + 1.5 * at_s / 0.4, 11.8 + rng.normal(0, 0.02, count))
        got = starts(seen, resolved=False, start_s=0.4, voltage=Accuracy(0.5, 0.1))
        assert got.whole
        held += got.lowest_V.holds(true[-1])
    assert held / places >= 0.95


def test_the_next_of_ten_starts_by_hand():
    """Five at 23.4 V, five at 23.6: t(0.975, 9) is 2.262 (a table of it), 2.262 x 0.1054 x sqrt(1.1) = 0.250."""
    got = starts([23.4, 23.6] * 5).lowest_V
    assert (got.low, got.value, got.high) == pytest.approx((23.25, 23.5, 23.75), abs=1e-3)
    assert starts([24.95, 24.0] * 5).lowest_V.high == 25.0  # no start lifts the voltage


def test_the_voltmeter_leaves_the_next_start_open():
    """1 % and its class of 0.5, 0.1 % of 50 V, 10 mV, and half of 20 mV: 0.4225 V, of which an even one takes 95 %."""
    meter = Accuracy(1.0, 0.1, full_scale=50.0, zero=0.01, resolution=0.02, class_pct=0.5)
    for resolved in (True, False):
        got = starts([23.5] * 10, resolved=resolved, voltage=meter).lowest_V
        # Where each is seen in part, 1.5 V from 25 V may be 45 % of the fall.
        low = 23.5 - 0.4014 if resolved else 25 - 1.5 / 0.45
        assert (got.low, got.value, got.high) == pytest.approx((low, 23.5, 23.5 + 0.4014), abs=1e-4)


def test_starts_met_in_part_by_hand():
    """From 22.0 to 22.4 V in five readings of twenty, half at 24 V; 3 V below 25 V are 45 % of 6.67 V.

    From 22.0 to 24.0 V: (20^(1/4) - 1) x 2.0 = 2.23 V below the lowest, were it not for that.
    """
    close = starts([22.0, 24.0, 22.1, 22.2, 22.3, 22.4, *[24.0] * 10, *[24.5] * 4], resolved=False)
    got = close.lowest_V
    assert (got.low, got.value, got.high) == pytest.approx((25 - 3 / 0.45, 22.095, 24.0), abs=1e-3)
    assert any("45 % of how far" in text for text in close.assumptions)
    # Where the readings thin out that much, the bottom they missed lies further out.
    got = starts([24.0, 24.9, 24.92, 24.94, 24.97, 24.98], resolved=False).lowest_V
    assert got.low == pytest.approx(min(25 - 1.0 / 0.45, 24.0 - (20**0.25 - 1) * 0.97), abs=1e-3)
    assert not any("45 %" in text for text in starts([23.5] * 10).assumptions)
    # A meter that is stated to average over nothing shows what it meets.
    plain = starts([22.0, 24.0, 22.1, 22.2, 22.3, 22.4, *[24.0] * 14], resolved=False, instants=True)
    assert plain.lowest_V.low == pytest.approx(21.554, abs=1e-3)
    assert not any("45 %" in text for text in plain.assumptions)
    deep = starts([1.0, 20.0, 20.0, 20.0, 20.0, 20.0], resolved=False).lowest_V
    assert (deep.low, deep.high) == (0.5, 20.0)  # beyond is no voltage: half of the lowest stands for its end


def test_a_bank_that_ran_down_falls_from_where_it_stands():
    """From 25 V down to 24.2 V, at last 24 V, by 0.9 V and once by 1.5 V: the next may fall to 22.5 V."""
    stood, fell = np.append(np.linspace(25.0, 24.2, 19), 24.0), np.where(np.arange(20) == 3, 1.5, 0.9)
    runs = [
        make_cycle(60.0 * k, surge_resolved=True, before_V=v, lowest_V=v - f)
        for k, (v, f) in enumerate(zip(stood, fell, strict=True))
    ]
    got = seen_starts(runs, None, start_s=0.5, interval_s=0.1)
    assert got.lowest_V.low <= 24.0 - 1.5
    assert got.lowest_V.high < 25.0


def test_readings_that_missed_starts_say_so():
    """Half a second of a minute: 20 starts are met by one in seven logs; means never show one."""
    floor = VoltageFloor(21.5, "it stops")
    for got in (
        starts([24.5] * 20, resolved=False, interval_s=60.0),
        starts([24.5] * 99, resolved=False, sampling="mean"),
    ):
        assert not got.whole
        word = sag_of_starts(got, floor)
        assert (word.by_figures, word.verdict) == ("holds", "doubtful")
    assert starts([24.5] * 20, resolved=False).whole  # a second apart: 0.5^20
    # Two seconds apart: 0.75^10 is 0.056, 0.75^11 is 0.042; closer than the start lasts nothing is missed.
    met = [starts([24.5] * count, resolved=False, interval_s=2.0).whole for count in (10, 11)]
    assert met == [False, True]
    assert starts([24.5] * 8, resolved=False, interval_s=0.1).whole
    assert any("part of each start" in text for text in starts([24.5] * 20, resolved=False).assumptions)
    assert len(starts([24.5] * 20).assumptions) == 1


def test_one_start_in_part_makes_all_of_them_so():
    """Nine starts seen whole and one of which readings a minute apart show a part."""
    runs = [make_cycle(60.0 * k, surge_resolved=k > 0, before_V=25.0, lowest_V=24.0) for k in range(10)]
    assert not seen_starts(runs, None, start_s=0.5, interval_s=60.0).whole
    assert not starts([24.5] * 20, resolved=False, interval_s=None).whole


def test_few_starts_tell_nothing_of_the_next():
    """Five are not enough, and those without volts do not count; none is filled in from a plate."""
    assert isinstance(starts([24.0] * 5), Missing)
    blind = [make_cycle(60.0 * k) for k in range(20)]
    assert isinstance(seen_starts(blind, None, start_s=0.5, interval_s=1.0), Missing)


def test_sun_in_a_start_is_left_out_where_others_are_without():
    """Eight starts in the sun fall less; the eight without tell the next."""
    runs = [make_cycle(60.0 * k, before_V=25.0, lowest_V=24.8, array_may_share=True) for k in range(8)]
    runs += [make_cycle(60.0 * k, before_V=25.0, lowest_V=23.0, surge_resolved=True) for k in range(8)]
    got = seen_starts(runs, None, start_s=0.5, interval_s=1.0)
    assert isinstance(got, SeenStarts)
    assert (got.count, got.lowest_V) == (8, Within(23.0, 23.0, 23.0))


@given(st.lists(st.floats(0.5, 60), min_size=6, max_size=40), st.booleans(), st.floats(0, 5))
def test_no_start_falls_to_nothing(lowest_V, resolved, off_pct):
    """Whatever was read: the ends are above 0 V and in order, and the value lies between them."""
    got = starts(lowest_V, resolved=resolved, voltage=Accuracy(off_pct, 0.0))
    assert isinstance(got, SeenStarts)
    assert 0 < got.lowest_V.low <= got.lowest_V.value <= got.lowest_V.high


# -- the word on the whole ---------------------------------------------------------------------------------------------

WORDS = st.sampled_from((None, "holds", "doubtful", "fails"))


@given(st.lists(st.tuples(st.sampled_from(("the shed", "the house")), WORDS), max_size=3), WORDS, st.booleans())
def test_a_system_holds_only_where_the_bank_was_judged(inverters, bank, conductor_fails):
    """Its word is the worst of its parts, and never "carries it" while the bank was not judged."""
    limits = {None: {}, "holds": {"max_discharge_A": 50}, "fails": {"max_discharge_A": 5}, "doubtful": {}}[bank]
    kind = "agm" if bank == "doubtful" else "lifepo4"
    check = of({"chemistry": kind, **limits}, 40 if bank == "doubtful" else 20)
    assert check.verdict == bank
    # Where nothing hangs on an inverter nothing is to be added, and it says nothing.
    got = system_word([InverterWord(*each) for each in inverters], check, conductor_fails=conductor_fails)
    known = [word for _, word in inverters if word] + ([bank] if bank else []) + (["fails"] if conductor_fails else [])
    if bank is None:
        assert "the bank was not judged (add bank.max_discharge_A" in got.sentence.replace("The bank", "the bank")
        assert not got.sentence.startswith("The system carries it")
    if bank is None and worst(*known) == "holds":
        assert got.verdict is None
    else:
        assert got.verdict == worst(*known)
        starts = {"holds": "The system carries it", "doubtful": "Whether", "fails": "The system does not"}
        assert got.sentence.startswith(starts[got.verdict])


@given(st.lists(st.tuples(st.sampled_from(("the shed", "the house")), WORDS), max_size=2), st.booleans())
def test_an_inverter_that_could_not_be_judged_is_never_passed_over(inverters, conductor_fails):
    """What it lacks is said; the whole is not known then, unless something is wrong that was found."""
    words = [InverterWord(name, word, "" if word else "add inverters.surge_VA") for name, word in inverters]
    got = system_word(words, of(PAIR, 10), conductor_fails=conductor_fails)
    known = [word for _, word in inverters if word] + (["fails"] if conductor_fails else [])
    unknown = [name for name, word in inverters if word is None]
    assert got.verdict == (None if unknown and worst(*known) == "holds" else worst(*known))
    for name in unknown:
        assert f"{name} was not judged (add inverters.surge_VA)" in got.sentence
    if got.verdict is None:
        assert got.sentence.startswith("Whether the system carries it is not known: ")
        assert "the bank holds" in got.sentence
        assert got.parts.startswith("add inverters.surge_VA")


@pytest.mark.parametrize(
    ("inverters", "cables", "words"),
    [((), (), "inverter, cables"), ((), (1,), "inverter"), ((1,), (), "cables"), ((1,), (1,), "")],
)
def test_a_bank_judged_alone_says_what_was_not(inverters, cables, words):
    """The site file has none of it; beside an inverter that was judged nobody takes the bank for the whole."""
    absent = absent_parts(inverters, cables)
    alone = system_word([], of(PAIR, 10), conductor_fails=False, absent=absent)
    end = f"; not judged, since the site file has none: {words}." if words else "."
    assert alone.sentence == f"The system carries it: the bank holds{end}"
    beside = system_word([InverterWord("the shed", "holds")], of(PAIR, 10), conductor_fails=False, absent=absent)
    assert beside.sentence == "The system carries it: the shed holds and the bank holds."


@pytest.mark.parametrize(("inverter", "begins"), [("holds", "carry it safely"), ("fails", "carry it")])
def test_a_system_whose_ratings_hold_fails_by_its_conductors_alone(inverter, begins):
    """A conductor that fails is no rating: the loads run, and not safely; beside an inverter that fails they do not."""
    got = system_word([InverterWord("the shed", inverter)], of(PAIR, 10), conductor_fails=True)
    assert got.sentence.startswith(f"The system does not {begins}: the shed ")


def test_of_many_words_the_one_that_asks_for_care():
    """What fails before what is doubtful before what was not judged before what holds."""
    words = (InverterWord("the shed", word) for word in ("holds", "fails"))
    found = [system_word([word], of(PAIR, 10), conductor_fails=False) for word in words]
    unknown = system_word([], of({}, 10), conductor_fails=False)
    assert weakest(found).verdict == "fails"
    assert weakest([found[0], unknown]) is unknown


def test_a_bank_too_small_is_seen_from_its_size():
    """A 3 hp pump on 100 Ah of flooded lead: 3,910 VA at 0.65 are more than its size in an hour while running."""
    pump = {"name": "pump", "kind": "pump", "inverter": "shed", "voltage_V": 230.0, "current_A": 17.0, "hp": 3.0}
    big = {**INVERTER, "continuous_VA": 5000, "surge_VA": 20000}
    where = site(pump, inverters=[big], chemistry="flooded_lead_acid", capacity_Ah=100)
    got = bank_by_plates(where, where.loads)
    assert got.verdict == "fails"
    assert (got.parts[0].verdict, got.parts[0].asked.value) == ("fails", pytest.approx(3910 * 0.65 / 22.8))
