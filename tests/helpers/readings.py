"""Readings made up for the tests of the folds: how to make them, cut them and feed them."""

from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from itertools import pairwise
from operator import itemgetter

import numpy as np

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead

US = 1_000_000
T0_US = 1_781_000_000 * US  # any instant will do


def chunk_of(time_s, **quantities):
    """Readings at these times, counted from an arbitrary instant; a single number stands for all of them."""
    time_us = T0_US + np.rint(np.asarray(time_s, dtype=float) * US).astype(np.int64)
    full = {name: np.broadcast_to(np.asarray(x, dtype=float), time_us.shape).copy() for name, x in quantities.items()}
    return Chunk(time_us, full)


def how(side="dc", sampling="instant", gap_limit_s=10.0, usual_interval_s=1.0, counter_kind="net", delay_s=None):
    """What a reading stands for; a plain shunt's log by default."""
    return HowRead(side, sampling, gap_limit_s, usual_interval_s, counter_kind, delay_s=delay_s)


def fed(fold, chunk, cuts=()):
    """The fold, fed with the readings cut at these indices (any integers; repeated ones give empty chunks)."""
    bounds = [0, *sorted(cut % (len(chunk) + 1) for cut in cuts), len(chunk)]
    for start, stop in pairwise(bounds):
        fold.add(chunk.part(start, stop))
    return fold


def charge_of(chunk, reading=None, *, cuts=(), **window):
    """The charge of some readings; `window` holds from_us and to_us."""
    reading = reading or how()
    return fed(ChargeFold(reading, set(chunk.quantities), **window), chunk, cuts).result()


#: What stands for itself. A result holds thousands of them, so no more is asked of them than their type.
_PLAIN = frozenset((float, int, str, bool, type(None)))


def flat(x):
    """A result's numbers and texts in one list, in a fixed order, so that two results can be compared."""
    into = []
    _flatten((x,), into)
    return into


def _flatten(items, into):
    """Append what each of these holds."""
    for x in items:
        if type(x) in _PLAIN:
            into.append(x)
        elif isinstance(x, Sequence) and not isinstance(x, str):
            into.append(len(x))
            _flatten(x, into)
        elif isinstance(x, dict):
            _flatten((y for item in sorted(x.items(), key=itemgetter(0)) for y in item), into)
        elif isinstance(x, np.ndarray):
            into += (len(x), x)
        elif is_dataclass(x):
            _flatten((getattr(x, name) for name in _names(type(x))), into)
        else:
            into.append(x)


@cache
def _names(kind):
    return [f.name for f in fields(kind)]


def assert_same(got, expected, *, within=1e-9):
    """Whole numbers, texts and None are equal; floating-point numbers to within a tolerance, relative or absolute."""
    a, b = flat(got), flat(expected)
    assert len(a) == len(b)
    for x, y in zip(a, b, strict=True):
        if isinstance(x, float) and isinstance(y, float) and x == y:
            continue  # the tool below is slow, and most are
        if isinstance(x, float | np.ndarray) and isinstance(y, float | np.ndarray):
            np.testing.assert_allclose(x, y, rtol=within, atol=within, equal_nan=True)
        else:
            assert x == y
