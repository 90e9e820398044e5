"""Work ahead in a thread comes out in order, with its errors in their place, and never runs far ahead."""

import threading

import pytest

from shuntbook.ingest.log.log import ahead


def test_order_is_kept():
    """What comes out is what went in, whether items or their taker are slow."""
    assert list(ahead(range(1000))) == list(range(1000))
    assert list(ahead(())) == []


def test_an_error_comes_in_its_place():
    """Items before an error are handed over, then it is raised where they are taken."""

    def items():
        yield 1
        yield 2
        raise ValueError("third")

    taken = []
    with pytest.raises(ValueError, match="third"):
        for item in ahead(items()):
            taken.append(item)
    assert taken == [1, 2]


def test_it_stays_two_items_ahead_and_ends_when_left():
    """Whoever leaves off early has no thread running on and no more than the next items worked out."""
    made = []

    def items():
        for k in range(100):
            made.append(k)
            yield k

    before = threading.active_count()
    taking = ahead(items())
    assert next(taking) == 0
    taking.close()
    assert threading.active_count() == before
    assert len(made) <= 3


@pytest.mark.parametrize("whole", [True, False])
def test_a_generator_is_closed_in_the_end(whole):
    """Files that it holds open are closed, also where nobody asks for the rest."""
    closed = []

    def items():
        try:
            yield from range(1, 5)
        finally:
            closed.append(True)

    taking = ahead(items())
    assert next(taking) == 1
    if whole:
        assert list(taking) == [2, 3, 4]
    else:
        taking.close()
    assert closed == [True]


def test_a_signal_while_the_thread_begins_ends_it_as_any_other(monkeypatch):
    """The pool knows nothing of a thread whose start was broken off, and the generator is still at work in it."""
    go, begin = threading.Event(), threading.Thread.start

    def items():
        go.wait()
        yield 1

    def broken_off(thread):
        begin(thread)
        raise SystemExit(143)

    monkeypatch.setattr(threading.Thread, "start", broken_off)
    with pytest.raises(SystemExit):
        next(ahead(items()))
    go.set()
