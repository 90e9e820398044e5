"""The law of the folds: cut the log anywhere, the result is the same; asking changes nothing."""

from datetime import timedelta, timezone
from itertools import pairwise

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, assert_same, chunk_of, fed, how

from shuntbook.analysis.charge.between_notes import MarkedFold
from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.instants import InstantsFold
from shuntbook.analysis.charge.meter_counter import CounterFold
from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.inverter_sides.stretch_means import StretchMeansFold
from shuntbook.analysis.ledger.ledger import LedgerFold, demos_of
from shuntbook.analysis.ledger.payback import PaybackFold
from shuntbook.analysis.ledger.running_charge import RunningChargeFold
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.quality.power_check import PowerCheckFold
from shuntbook.analysis.quality.quality import QualityFold
from shuntbook.analysis.quality.sign_check import SignFold, SignPart
from shuntbook.analysis.quality.spikes import SpikePart, without_spikes
from shuntbook.analysis.quality.zero_check import ZeroFold
from shuntbook.analysis.quality.zero_rest import RestPart
from shuntbook.analysis.readings.blocks import InPieces
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.envelope import EnvelopeFold, RecentFold
from shuntbook.analysis.readings.first_look import FirstLookFold
from shuntbook.analysis.readings.measured_span import SpanFold
from shuntbook.analysis.signal_levels.steps import BLOCK, StepFold


class CounterAlone:
    """The counter's fold in the clothes of the others."""

    def __init__(self, kind):
        self._fold = CounterFold(kind, 10.0)

    def add(self, chunk):
        """Hand the three columns over."""
        q = chunk.quantities
        self._fold.add(chunk.time_us, q["charge_Ah"], q["current_A"])

    def result(self):
        """Compare with an integral of nothing."""
        return self._fold.compared(drawn_Ah=0.0, returned_Ah=0.0)


class ZeroOrWhyNot(ZeroFold):
    """A zero check whose refusal is a result as well."""

    def result(self):
        """Return the offset, or why there is none."""
        try:
            return super().result()
        except Refusal as refusal:
            return str(refusal)


#: The logs begin at 10:13:20 UTC; here that is 23:43:20, so that most of them pass a midnight.
MIDNIGHT_SOON = timezone(timedelta(hours=13, minutes=30))
NOTES = [(T0_US + k * 111_111_111, text) for k, text in ((2, "a"), (4, "b"), (9, "end"), (12, "c"))]

FOLDS = {
    "charge": lambda q: ChargeFold(how(), q),
    "charge of means": lambda q: ChargeFold(how(sampling="mean"), q),
    "charge of held": lambda q: ChargeFold(how(sampling="held"), q),
    "charge in a window": lambda q: ChargeFold(how(), q, from_us=T0_US + 77_777_777, to_us=T0_US + 1_234_567_890),
    "charge behind an inverter": lambda q: ChargeFold(how(side="ac"), q),
    "net counter": lambda q: CounterAlone("net"),
    "moved counter": lambda q: CounterAlone("moved"),
    "steps": lambda q: StepFold(how(), q),
    "steps of means": lambda q: StepFold(how(sampling="mean"), q),
    "steps behind an inverter": lambda q: StepFold(how(side="ac"), q),
    "cycles": lambda q: CycleFold(how(), q),
    "cycles of held": lambda q: CycleFold(how(sampling="held"), q),
    "envelope": lambda q: EnvelopeFold("current_A", most=50),
    "recent readings": lambda q: RecentFold("current_A", width_s=3.0, buckets=40),
    "between markers": lambda q: MarkedFold(how(), q, [(T0_US + k * 111_111_111, f"note {k}") for k in (5, 1, 3, 3)]),
    "quality": lambda q: QualityFold(how(), sorted(q), range_A=500.0, has_array=True),
    "quality of means": lambda q: QualityFold(how(sampling="mean"), sorted(q)),
    "quality of held": lambda q: QualityFold(how(sampling="held"), sorted(q)),
    "quality behind an inverter": lambda q: QualityFold(how(side="ac"), sorted(q)),
    "sign": lambda q: SignFold(q, 10.0),
    "spikes": lambda q: InPieces(SpikePart(how(), q)),
    "rest": lambda q: InPieces(RestPart(10.0)),
    "power check": lambda q: PowerCheckFold("instant"),
    "instants": lambda q: InstantsFold("current_A", 10.0),
    "rest by volts": lambda q: InPieces(RestPart(10.0, q)),
    "zero check": lambda q: ZeroOrWhyNot(T0_US + 7_000_000, T0_US + 33_000_000),
    "zero check of a log": lambda q: ZeroOrWhyNot(T0_US, T0_US + 10**12, resolution_A=100.0),
    "means over stretches": lambda q: StretchMeansFold(
        how(), q, [(T0_US + k * 60_000_000, T0_US + k * 60_000_000 + 45_500_000) for k in range(60)]
    ),
    "means of means over stretches": lambda q: StretchMeansFold(
        how(sampling="mean"), q, [(T0_US, T0_US + 200_000_000)]
    ),
    "time span": lambda q: SpanFold(how()),
    "first look": lambda q: FirstLookFold(how(), q),
    "first look at means": lambda q: FirstLookFold(how(sampling="mean"), q),
    "first look behind an inverter": lambda q: FirstLookFold(how(side="ac"), q),
    "running charge": lambda q: RunningChargeFold(how(), q, most=40),
    "payback": lambda q: PaybackFold(
        how(), q, [(T0_US + k * 55_555_555, T0_US + k * 99_999_999, f"demo {k}") for k in (1, 4, 9)], efficiency=0.9
    ),
    "ledger": lambda q: LedgerFold(how(), q, zone=MIDNIGHT_SOON, demos=demos_of(NOTES)),
    "ledger of means": lambda q: LedgerFold(how(sampling="mean"), q, zone=MIDNIGHT_SOON, demos=demos_of(NOTES)),
    "ledger of held": lambda q: LedgerFold(how(sampling="held"), q, zone=MIDNIGHT_SOON, demos=demos_of(NOTES)),
    "ledger behind an inverter": lambda q: LedgerFold(how(side="ac"), q, zone=MIDNIGHT_SOON),
    "time span of means": lambda q: SpanFold(how(sampling="mean")),
}
EXACT = {
    "spikes",
    "sign",
    "rest",
    "rest by volts",
    "steps",
    "steps of means",
    "steps behind an inverter",
    "cycles",
    "cycles of held",
    "envelope",
    "recent readings",
}


def a_log(seed, count):
    """A log with all that can be in one: loads, noise, spikes, gaps, missing cells, a counter set back."""
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(np.where(rng.random(count) < 0.002, rng.uniform(11, 900, count), rng.uniform(0.4, 1.6, count)))
    current_A = rng.choice([-3.0, 2.0, 30.0], max(count // 40, 1), p=[0.2, 0.5, 0.3]).repeat(40)[:count]
    current_A = np.concatenate([current_A, np.full(count - len(current_A), 2.0)]) + rng.normal(0, 0.02, count)
    current_A[rng.random(count) < 0.001] += 500.0
    voltage_V = 25.0 - 0.02 * current_A
    count_Ah = np.cumsum(current_A) / 3600
    count_Ah -= np.where(np.arange(count) > count // 2, count_Ah[count // 2], 0.0) if count else 0.0
    q = {"current_A": current_A, "voltage_V": voltage_V, "power_W": voltage_V * current_A, "charge_Ah": count_Ah}
    for name, x in q.items():
        x[rng.random(count) < (0.03 if name != "current_A" else 0.005)] = np.nan
    return chunk_of(time_s, **q)


#: Short logs, and some that reach into the second and the third block.
COUNTS = st.one_of(st.integers(0, 600), st.integers(0, 3000), st.integers(BLOCK - 20, BLOCK + 200))
LOGS = st.builds(a_log, st.integers(0, 10**6), COUNTS)
CUTS = st.lists(st.integers(0, 10**6), max_size=6).map(
    lambda cuts: cuts + [c for cut in cuts[:1] for c in (cut, cut + 1)]
)


@pytest.mark.parametrize("name", FOLDS)
@examples(5, 40)
@given(chunk=LOGS, cuts=CUTS)
def test_cut_anywhere_the_result_is_the_same(name, chunk, cuts):
    """Chunks of any length, empty ones and single readings among them, give what the whole log gives at once."""
    whole = fed(FOLDS[name](set(chunk.quantities)), chunk).result()
    parts = fed(FOLDS[name](set(chunk.quantities)), chunk, cuts).result()
    assert_same(parts, whole, within=0.0 if name in EXACT else 1e-9)


@pytest.mark.parametrize(("first", "about"), [(60, 15), pytest.param(200, 50, marks=pytest.mark.night)])
@pytest.mark.parametrize("name", FOLDS)
def test_reading_by_reading_is_the_same(name, first, about):
    """As in a live capture, where each chunk holds one reading."""
    chunk = a_log(5, BLOCK + about)
    whole = fed(FOLDS[name](set(chunk.quantities)), chunk).result()
    # One by one at the beginning and about a block's end: all of them would take minutes.
    singly = [*range(first), *range(BLOCK - about, len(chunk))]
    single = fed(FOLDS[name](set(chunk.quantities)), chunk, singly).result()
    assert_same(single, whole)


@pytest.mark.parametrize("name", FOLDS)
@examples(3, 20)
@given(chunk=LOGS, cuts=CUTS)
def test_asking_on_the_way_changes_nothing(name, chunk, cuts):
    """`result` may be asked at any time, twice as well, and gives what the readings so far give."""
    asked, silent = FOLDS[name](set(chunk.quantities)), FOLDS[name](set(chunk.quantities))
    bounds = [0, *sorted(cut % (len(chunk) + 1) for cut in cuts), len(chunk)]
    for start, stop in pairwise(bounds):
        asked.add(chunk.part(start, stop))
        silent.add(chunk.part(start, stop))
        so_far = asked.result()
        assert_same(asked.result(), so_far, within=0.0)
        assert_same(fed(FOLDS[name](set(chunk.quantities)), chunk.part(0, stop)).result(), so_far)
    assert_same(asked.result(), silent.result(), within=0.0)


@examples(5, 15)
@given(chunk=LOGS, shift_s=st.integers(-(10**9), 10**9))
def test_time_shift_changes_only_the_times(chunk, shift_s):
    """The same readings at another date: the same charge, runs and draws."""
    later = Chunk(chunk.time_us + shift_s * 1_000_000, chunk.quantities)
    first, second = (fed(CycleFold(how(), set(c.quantities)), c).result() for c in (chunk, later))
    assert [c.start_us + shift_s * 1_000_000 for c in first.cycles] == [c.start_us for c in second.cycles]
    assert_same(second.summary, first.summary)
    for a, b in zip(first.cycles, second.cycles, strict=True):
        assert (a.run_s, a.surge_A, a.run_A, a.complete) == (b.run_s, b.surge_A, b.run_A, b.complete)
    charges = [fed(ChargeFold(how(), set(c.quantities)), c).result() for c in (chunk, later)]
    assert_same(charges[0].charge, charges[1].charge)


@examples(5, 15)
@given(chunk=LOGS)
def test_turned_sign_swaps_drawn_and_returned(chunk):
    """A log whose signs are turned has drawn what the other has returned."""
    turned = Chunk(chunk.time_us, {n: -x if n != "voltage_V" else x for n, x in chunk.quantities.items()})
    a, b = (fed(ChargeFold(how(), set(c.quantities)), c).result() for c in (chunk, turned))
    if a.charge is None:
        assert b.charge is None
    else:
        assert_same((a.charge.drawn, a.charge.returned), (b.charge.returned, b.charge.drawn))
        assert_same(a.charge.net, -b.charge.net)


@examples(8, 25)
@given(chunk=LOGS, cuts=CUTS)
def test_what_is_left_without_spikes_does_not_depend_on_the_cuts(chunk, cuts):
    """The same readings come out, all but those that the fold counts, however the log is cut."""
    bounds = [0, *sorted(cut % (len(chunk) + 1) for cut in cuts), len(chunk)]
    parts = [chunk.part(start, stop) for start, stop in pairwise(bounds)]
    q = set(chunk.quantities)
    whole, cut = (list(without_spikes(chunks, how(), q)) for chunks in ([chunk], parts))
    for name in ("time_us", *q):
        a, b = (
            [x for c in out for x in (c.time_us if name == "time_us" else c.quantities[name]).tolist()]
            for out in (whole, cut)
        )
        np.testing.assert_array_equal(a, b)
    assert sum(map(len, cut)) == len(chunk) - fed(InPieces(SpikePart(how(), q)), chunk).result().count


def test_envelope_loses_no_peak():
    """However long the log, the highest and lowest reading are still there, in order of time."""
    chunk = a_log(3, 3 * BLOCK)
    x = chunk.quantities["current_A"]
    shown = fed(EnvelopeFold("current_A", most=100), chunk).result()
    assert len(shown.time_us) <= 100
    assert (shown.low.min(), shown.high.max()) == (np.nanmin(x), np.nanmax(x))
    assert (np.diff(shown.time_us) > 0).all()
    at = int(np.nanargmax(x))
    bucket = np.searchsorted(shown.time_us, chunk.time_us[at], side="right") - 1
    assert shown.high[bucket] == x[at]


def test_envelope_of_nothing_is_empty():
    """No readings, no buckets."""
    assert len(EnvelopeFold("current_A").result().time_us) == 0


class OneByOne:
    """The check of the sign, handed its pieces one by one as the parts of `look` are."""

    def __init__(self):
        self._fold = InPieces(SignPart(10.0))
        self.add, self.result = self._fold.add, self._fold.result


@pytest.mark.parametrize("spoilt", ["", "gaps", "missing"])
def test_pieces_taken_together_are_as_if_taken_one_by_one(spoilt):
    """The sign of a log of ten pieces, whole, with gaps, and with missing cells, which are looked at one by one."""
    rng = np.random.default_rng(7)
    time_s = np.arange(40_000.0)
    current_A = np.round(2 + 20 * (time_s % 900 < 200) + rng.normal(0, 0.05, len(time_s)), 2)
    voltage_V = np.round(25 - 0.02 * current_A + rng.normal(0, 0.005, len(time_s)), 2)
    if spoilt == "gaps":
        time_s = time_s + 60 * (time_s > 9000) + 60 * (time_s > 23_000)
    if spoilt == "missing":
        voltage_V[rng.random(len(time_s)) < 0.01] = np.nan
    chunk = chunk_of(time_s, current_A=current_A, voltage_V=voltage_V)
    together = fed(SignFold(chunk.quantities, 10.0), chunk).result()
    assert_same(together, fed(OneByOne(), chunk, [17, 30_000]).result())
    assert (together.plausible, together.against) == (True, 0)
    assert together.steps > 80
