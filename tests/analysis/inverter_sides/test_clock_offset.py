"""The clocks of two logs, set beside each other by the steps that both saw."""

from dataclasses import replace

import numpy as np
import pytest
from paired_scenes import Pair, random_pair, random_runs
from readings import T0_US, US, chunk_of, fed, how

from shuntbook.analysis.inverter_sides.clock_offset import LEAST_MATCHED, clock_offset
from shuntbook.analysis.inverter_sides.log_steps import LogStep, steps_of
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.signal_levels.steps import StepFold


def set_beside(pair):
    """The offset found, how far it is from the truth, and how far the drift is; None where it is refused."""
    try:
        clocks = pair.offset()
    except Refusal:
        return None
    return clocks, clocks.offset_s - pair.true_offset_s(clocks.at_us), clocks.drift_ppm - pair.drift_ppm


#: How pairs are changed, and how many are tried by night; by day it is a tenth of them.
CHANGES = [(300, {}), (40, {"means": True}), (40, {"every_dc_s": 0.2, "every_ac_s": 1.0}), (40, {"surge": 1.0})]


@pytest.mark.parametrize(
    ("count", "changes"),
    [(count // 10, changes) for count, changes in CHANGES]
    + [pytest.param(*each, marks=pytest.mark.night) for each in CHANGES],
)
def test_offset_and_drift_lie_in_their_intervals(count, changes):
    """Random offsets, drifts, spacings, noise, loads and sun: within the 95 % interval in at least 93 % of runs."""
    results = [set_beside(random_pair(seed, **changes)) for seed in range(count)]
    given = [result for result in results if result is not None]

    assert len(given) >= 0.95 * count
    assert np.mean([abs(error_s) <= clocks.u95_s for clocks, error_s, _ in given]) >= 0.93
    assert np.mean([abs(error) <= clocks.u95_ppm for clocks, _, error in given]) >= 0.93


def test_the_interval_is_no_wider_than_it_need_be():
    """From 16 steps of two logs read each second: about 0.41 s / 4 x 2.1, far below one interval."""
    # u of a step: spacing / sqrt(12) in each log, hence 0.41 s; of 16 of them 0.102 s; Student's factor for 14 is 2.14.
    pair = random_pair(3, every_dc_s=1.0, every_ac_s=1.0)
    clocks, error_s, _ = set_beside(pair)

    assert clocks.steps_matched == 16
    assert clocks.u95_s == pytest.approx(0.22, abs=0.07)
    assert abs(error_s) <= clocks.u95_s


def test_an_instant_is_carried_over_with_the_drift():
    """What the clock behind the inverter shows, by the clock at the bank, at either end of the log."""
    pair = Pair(random_runs(np.random.default_rng(1)), offset_s=812.5, drift_ppm=150.0, every_dc_s=0.2, every_ac_s=0.2)
    clocks = pair.offset()

    for behind_s in (0.0, 3600.0):
        behind_us = T0_US + behind_s * US
        bank_us = clocks.at_bank_us(behind_us)
        expected_us = behind_us + pair.true_offset_s(behind_us) * US
        assert abs(bank_us - expected_us) / US <= 1.5 * clocks.u95_at_s(behind_us)
    assert "behind that at the bank" in clocks.sentence


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"runs_s": []}, "too few steps in common"),
        ({"runs_s": [(1000.0, 1100.0)]}, "too few steps in common"),
        ({"runs_s": [(200.0 + k * 300, 260.0 + k * 300) for k in range(10)]}, "repeat so evenly"),
    ],
)
def test_what_the_steps_do_not_fix_is_refused(changes, words):
    """No steps, one run alone, and runs like clockwork are refused in a sentence."""
    with pytest.raises(Refusal, match=words):
        random_pair(7, others=False, **changes).offset()


def test_steps_that_scatter_too_far_are_refused():
    """Readings each second, but instants that are wrong by 0.9 s now one way, now the other: no better than 2.7 s."""
    # Scatter 0.9 x sqrt(4 / 2) = 1.27 s, over sqrt(4) steps 0.64 s; x Student's factor 4.3 for two degrees of freedom.
    behind = [LogStep(T0_US + at_s * US, 1.0, size_W) for at_s, size_W in ((0, 9), (50, -9), (170, 9), (300, -9))]
    off_s = [0.9, -0.9, -0.9, 0.9]
    at_bank = [
        replace(step, at_us=step.at_us + (70 + s) * US, size_W=10 / 9 * step.size_W)
        for step, s in zip(behind, off_s, strict=True)
    ]

    with pytest.raises(Refusal, match=r"only to ± 2\.7 s, which is more than one sampling interval"):
        clock_offset(at_bank, behind, bank_spans_us=[(T0_US, T0_US + 900 * US)])


@pytest.mark.parametrize("tries", [12, pytest.param(50, marks=pytest.mark.night)])
def test_logs_of_different_times_are_refused(tries):
    """The steps of one day beside those of another: no offset is made up, in any of so many tries."""
    refused = 0
    for seed in range(tries):
        at_bank, _, spans = random_pair(seed).steps()
        _, behind, _ = random_pair(seed + 1000).steps()
        try:
            clock_offset(at_bank, behind, bank_spans_us=spans)
        except Refusal:
            refused += 1

    assert refused == tries


def test_steps_missed_at_the_bank_are_counted():
    """Steps that the bank's log lacks although it was measuring are told, and not those in its gap."""
    pair = random_pair(3, every_dc_s=1.0, every_ac_s=1.0)
    at_bank, behind, spans = pair.steps()
    whole = clock_offset(at_bank, behind, bank_spans_us=spans)
    gone = {j for j, _ in whole.pairs[:2]}
    fewer = [step for j, step in enumerate(at_bank) if j not in gone]
    first_us, last_us = spans[0]
    cut_us = round(at_bank[max(gone)].at_us) + 5 * US

    assert clock_offset(fewer, behind, bank_spans_us=spans).steps_missed == 2
    assert clock_offset(fewer, behind, bank_spans_us=[(cut_us, last_us)]).steps_missed == 0
    assert first_us < cut_us


def test_most_steps_without_a_partner_are_refused():
    """Two runs of eight alone fall together: that may be chance."""
    at_bank, behind, spans = random_pair(3, every_dc_s=1.0, every_ac_s=1.0, others=False).steps()

    with pytest.raises(Refusal, match=f"only {LEAST_MATCHED} of 16 steps"):
        clock_offset(at_bank[:LEAST_MATCHED], behind, bank_spans_us=spans)


def test_the_order_of_size_counts():
    """A step at the bank that is three times as large is another load's."""
    at_bank, behind, spans = random_pair(3, every_dc_s=1.0, every_ac_s=1.0, others=False).steps()
    larger = [replace(step, size_W=3 * step.size_W) for step in at_bank]

    with pytest.raises(Refusal, match="too few"):
        clock_offset(larger, behind, bank_spans_us=spans)


@pytest.mark.parametrize(("sampling", "at_s"), [("instant", 99.5), ("mean", 99.4)])
def test_a_reading_that_is_a_mean_tells_when_within_it(sampling, at_s):
    """Of a step at 99.4 s, readings each second show 60 % of it at 100 s where they are means."""
    time_s = np.arange(0.0, 200.0)
    power_W = np.where(time_s < 100, 0.0, 500.0)
    if sampling == "mean":
        power_W[100] = 300.0
    chunk = chunk_of(time_s, power_W=power_W)
    plateaus = fed(StepFold(how("ac", sampling), {"power_W"}), chunk).result()
    (step,) = steps_of(plateaus, sampling)

    assert (step.at_us - T0_US) / US == pytest.approx(at_s, abs=1e-6)
    assert step == LogStep(step.at_us, 1.0, 500.0)


def test_a_log_of_amps_alone_has_no_steps_in_watts():
    """Without volts the sizes on either side cannot be compared."""
    chunk = chunk_of(np.arange(100.0), current_A=np.arange(100) // 50 * 9.0)
    plateaus = fed(StepFold(how(), {"current_A"}), chunk).result()

    with pytest.raises(Refusal, match="no watts"):
        steps_of(plateaus, "instant")
