"""How good a log is: each defect is found where it is, and none where it is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from quality_logs import HOUR_S, bank_log, changed, codes, grades, looked
from readings import T0_US, US, assert_same, charge_of, chunk_of, fed, how

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.instants import InstantsFold
from shuntbook.analysis.health.health import sign_check
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.quality.quality import QualityFold
from shuntbook.analysis.quality.sign_check import SignFold
from shuntbook.analysis.quality.spikes import SpikePart, without_spikes
from shuntbook.analysis.quality.zero_check import ZeroFold
from shuntbook.analysis.quality.zero_rest import RestPart
from shuntbook.analysis.readings.blocks import InPieces
from shuntbook.analysis.readings.chunk import Chunk, join
from shuntbook.analysis.stats.bounded import BlockMeans, Histogram
from shuntbook.cli.opening.prepared_log import Corrections, prepared

# --- a log with nothing the matter ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("known", [{}, {"sun_A": 9.0}, {"every_s": 0.1, "hours": 0.6}, {"every_s": 10.0, "hours": 12}])
def test_a_healthy_log_has_nothing_the_matter(seed, known):
    """With sun and without, ten readings a second or one in ten seconds: no doubt, no spike, the sign is right."""
    chunk = bank_log(seed, **known)
    power_W = np.round(chunk.quantities["current_A"] * chunk.quantities["voltage_V"], 1)
    reading = how(gap_limit_s=50.0, usual_interval_s=known.get("every_s", 1.0))
    found, verdict = looked(changed(chunk, power_W=power_W), reading, range_A=500.0, has_array="sun_A" in known)
    assert (codes(found), found.stuck, found.clipping, found.spikes.count) == (set(), (), (), 0)
    assert found.sign.plausible is True
    assert found.sign.against == 0
    assert found.sign.resistance_ohm == pytest.approx(0.012, rel=0.1)
    assert grades(verdict)[:2] == ["good", "good"]
    assert found.availability == 1.0


def test_what_the_readings_spacing_allows_for_surges():
    """0.1 s shows a surge, 1 s bounds it, 10 s does not; means and readings by eye are told apart."""
    for every_s, sampling, grade in ((0.1, "instant", "good"), (1.0, "instant", "with care"), (10.0, "instant", "not")):
        reading = how(sampling=sampling, gap_limit_s=50.0, usual_interval_s=every_s)
        assert looked(bank_log(every_s=every_s), reading)[1].surges.grade == grade
    assert looked(bank_log(), how(sampling="mean"))[1].surges.grade == "with care"
    assert grades(looked(bank_log(), how(sampling="held"))[1]) == ["with care", "not", "not"]


@pytest.mark.parametrize("sampling", ["mean", "held"])
def test_a_film_is_no_reading_by_eye_and_its_display_bounds_a_surge(sampling):
    """However often it is looked at, a display shows what it shows; but it is looked at all the time."""
    reading = how(sampling=sampling, usual_interval_s=0.2, delay_s=1.0)
    verdict = looked(bank_log(hours=0.5, every_s=0.2), reading)[1]
    assert grades(verdict) == ["good", "good", "with care"]
    assert verdict.surges.reasons == (
        "a display shows a surge averaged or not at all, so it was at least what it shows",
    )


# --- time -----------------------------------------------------------------------------------------------------------


def test_gaps_lower_the_availability():
    """A tenth of the log is missing: availability 90 % (the sense of IEC 61724-1), and Ah with care."""
    chunk = bank_log()
    keep = (np.arange(len(chunk)) < 3000) | (np.arange(len(chunk)) >= 3720)
    found, verdict = looked(Chunk(chunk.time_us[keep], {n: x[keep] for n, x in chunk.quantities.items()}))
    assert found.availability == pytest.approx(0.9, abs=0.001)
    assert grades(verdict)[:2] == ["with care", "with care"]
    assert "not measured" in verdict.amounts.reasons[0]


@pytest.mark.parametrize(("spread_s", "low", "high"), [(0.0, 0.0, 0.012), (0.5, 0.43, 0.47)])
def test_irregular_spacing(spread_s, low, high):
    """Spacings even between 1 - s and 1 + s: from 5 % to 95 % is 0.9 of the whole spread, in bins of 1 %."""
    time_s = np.cumsum(np.random.default_rng(0).uniform(1 - spread_s, 1 + spread_s, 20_000))
    found, _ = looked(chunk_of(time_s, current_A=1.0))
    assert low <= found.spacing.irregularity <= high


@given(st.lists(st.floats(1e-6, 1e6), min_size=1, max_size=200), st.floats(0.01, 1.0))
def test_histogram_knows_quantiles_to_half_a_percent(sizes, share):
    """Against the sorted values themselves."""
    counted = Histogram()
    counted.add(np.array(sizes))
    exact = sorted(sizes)[max(int(np.ceil(share * len(sizes) - 1e-9)) - 1, 0)]
    assert counted.quantile(share) == pytest.approx(exact, rel=0.0051)


# --- sign -----------------------------------------------------------------------------------------------------------


@examples(7, 20)
@given(seed=st.integers(0, 10**6), sun_A=st.sampled_from([0.0, 12.0, 40.0]), every_s=st.sampled_from([0.2, 1.0, 15.0]))
def test_a_turned_sign_is_found_and_a_right_one_is_never_accused(seed, sun_A, every_s):
    """Also where an array charges the bank meanwhile, so that the current is negative nearly all the time."""
    chunk = bank_log(seed, sun_A=sun_A, every_s=every_s)
    turned = changed(chunk, current_A=-chunk.quantities["current_A"])
    right, wrong = (fed(SignFold(c.quantities, 60.0), c).result() for c in (chunk, turned))
    assert right.plausible is True
    assert wrong.plausible is False
    assert (wrong.steps, wrong.against) == (right.steps, right.steps - right.against)
    assert sign_check(right).finding is None
    assert f"in {wrong.against} of {wrong.steps} " in sign_check(wrong).finding.evidence


def test_noise_and_drift_say_nothing_about_the_sign():
    """A bank that charges slowly, volts rising with the falling charge, and noise that is common to both: no steps."""
    rng = np.random.default_rng(4)
    time_s = np.arange(7200.0)
    shared = rng.normal(0, 0.05, len(time_s))
    slow = chunk_of(time_s, current_A=-20 + time_s / 600 + shared, voltage_V=25 + time_s / 4000 + 0.1 * shared)
    assert fed(SignFold(slow.quantities), slow).result().plausible is None


def test_volts_that_do_not_answer_say_nothing():
    """Loads switch, but the voltage is of another bank and only flickers by its last digit."""
    for seed in range(20):
        rng = np.random.default_rng(seed)
        chunk = changed(bank_log(seed), voltage_V=25 + 0.1 * (rng.random(7200) < 0.3))
        assert fed(SignFold(chunk.quantities), chunk).result().plausible is None


def test_volts_of_a_charging_bank_drift_up_while_the_sign_is_right():
    """The voltage rises by more than a load's sag from one load to the next: the steps still tell."""
    chunk = bank_log(2, hours=4)
    rising = changed(chunk, voltage_V=chunk.quantities["voltage_V"] + 3 * np.arange(len(chunk)) / len(chunk))
    assert fed(SignFold(rising.quantities), rising).result().plausible is True


def test_behind_an_inverter_there_is_no_sign():
    """Amps there have no direction."""
    chunk = bank_log()
    assert looked(chunk, how(side="ac"))[0].sign is None
    assert fed(SignFold.of(how(side="ac"), chunk.quantities), chunk).result() is None
    assert fed(SignFold.of(how(gap_limit_s=50.0), chunk.quantities), chunk).result().plausible is True


# --- stuck readings -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["current_A", "voltage_V"])
def test_a_quantity_that_stands_still_is_told_with_when(name):
    """Ten minutes of one value while the other goes on, a pump's run among them."""
    chunk = bank_log(3)
    x = chunk.quantities[name].copy()
    x[800:1400] = x[800]
    found, verdict = looked(changed(chunk, **{name: x}))
    (stuck,) = [run for run in found.stuck if run.quantity == name]
    assert abs(stuck.start_us - chunk.time_us[800]) <= 5 * US
    assert abs(stuck.stop_us - chunk.time_us[1399]) <= 5 * US
    assert stuck.value == x[800]
    assert stuck.others_moved
    assert "stood still for a while" in " ".join(verdict.amounts.reasons)


def test_a_meter_that_hangs_whole_is_told_too():
    """All columns repeat for ten minutes: the logger wrote the last line again and again."""
    chunk = bank_log(3)
    hung = {name: x.copy() for name, x in chunk.quantities.items()}
    for x in hung.values():
        x[800:1400] = x[800]
    found, _ = looked(changed(chunk, **hung))
    assert "current_A" in {run.quantity for run in found.stuck}
    assert not any(run.others_moved for run in found.stuck)


def test_a_coarse_meter_repeats_itself_and_is_not_stuck():
    """A display with one decimal shows the standing draw for minutes; so does a meter that reads no current at all."""
    chunk = bank_log(3, hours=6)
    coarse = changed(chunk, current_A=np.round(chunk.quantities["current_A"], 1))
    assert looked(coarse)[0].stuck == ()
    night = np.where(np.arange(len(chunk)) > 10_000, 0.0, chunk.quantities["current_A"])
    assert looked(changed(chunk, current_A=night))[0].stuck == ()


# --- the end of the range -------------------------------------------------------------------------------------------


def test_a_flat_top_is_the_end_of_a_range():
    """The pump is cut off at 30.5 A, which its noise would pass in half of the readings."""
    chunk = bank_log(5, noise_A=0.3)
    cut = np.minimum(chunk.quantities["current_A"], 31.4)
    found, verdict = looked(changed(chunk, current_A=cut))
    (clipped,) = found.clipping
    assert (clipped.quantity, clipped.high_value, clipped.low) == ("current_A", 31.4, 0)
    assert clipped.high == (cut == 31.4).sum()
    assert verdict.amounts.grade == "with care"
    assert verdict.surges.grade == "not"


def test_readings_at_the_meters_stated_range():
    """A coarse meter of 30 A, whose top says nothing by itself; the site file knows its range."""
    chunk = bank_log(5)
    cut = changed(chunk, current_A=np.round(np.clip(chunk.quantities["current_A"], -30, 30)))
    assert looked(cut)[0].clipping == ()
    (clipped,) = looked(cut, range_A=30.0)[0].clipping
    assert clipped.at_range == (cut.quantities["current_A"] == 30).sum()
    assert looked(chunk, range_A=500.0)[0].clipping == ()


# --- lone spikes ----------------------------------------------------------------------------------------------------


def with_spike(chunk, at=1234, to_A=480.0):
    """The log with one false reading; the voltage does not answer it."""
    current_A = chunk.quantities["current_A"].copy()
    current_A[at] = to_A
    return changed(chunk, current_A=current_A)


@pytest.mark.parametrize("sampling", ["instant", "mean"])
@pytest.mark.parametrize("to_A", [480.0, -480.0])
def test_a_lone_spike_is_flagged_and_its_charge_stated(sampling, to_A):
    """What it is said to add is what charge loses without it."""
    chunk = with_spike(bank_log(7), to_A=to_A)
    reading = how(sampling=sampling)
    spikes = fed(InPieces(SpikePart(reading, set(chunk.quantities))), chunk).result()
    assert [spike.at_us for spike in spikes.largest] == [chunk.time_us[1234]]
    assert spikes.largest[0].value == to_A
    left = join(list(without_spikes([chunk], reading, set(chunk.quantities))))
    assert len(left) == len(chunk) - 1
    lost_Ah = charge_of(chunk, reading).charge.net - charge_of(left, reading).charge.net
    assert spikes.charge_Ah == pytest.approx(lost_Ah, abs=1e-9)
    assert spikes.charge_Ah == pytest.approx(to_A / HOUR_S, rel=0.05)  # 1 s of it


def test_a_spike_is_kept_unless_it_is_dropped():
    """Flagging takes nothing out of the other figures."""
    chunk = with_spike(bank_log(7))
    assert looked(chunk)[0].ranges["current_A"].high == 480.0


def surging_log(at_least, shape, *, load_A=5.0, every_s=1.0, volts=True):
    """Starts whose surge has this shape and then settles; a sag goes with it."""
    time_s = np.arange(0, 2000 * every_s, every_s)
    current_A = 0.5 + np.random.default_rng(0).normal(0, 0.02, len(time_s))
    for start in range(100, 1900, 100):
        current_A[start : start + 40] += load_A
        current_A[start : start + len(shape)] += at_least * np.array(shape)
    voltage_V = 25 - 0.01 * current_A if volts else None
    return changed(chunk_of(time_s, current_A=current_A), voltage_V=voltage_V)


@pytest.mark.parametrize("shape", [[1.0], [0.2, 1.0], [1.0, 0.3], [0.5, 1.0, 0.5, 0.2]])
@pytest.mark.parametrize("load_A", [1.0, 5.0, 30.0])
@pytest.mark.parametrize("volts", [True, False])
def test_the_surge_of_a_start_is_never_a_spike(shape, load_A, volts):
    """One reading high above the run it begins, with volts beside it or not."""
    chunk = surging_log(140.0, shape, load_A=load_A, volts=volts)
    assert fed(InPieces(SpikePart(how(), set(chunk.quantities))), chunk).result().count == 0


def test_a_draw_that_the_voltage_answers_was_real():
    """A start that trips at once lasts one reading: with a sag it is a draw, without one a false reading."""
    chunk = surging_log(140.0, [1.0], load_A=0.0)
    assert fed(InPieces(SpikePart(how(), set(chunk.quantities))), chunk).result().count == 0
    deaf = changed(chunk, voltage_V=np.full(len(chunk), 25.0))
    assert fed(InPieces(SpikePart(how(), set(deaf.quantities))), deaf).result().count == 18


def test_readings_a_minute_apart_catch_runs_by_one_reading():
    """A pump that runs 40 s shows in one reading, and the voltage answers it; without volts nobody can say."""
    chunk = bank_log(14, hours=24, every_s=1.0)
    sparse = Chunk(chunk.time_us[37::60], {n: x[37::60] for n, x in chunk.quantities.items()})
    reading = how(gap_limit_s=300.0, usual_interval_s=60.0)
    lone = (sparse.quantities["current_A"] > 25).sum()
    assert lone > 20
    assert fed(InPieces(SpikePart(reading, set(sparse.quantities))), sparse).result().count == 0
    amps = changed(sparse, voltage_V=None)
    assert fed(InPieces(SpikePart(reading, set(amps.quantities))), amps).result().count == 0
    false = fed(InPieces(SpikePart(reading, set(sparse.quantities))), with_spike(sparse, at=705)).result()
    assert false.count == 1


@pytest.mark.parametrize("seed", range(5))
def test_a_digit_that_flickers_is_no_answer(seed):
    """Volts with one decimal: a false reading of 480 A would sag them by 5.8 V, not by a flicker."""
    chunk = with_spike(bank_log(seed), at=1300)
    coarse = changed(chunk, voltage_V=np.round(chunk.quantities["voltage_V"], 1) - 0.1 * (np.arange(7200) % 13 == 0))
    assert fed(InPieces(SpikePart(how(), set(coarse.quantities))), coarse).result().count == 1


def test_spikes_beside_a_gap_or_at_the_ends_are_not_judged():
    """Where a neighbour is missing nobody can say."""
    chunk = bank_log(7)
    for at in (0, 1, len(chunk) - 1):
        assert fed(InPieces(SpikePart(how(), set(chunk.quantities))), with_spike(chunk, at)).result().count == 0
    spiked = with_spike(chunk)
    late = Chunk(np.where(np.arange(len(chunk)) > 1234, chunk.time_us + 99 * US, chunk.time_us), spiked.quantities)
    assert fed(InPieces(SpikePart(how(), set(late.quantities))), late).result().count == 0


# --- figures that can hardly be right -------------------------------------------------------------------------------


def in_watts(chunk, factor=1.0):
    """The log with a power column that is this many times volts times amps."""
    return changed(chunk, power_W=factor * chunk.quantities["current_A"] * chunk.quantities["voltage_V"])


def scaled(chunk, name, factor):
    """The log with one quantity in another unit."""
    return changed(chunk, **{name: factor * chunk.quantities[name]})


def false_start(chunk, amps):
    """The log with another reading at its first start, where it is no lone spike."""
    current = chunk.quantities["current_A"].copy()
    current[int(np.argmax(np.diff(current))) + 1] = amps
    return changed(chunk, current_A=current)


BANK = bank_log(9)
DOUBTFUL = {
    "volts_unit": (scaled(BANK, "voltage_V", 1000), {}),
    "amps_unit": (scaled(BANK, "current_A", 1000), {}),
    "amps_beyond": (false_start(BANK, 1e5), {}),
    "power_unit": (in_watts(BANK, 0.001), {}),
    "columns_disagree": (in_watts(BANK, 1.25), {}),
    "power_sign": (in_watts(BANK, -1.0), {}),
    "mains_on_dc": (scaled(BANK, "voltage_V", 230 / 25), {}),
    "power_factor_on_dc": (changed(BANK, power_factor=np.full(len(BANK), 0.9)), {}),
    "dead_current": (scaled(BANK, "current_A", 0.0), {}),
    "never_returned": (bank_log(9, hours=30, every_s=10.0), {"has_array": True}),
}


@pytest.mark.parametrize("code", DOUBTFUL)
def test_each_doubt_is_raised_alone_and_spoils_the_verdict(code):
    """26,000 "V", amps in thousandths, a factor between columns, mains on a bank, a dead wire, lost signs."""
    chunk, known = DOUBTFUL[code]
    found, verdict = looked(chunk, how(gap_limit_s=50.0), **known)
    assert codes(found) == {code}
    assert verdict.amounts.grade != "good"


def test_amps_beyond_the_meters_range_are_a_unit():
    """Up to 9,000 A with a meter of 500 A; without its range nobody can say."""
    chunk = scaled(BANK, "current_A", 250)
    assert codes(looked(chunk, range_A=500.0)[0]) == {"amps_unit"}
    assert codes(looked(chunk)[0]) == set()


def test_one_reading_of_no_current_is_told_with_its_size():
    """1e5 A at a start is worth as much as an hour of the pump; 9,000 A a welder may draw."""
    found, verdict = looked(false_start(BANK, -1e5))
    assert "100,000 A, which no bank gives" in found.doubts[0].text
    assert verdict.amounts.grade == "not"
    assert "amps_beyond" not in codes(looked(false_start(BANK, 9e3))[0])


def test_a_constant_that_is_not_nought_is_dead_too():
    """An open input that floats at one value while the loads make the voltage step."""
    found, verdict = looked(changed(BANK, current_A=np.full(len(BANK), 0.37)))
    assert codes(found) == {"dead_current"}
    assert grades(verdict) == ["not", "not", "not"]
    assert "0.37 A all along" in found.doubts[0].text


def test_a_bank_at_rest_is_not_dead():
    """No current, and a voltage that only flickers."""
    quiet = changed(BANK, current_A=np.zeros(len(BANK)), voltage_V=25 + 0.01 * (np.arange(len(BANK)) % 2))
    assert codes(looked(quiet)[0]) == set()


def test_a_bank_behind_an_inverter_is_doubted():
    """25 V on side ac; 230 V there is right, and volts x amps x power factor are watts."""
    assert codes(looked(BANK, how(side="ac"))[0]) == {"bank_on_ac"}
    pf = np.full(len(BANK), 0.8)
    mains = changed(scaled(BANK, "voltage_V", 230 / 25), power_factor=pf)
    watts = 0.8 * mains.quantities["voltage_V"] * mains.quantities["current_A"]
    found, verdict = looked(changed(mains, power_W=watts), how(side="ac"))
    assert codes(found) == set()
    assert verdict.amounts.what == "Wh"
    assert verdict.amounts.grade == "good"


def test_volt_amps_alone_give_no_energy():
    """Behind an inverter, without watts and without a power factor."""
    assert looked(scaled(BANK, "voltage_V", 230 / 25), how(side="ac"))[1].amounts.grade == "not"


def test_counter_resets_are_counted():
    """A meter whose counter was set back twice."""
    count_Ah = np.cumsum(BANK.quantities["current_A"]) / HOUR_S
    count_Ah -= np.where(np.arange(len(BANK)) >= 2000, count_Ah[2000], 0.0)
    count_Ah -= np.where(np.arange(len(BANK)) >= 5000, count_Ah[5000], 0.0)
    assert looked(changed(BANK, charge_Ah=count_Ah))[0].counter_resets == 2
    assert looked(BANK)[0].counter_resets is None


# --- rests and the zero ---------------------------------------------------------------------------------------------


def log_with_rest(seed=1, offset_A=0.05):
    """Everything is off from 3000 s to 3600 s, and the meter shows its offset."""
    chunk = bank_log(seed)
    rng = np.random.default_rng(seed + 100)
    current_A = chunk.quantities["current_A"].copy()
    current_A[3000:3600] = np.round(rng.normal(0, 0.02, 600), 2)
    voltage_V = chunk.quantities["voltage_V"].copy()
    voltage_V[3000:3600] = np.round(25.1 + rng.normal(0, 0.004, 600), 2)
    return changed(chunk, current_A=np.round(current_A + offset_A, 2), voltage_V=voltage_V)


@pytest.mark.parametrize("seed", range(5))
def test_the_rest_is_found_and_its_mean_is_the_offset(seed):
    """Start and stop to a reading; the mean within four of its standard uncertainties, which are honest and small."""
    chunk = log_with_rest(seed)
    rest = fed(InPieces(RestPart(10.0)), chunk).result()
    assert (rest.start_us, rest.stop_us) == (chunk.time_us[3000], chunk.time_us[3599])
    assert rest.readings == 600
    assert abs(rest.mean_A - 0.05) < 4 * rest.u_A
    assert 0.02 / np.sqrt(600) < rest.u_A < 0.01


def rest_of(chunk):
    """The rest of a log with volts."""
    return fed(InPieces(RestPart(10.0, chunk.quantities)), chunk).result()


@pytest.mark.parametrize("seed", range(5))
def test_the_volts_must_say_that_nothing_flows(seed):
    """Amps level near nought; volts that stand still, rise after a load, fall as under a draw, or step."""
    chunk = log_with_rest(seed)
    slope_V = np.zeros(7200)
    slope_V[3000:3600] = np.linspace(0, 0.03, 600)
    step_V = np.where((np.arange(7200) >= 3050) & (np.arange(7200) % 55 > 25), 0.3, 0.0)
    volts = chunk.quantities["voltage_V"]
    assert rest_of(chunk).by_volts
    assert rest_of(changed(chunk, voltage_V=np.round(volts + slope_V, 2))).readings == 600
    assert rest_of(changed(chunk, voltage_V=np.round(volts - slope_V, 2))) is None
    assert rest_of(changed(chunk, voltage_V=volts - step_V)) is None
    assert not rest_of(changed(chunk, voltage_V=None)).by_volts


@pytest.mark.parametrize("seed", range(5))
def test_no_rest_while_the_bank_is_charged(seed):
    """An array carries the loads and holds the bank at 28 V: amps read nought, and yet it is no rest."""
    chunk = log_with_rest(seed)
    back = np.arange(7200) >= 3600
    current_A = np.where(back, -8.0, chunk.quantities["current_A"])
    volts = np.where(back, 27.2, chunk.quantities["voltage_V"])
    assert rest_of(changed(chunk, current_A=current_A, voltage_V=volts)).readings == 600
    volts[3000:3600] += 28.0 - 25.1
    assert rest_of(changed(chunk, current_A=current_A, voltage_V=volts)) is None


def test_an_offset_that_is_hardly_known_is_not_proposed():
    """0.3 A to within 0.25 A, as dawn makes it: neither nought nor an offset."""
    current_A = np.array(
        [40.0] * 20 + [0.62, 0.3, 0.58, 0.02, 0.3, 0.38, 0.04, 0.3, 0.06, 0.24, 0.3, 0.46] + [40.0] * 20
    )
    chunk = chunk_of(60.0 * np.arange(52), current_A=current_A, voltage_V=25.2)
    assert fed(InPieces(RestPart(300.0, chunk.quantities)), chunk).result() is None


def test_sun_that_balances_a_load_is_no_rest():
    """The current wanders through nought for minutes."""
    time_s = np.arange(3600.0)
    wander = np.sin(time_s / 300) + np.random.default_rng(0).normal(0, 0.02, 3600)
    wander[:500] += 60.0
    assert fed(InPieces(RestPart(10.0)), chunk_of(time_s, current_A=wander)).result() is None


@pytest.mark.parametrize("seed", range(5))
def test_a_current_that_crosses_zero_is_no_rest(seed):
    """Sun that comes up beside a steady load: for two minutes it reads about nought, between two runs of a pump."""
    rng, time_s = np.random.default_rng(seed), np.arange(1800.0)
    true_A = np.full(1800, 40.0)
    true_A[600:720] = np.linspace(0.05, -0.05, 120)
    noise_A, noise_V = rng.normal(0, 0.02, 1800), rng.normal(0, 0.002, 1800)
    for amps, rests in ((true_A, False), (np.where(true_A < 1, 0.0, true_A), True)):
        chunk = chunk_of(time_s, current_A=amps + noise_A, voltage_V=25.2 - 0.012 * amps + noise_V)
        assert (rest_of(chunk) is not None) == rests


def test_a_level_between_a_little_more_and_a_little_less_is_on_its_way():
    """Between runs sun makes it 0.3, 0.2, 0.1, 0, -0.1 A, each as level as can be; a true rest comes back the same."""
    rng = np.random.default_rng(3)
    for step_A, rests in ((0.1, False), (0.0, True)):
        current_A = np.concatenate([np.full(100, 3.4 * step_A - k * step_A).tolist() + [40.0] * 50 for k in range(8)])
        volts = np.where(current_A < 1, 25.2, 24.7) + rng.normal(0, 0.002, 1200)
        noisy_A = current_A + rng.normal(0, 0.02, 1200)
        assert (rest_of(chunk_of(np.arange(1200.0), current_A=noisy_A, voltage_V=volts)) is not None) == rests


def test_volts_that_go_against_the_amps_say_that_something_flows():
    """Readings of a minute about nought under broken cloud, with the volts of 15 milliohms; then with volts at rest."""
    clouds_A = np.array([-0.05, 0.12, 0.18, 0.1, 0.02, -0.1, -0.16, -0.1, 0.08, 0.14, -0.02, -0.12])
    current_A = np.concatenate([np.full(20, 40.0), clouds_A, np.full(20, 40.0)])
    for ohms, rests in ((0.015, False), (0.0, True)):
        volts = 25.2 - ohms * np.where(current_A < 1, current_A, 0.0)
        chunk = chunk_of(60.0 * np.arange(52), current_A=current_A, voltage_V=volts)
        assert (fed(InPieces(RestPart(300.0, chunk.quantities)), chunk).result() is not None) == rests


def test_a_short_calm_is_no_rest():
    """50 s is less than a minute."""
    chunk = log_with_rest()
    current_A = chunk.quantities["current_A"].copy()
    current_A[3050:3600] += 5.0
    rest = fed(InPieces(RestPart(10.0)), changed(chunk, current_A=current_A)).result()
    assert rest is None


def zero_of(chunk, from_s, to_s, **stated):
    """The zero check of a stretch named in seconds from the log's start."""
    return fed(ZeroFold(T0_US + from_s * US, T0_US + to_s * US, **stated), chunk).result()


def test_a_named_stretch_gives_the_offset():
    """0.05 A, to within what it says, with as many degrees of freedom as blocks allow."""
    check = zero_of(log_with_rest(), 3000, 3599)
    assert check.readings == 600
    assert abs(check.offset_A - 0.05) < 4 * check.u_A
    assert 7 <= check.dof <= 600


def test_a_constant_offset_is_known_to_the_last_digit_only():
    """A meter that does not flicker: its smallest step over the root of 12 (GUM F.2.2.1), however long the rest."""
    chunk = changed(log_with_rest(), current_A=np.where(np.arange(7200) % 3600 < 3000, 30.0, 0.04))
    check = zero_of(chunk, 3000, 3599, resolution_A=0.01)
    assert check.offset_A == pytest.approx(0.04)
    assert check.u_A == pytest.approx(0.01 / np.sqrt(12))
    assert check.dof > 1e6


@pytest.mark.parametrize(("from_s", "to_s"), [(880, 920), (2900, 3599), (3590, 3700), (0, 7199)])
def test_a_stretch_with_a_step_inside_is_refused(from_s, to_s):
    """A pump starts in it, or the rest is not all of it."""
    with pytest.raises(Refusal, match="is no rest"):
        zero_of(log_with_rest(), from_s, to_s)


def test_a_stretch_without_readings_is_refused():
    """Four readings tell nothing of their scatter."""
    with pytest.raises(Refusal, match="holds 4 readings"):
        zero_of(log_with_rest(), 3000, 3003)
    assert zero_of(log_with_rest(), 3000, 3004).readings == 5


@pytest.mark.parametrize("hangs_together", [0.0, 0.9])
def test_the_uncertainty_of_a_mean_is_honest(hangs_together):
    """300 means of 400 readings each, white noise or such as a filter makes: the mean square of u is their variance.

    For the autoregressive noise single readings over the root of their number would promise 4.4 times too much:
    sqrt((1 + 0.9) / (1 - 0.9)). The largest of three estimates is a little high for white noise.
    """
    rng = np.random.default_rng(8)
    means, u2 = [], []
    for _ in range(300):
        noise, x = rng.normal(0, 1, 500), np.zeros(500)
        for k in range(1, 500):
            x[k] = hangs_together * x[k - 1] + noise[k]
        blocks = BlockMeans()
        blocks.add(x[100:])
        means.append(blocks.mean)
        u2.append(blocks.uncertainty()[0] ** 2)
    assert 0.8 < np.sqrt(np.mean(u2)) / np.std(means) < 1.35


@given(st.lists(st.lists(st.floats(-1e3, 1e3), max_size=60), max_size=30))
def test_block_means_do_not_depend_on_how_they_are_fed(parts):
    """Mean, number and blocks are those of all values at once."""
    once, bit_by_bit = BlockMeans(), BlockMeans()
    whole = np.array([x for part in parts for x in part])
    once.add(whole)
    for part in parts:
        bit_by_bit.add(np.array(part))
    assert once.count == bit_by_bit.count == len(whole)
    assert_same(bit_by_bit.blocks(), once.blocks())
    if len(whole):
        assert once.mean == pytest.approx(whole.mean(), rel=1e-9, abs=1e-9)


def test_instants_that_others_look_at_are_not_looked_at_twice():
    """The doubt on a ripple is the same; by itself it feeds no others."""
    time_s = np.arange(8 * 4096.0)
    current_A = 40.0 * (1 + 0.6 * np.cos(np.random.default_rng(2).uniform(0, 2 * np.pi, len(time_s))))
    chunk = chunk_of(time_s, current_A=current_A, voltage_V=25.0)
    others = InstantsFold("current_A", how().gap_limit_s)
    shared = fed(QualityFold(how(), sorted(chunk.quantities), instants=others), chunk)
    assert "ripple" not in {doubt.code for doubt in shared.result().doubts}
    others.add(chunk)
    alone = fed(QualityFold(how(), sorted(chunk.quantities)), chunk).result()
    assert "ripple" in {doubt.code for doubt in alone.doubts}
    assert_same(shared.result(), alone)


# --- look -----------------------------------------------------------------------------------------------------------


def test_look_is_short_where_nothing_is_the_matter(look):
    """The verdict stands in the first line; there is nothing to check."""
    lines, document = look(bank_log(11))
    assert lines[0].startswith("Good for Ah and cycles; for surges with care (")
    assert not [line for line in lines if line.startswith("check:")]
    assert len(lines) <= 14
    assert document["verdict"]["text"] == lines[0]
    assert document["verdict"]["amounts"] == {"what": "Ah", "grade": "good", "reasons": []}
    assert document["availability"] == 1.0
    assert document["stuck"] == document["clipping"] == document["doubts"] == []


def test_look_says_in_words_what_is_the_matter(look):
    """A frozen meter, a spike and a gap, each with when and how much."""
    chunk = with_spike(bank_log(12), at=5300)
    current_A = chunk.quantities["current_A"].copy()
    current_A[1000:1900] = current_A[1000]
    keep = (np.arange(len(chunk)) < 6000) | (np.arange(len(chunk)) >= 6600)
    broken = changed(chunk, current_A=current_A)
    kept = Chunk(broken.time_us[keep], {n: x[keep] for n, x in broken.quantities.items()})
    lines, document = look(kept, "--explain")
    text = "\n".join(lines)
    assert "For Ah and" not in text
    assert "the current stood at exactly" in text
    assert "14 min 59 s, while the rest went on" in text
    assert "zero:" not in text  # what stands still is no rest
    assert "1 lone reading far off" in text
    assert "it adds 0.1" in text  # 480 A for a second: 0.133 Ah
    assert "availability 91.7 %" in text
    assert document["spikes"]["charge_Ah"] == pytest.approx(480 / HOUR_S, rel=0.05)
    assert document["spikes"]["largest"][0]["at"].endswith("Z")
    assert len(document["stuck"]) == 1


def test_look_proposes_the_rest_for_a_zero_check(look):
    """The stretch as it can be typed; the words leave it to the person whether it was a rest."""
    chunk = log_with_rest()
    lines, document = look(chunk, convert=("--zone", "UTC"))
    (line,) = [line for line in lines if line.startswith("zero:")]
    start = np.datetime64(int(chunk.time_us[3000]), "us").astype("datetime64[s]")
    stop = np.datetime64(int(chunk.time_us[3599]), "us").astype("datetime64[s]")
    assert "the volts stand still; if nothing was drawn or returned then" in line
    assert line.endswith(f"--zero-at {start}..{stop}")
    assert document["rest"]["mean_A"] == pytest.approx(0.05, abs=0.01)
    assert document["rest"]["by_volts"] is True


def test_look_proposes_nothing_that_volts_do_not_bear_out(look):
    """Without volts the stretch is told, but no option is typed out for it."""
    lines, document = look(changed(log_with_rest(), voltage_V=None), convert=("--zone", "UTC"))
    (line,) = [line for line in lines if line.startswith("zero:")]
    assert line.endswith("without volts it cannot be told whether something flowed then")
    assert document["rest"]["by_volts"] is False


def test_look_takes_the_meters_range_from_the_site(look, tmp_path):
    """A meter that clips at its 30 A; it is known by its side."""
    site = tmp_path / "site.toml"
    site.write_text(
        'name = "shed"\nzone = "UTC"\n[bank]\nnominal_V = 24\ncapacity_Ah = 200\n'
        '[[meters]]\nname = "shunt"\nside = "dc"\nrange_A = 30\n',
        encoding="utf-8",
    )
    chunk = bank_log(13)
    clipped = changed(chunk, current_A=np.clip(chunk.quantities["current_A"], -30, 30))
    lines, document = look(clipped, "--site", str(site))
    assert any("end of the meter's range" in line for line in lines)
    assert document["clipping"][0]["at_range"] == (clipped.quantities["current_A"] == 30).sum()


def test_spikes_are_dropped_in_front_of_every_fold(look, tmp_path):
    """Fed with them and without: one reading less, and the charge it added."""
    look(with_spike(bank_log(7)))
    charges = []
    for drop in (False, True):
        log = prepared(tmp_path / "a.parquet", None, Corrections(drop_spikes=drop))
        fold = ChargeFold(log.how, log.quantities)
        log.feed(fold)
        charges.append(fold.result())
    kept, dropped = charges
    assert kept.span.readings - dropped.span.readings == 1
    assert kept.charge.net - dropped.charge.net == pytest.approx(480 / HOUR_S, rel=0.05)


def test_nothing_measured_is_good_for_nothing():
    """One reading, and none: no use, and no fault of ours."""
    for chunk in (chunk_of([0.0], current_A=5.0, voltage_V=25.0), chunk_of([], current_A=0.0, voltage_V=0.0)):
        found, verdict = looked(chunk)
        assert set(grades(verdict)) == {"not"}
        assert verdict.amounts.reasons == ("too little was measured",)
        assert found.rest is None


def test_temperatures_alone_are_good_for_nothing():
    """A log without current and power."""
    assert set(grades(looked(chunk_of(np.arange(100.0), temperature_degC=20.0))[1])) == {"not"}


def test_a_verdict_is_one_line():
    """What is good, what wants care and what is not, each once, reasons that are shared only once."""
    from shuntbook.cli.render.terminal.look import verdict_line

    _, verdict = looked(BANK)
    assert verdict_line(verdict).count("\n") == 0
    dead = replace(verdict, cycles=replace(verdict.surges, what="cycles"))
    assert verdict_line(dead).startswith("Good for Ah; for cycles with care (")
