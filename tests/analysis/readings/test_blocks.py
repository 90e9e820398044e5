"""Readings that wait for their block to be full, as they come from a live meter: one at a time, for an hour."""

import tracemalloc

import numpy as np

from shuntbook.analysis.readings.blocks import Blocks
from shuntbook.analysis.readings.chunk import Chunk

SIZE, COUNT = 16_384, 12_000


def one(k):
    """One reading."""
    return Chunk(np.array([k * 200_000]), {"current_A": np.array([k / 7.0]), "voltage_V": np.array([25.0])})


def test_single_readings_take_little_more_than_their_numbers():
    """24 bytes each; some hundreds, were they kept as they came. And nothing is lost or turned round."""
    tracemalloc.start()
    try:
        before, blocks = tracemalloc.get_traced_memory()[0], Blocks(SIZE)
        for k in range(COUNT):
            assert blocks.full(one(k)) is None
        held = tracemalloc.get_traced_memory()[0] - before
    finally:
        tracemalloc.stop()
    assert held < 3 * 24 * COUNT
    rest = blocks.rest()
    np.testing.assert_array_equal(rest.time_us, np.arange(COUNT) * 200_000)
    np.testing.assert_array_equal(rest.quantities["current_A"], np.arange(COUNT) / 7.0)
