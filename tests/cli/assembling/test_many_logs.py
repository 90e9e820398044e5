"""Many logs of one site: little is kept of most, and the result is the same by one process and by two."""

import gc
import json
import tracemalloc
from datetime import date
from functools import partial

import pytest
from day_logs import write_month

from shuntbook.cli.assembling import report
from shuntbook.cli.assembling.report import report_of
from shuntbook.cli.opening.prepared_log import read_site
from shuntbook.cli.parallel import worker_process
from shuntbook.cli.parallel.worker_process import HERE, second_process
from shuntbook.cli.render.documents.parts import _pieces, print_json
from shuntbook.cli.render.documents.report import report_document

#: Logs, and from how many on most are kept in short: fewer than people have, which spares the time and not the law.
COUNT, IN_SHORT = 8, 4


@pytest.fixture(scope="module")
def days(tmp_path_factory):
    """Logs of some days with a reading every 12 s, whose tank loses its air from the third on."""
    return write_month(tmp_path_factory.mktemp("days"), COUNT, first=date(2026, 10, 10), every_s=12.0, worn=2)


@pytest.fixture(autouse=True)
def in_short_soon(monkeypatch):
    """Keep few logs in full."""
    monkeypatch.setattr(report, "IN_SHORT", IN_SHORT)


@pytest.fixture(scope="module")
def site(demo):
    """The sample's site file."""
    return read_site(demo / "site.toml")


def in_full(whole):
    """Names of the logs that all is kept of."""
    return [log.facts.name for log in whole.logs if len(log.envelopes["current_A"].time_us) > 1]


def test_little_is_kept_of_all_but_the_newest_and_the_worst(days, site):
    """The last, and the one before it with the most serious findings; all figures of the others stay."""
    few, many = report_of(days[: IN_SHORT - 1], site, None), report_of(days, site, None)
    assert len(in_full(few)) == len(few.logs) == IN_SHORT - 1
    newest = many.logs[-1].facts.name
    counted = {one.log.facts.name: one.findings[:2] for one in many.over.logs if one.log.facts.name != newest}
    assert len(in_full(many)) == 2
    assert in_full(many)[-1] == newest
    assert sorted(counted, key=lambda name: (counted[name], name))[-1:] == sorted(in_full(many)[:-1])
    for short, full in zip(many.logs, few.logs, strict=False):
        assert short.cycles == full.cycles
        assert short.by_site.missing == full.by_site.missing
        for name, envelope in full.envelopes.items():
            extremes = short.envelopes[name]
            assert (extremes.low.min(), extremes.high.max()) == (envelope.low.min(), envelope.high.max())


def test_two_processes_give_what_one_gives(days, site, monkeypatch):
    """To the last digit of the document; the second does its share of the logs."""
    alone = report_document(report_of(days, site, None))
    monkeypatch.setattr(worker_process, "_processors", lambda: 2)
    here = []
    with second_process(allowed=True) as beside:
        beside.begin(gc.collect)()  # it is there before the first log is shared out
        share = beside.share
        monkeypatch.setattr(beside, "share", lambda works: share([_Told(work, here) for work in works]))
        together = report_document(report_of(days, site, None, second=beside))
    assert json.dumps(together) == json.dumps(alone)
    assert 0 < len(here) < COUNT


class _Told:
    """Work that tells that it was done in this process; sent to another it is the work alone."""

    def __init__(self, work, told):
        self._work, self._told = work, told

    def __call__(self):
        self._told.append(self._work)
        return self._work()

    def __reduce__(self):
        return partial, (self._work,)  # another process need not find this module


def test_one_more_log_takes_little_memory(days, site):
    """A log in short holds its runs and figures, no chart: its memory grows with its runs alone."""
    ready = [report.prepared(path, site) for path in days[:3]]
    report.in_short(ready[0], site, None)  # what is loaded and cached once
    gc.collect()
    tracemalloc.start()
    try:
        held = [report.in_short(log, site, None) for log in ready]
        gc.collect()
        each = tracemalloc.get_traced_memory()[0] / len(held)
    finally:
        tracemalloc.stop()
    runs = sum(len(log.cycles.cycles) for log in held) / len(held)
    assert each < 100_000 + 1_100 * runs


def test_the_document_is_the_same_however_the_work_is_shared():
    """In the order of the work, an error in its turn; nothing is done twice."""
    done = []

    def work(k):
        def one():
            done.append(k)
            if k == 3:
                raise ValueError("the fourth")
            return k

        return one

    shared = HERE.share([work(k) for k in range(6)])
    assert [next(shared) for _ in range(3)] == [0, 1, 2]
    with pytest.raises(ValueError, match="the fourth"):
        next(shared)
    assert done == [0, 1, 2, 3]


def test_the_document_of_many_logs_is_never_there_as_a_whole(days, site, capsys):
    """Written log by log it is the same text, and takes a fraction of the memory."""
    whole = report_of(days, site, None)
    print_json(report_document(whole))
    expected = capsys.readouterr().out
    peaks = []
    for in_turn in (False, True):
        gc.collect()
        tracemalloc.start()
        try:
            for _ in _pieces(report_document(whole, in_turn=in_turn)):
                pass
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    assert peaks[1] < peaks[0] / 2
    print_json(report_document(whole, in_turn=True))
    assert capsys.readouterr().out == expected
