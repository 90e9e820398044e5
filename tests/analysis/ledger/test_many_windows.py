"""Days, notes and demos by the thousand: each is what it is alone, and costs what it holds, however many there are."""

import tracemalloc
from dataclasses import replace
from datetime import UTC, timedelta, timezone

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, assert_same, charge_of, chunk_of, fed, how

from shuntbook.analysis.charge.between_notes import MarkedFold
from shuntbook.analysis.charge.charge import ChargeSums, HighestShown
from shuntbook.analysis.charge.completed import CompletedIntervals
from shuntbook.analysis.charge.error_facts import IntervalSums
from shuntbook.analysis.ledger.ledger import LedgerFold, demos_of
from shuntbook.analysis.ledger.payback import PaybackFold
from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.sureness.amount_intervals import AmountsAnalysis
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED

HOUR_S = 3600.0
READ = how(gap_limit_s=2 * HOUR_S, usual_interval_s=600.0)
#: Either meter may say nothing for hours, so that the other is far ahead of it.
VALUES = st.sampled_from([-4.0, -0.5, 0.0, 2.0, 2.0, 30.0, np.nan])
SPACINGS_S = st.sampled_from([600.0, 600.0, 601.0, 1200.0, 3 * HOUR_S, 40 * HOUR_S])
LOGS = st.lists(st.tuples(VALUES, VALUES, SPACINGS_S), min_size=2, max_size=150)
CUTS = st.lists(st.integers(0, 200), max_size=6)
NOTES = st.lists(st.tuples(st.integers(-2, 400), st.sampled_from(["crates", "pump", "end"])), max_size=20)


def made(log):
    """Amps and watts of a meter each, some of them missing."""
    time_s = np.cumsum([row[2] for row in log])
    return chunk_of(time_s, current_A=[row[0] for row in log], power_W=[row[1] for row in log])


def marks(notes):
    """Notes at odd instants, several at one among them."""
    return [(T0_US + k * 1_234_567_890, text) for k, text in notes]


def windows_of(lines):
    return [(line.start_us, line.stop_us, line.whole) for line in lines]


@examples(12, 60)
@given(LOGS, CUTS, NOTES, st.integers(-12, 12), st.sampled_from(["instant", "mean", "held"]))
def test_however_a_log_is_cut_each_day_and_stretch_is_its_direct_sum(log, cuts, notes, zone_h, sampling):
    """Chunks end anywhere, days and notes too: each window gives what it gives as the only one of an uncut log."""
    chunk, marked = made(log), marks(notes)
    read = how(sampling=sampling, gap_limit_s=2 * HOUR_S, usual_interval_s=600.0)
    zone = timezone(timedelta(hours=zone_h))
    ledger = fed(LedgerFold(read, set(chunk.quantities), zone=zone, demos=demos_of(marked)), chunk, cuts).result()
    of_log = HighestShown()  # what a line is given with its interval, a fold by itself has at once
    of_log.add(chunk)
    for start_us, stop_us, whole in windows_of(ledger.days):
        assert_same(of_log.of_log(whole), charge_of(chunk, read, from_us=start_us, to_us=stop_us).read_at(None))
    stretches = fed(MarkedFold(read, set(chunk.quantities), marked), chunk, cuts).result()
    ends = {at: min((other for other, _ in marked if other > at), default=None) for at, _ in marked}
    for line in (*stretches, *ledger.demos):
        at_us = getattr(line, "at_us", line.start_us)
        direct = charge_of(chunk, read, from_us=at_us, to_us=ends[at_us])
        assert_same(of_log.of_log(line.whole), direct.read_at(None))


@examples(7, 20)
@given(LOGS, CUTS, NOTES)
def test_demos_by_the_sums_of_notes_are_those_by_their_own(log, cuts, notes):
    """A report adds each stretch up once; its ledger says the same as one that adds up for itself."""
    chunk, marked = made(log), marks(notes)
    q = set(chunk.quantities)
    facts = LogFacts("a", None, "dc", "instant", READ.gap_limit_s, 600.0, "UTC", False, False, "", 0, 0, 0, 0)
    facts = replace(facts, markers=tuple(marked))
    folds = SiteFolds(READ, q, marked, site=None, zone=UTC)
    shared = fed(LogAnalysis(facts, READ, q, site_folds=folds), chunk, cuts).result().ledger
    alone = fed(SiteFolds(READ, q, marked, site=None, zone=UTC), chunk, cuts).result().ledger
    # How often a load started only a report knows, which looks for runs.
    ours, own = ([replace(x, whole=x.whole.span, starts=0) for x in ledger.demos] for ledger in (shared, alone))
    assert_same(ours, own)
    for one, other in zip(shared.demos, alone.demos, strict=True):
        for amounts, expected in ((one.whole.charge, other.whole.charge), (one.whole.energy, other.whole.energy)):
            assert (amounts is None) == (expected is None)
            assert amounts is None or amounts.drawn == pytest.approx(expected.drawn)


def hours(count, current_A=2.0):
    """A reading an hour, each day of them at its own level."""
    level = current_A + np.arange(count) // 24 % 7
    return Chunk(T0_US + np.arange(count) * 3_600_000_000, {"current_A": level, "voltage_V": 25.0 - 0.02 * level})


def calls_of(monkeypatch, owner, name, work):
    """How often something is called meanwhile."""
    count, original = 0, getattr(owner, name)

    def counted(*args):
        nonlocal count
        count += 1
        return original(*args)

    with monkeypatch.context() as patch:
        patch.setattr(owner, name, counted)
        work()
    return count


def test_twice_the_days_are_twice_the_work(monkeypatch):
    """Each part of a chunk goes to the days it touches, not to all that come after it."""
    read = how(gap_limit_s=3 * HOUR_S, usual_interval_s=HOUR_S)

    def ledger(days):
        return lambda: LedgerFold(read, {"current_A", "voltage_V"}, zone=UTC).add(hours(24 * days))

    once, twice = (calls_of(monkeypatch, ChargeSums, "take", ledger(days)) for days in (20, 40))
    assert once > 20
    assert twice < 2.1 * once


def test_twice_the_notes_are_twice_the_work(monkeypatch):
    """The same of notes and the demos between them, none of which is ever paid back."""
    read = how(gap_limit_s=3 * HOUR_S, usual_interval_s=HOUR_S)

    def followed(count):
        notes = [(T0_US + k * 3_600_000_000, f"note {k}") for k in range(count)]
        demos = [(at, at + 3_600_000_000, text) for at, text in notes]

        def work():
            MarkedFold(read, {"current_A", "voltage_V"}, notes).add(hours(count))
            fold = PaybackFold(read, {"current_A"}, demos, efficiency=0.9)
            for k in range(0, count, 10):
                fold.add(hours(count).part(k, k + 10))

        return work

    for owner, name in ((ChargeSums, "take"), (CompletedIntervals, "within")):
        once, twice = (calls_of(monkeypatch, owner, name, followed(count)) for count in (50, 100))
        assert once >= 25
        assert twice < 2.1 * once


@pytest.mark.parametrize("with_ledger", [False, True])
def test_a_note_costs_a_few_kilobytes(with_ledger):
    """Ten thousand of them then fit beside the readings, also with a ledger that has a demo for each."""

    def held(count):
        chunk, notes = hours(1200), [(T0_US + k * 3_600_000_000 * 1200 // count, f"note {k}") for k in range(count)]
        read = how(gap_limit_s=3 * HOUR_S, usual_interval_s=HOUR_S)
        fold = AmountsAnalysis(read, set(chunk.quantities), NOTHING_STATED, notes)
        if with_ledger:
            facts = LogFacts("a", None, "dc", "instant", read.gap_limit_s, HOUR_S, "UTC", False, False, "", 0, 0, 0, 0)
            facts = replace(facts, markers=tuple(notes))
            folds = SiteFolds(read, set(chunk.quantities), notes, site=None, zone=None)
            fold = LogAnalysis(facts, read, set(chunk.quantities), site_folds=folds)
        tracemalloc.start()
        try:
            fold.add(chunk)
            return tracemalloc.get_traced_memory()[0]
        finally:
            tracemalloc.stop()

    assert (held(60) - held(30)) / 30 < 12_000


@examples(13, 40)
@given(
    st.lists(st.floats(-40, 40), min_size=2, max_size=80),
    st.lists(st.tuples(st.integers(0, 70), st.integers(1, 30)), min_size=1, max_size=12),
    CUTS,
    st.sets(st.integers(1, 79), max_size=5),
)
def test_each_debt_is_followed_as_if_it_were_the_only_one(current_A, spans, cuts, gaps):
    """Demos in any order, over each other, with gaps: what one owes, and when it is paid, hangs on no other."""
    time_s = np.cumsum([60.0 + 600.0 * (k in gaps) for k in range(len(current_A))])
    chunk = chunk_of(time_s, current_A=current_A)
    read = how(gap_limit_s=120.0, usual_interval_s=60.0)
    demos = [(T0_US + a * 60_000_000, T0_US + (a + b) * 60_000_000, str(k)) for k, (a, b) in enumerate(spans)]
    together = fed(PaybackFold(read, {"current_A"}, demos, efficiency=0.9), chunk, cuts).result()
    for demo, payback in zip(demos, together, strict=True):
        (alone,) = fed(PaybackFold(read, {"current_A"}, [demo], efficiency=0.9), chunk, cuts).result()
        assert payback == alone


def test_what_a_midnight_cuts_is_added_up_once_for_all_who_ask(monkeypatch):
    """Each day by itself, the interval over midnight whole for the log, and either half of it for its day."""
    days, counts = 20, []
    of = IntervalSums.of

    def counting(*args, **options):
        counts.append(1)
        return of(*args, **options)

    monkeypatch.setattr(IntervalSums, "of", counting)
    time_s = np.arange(24 * days) * HOUR_S
    chunk = chunk_of(time_s, current_A=np.full(len(time_s), 2.0))
    fed(SiteFolds(READ, {"current_A"}, (), site=None, zone=UTC), chunk, [])
    assert len(counts) <= 4 * (days + 1)
