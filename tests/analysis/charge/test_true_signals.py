"""The truth that simulated meters are held to: its integrals against closed forms and a fine sum."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from true_signals import Signal, added, moved, sagging


def _straight(*pieces):
    """A signal of pieces (start, stop, first, last), one after another."""
    start, stop, first, last = np.array(pieces, dtype=float).T
    return Signal(np.append(start, stop[-1]), first, last)


def test_blocks_move_amperes_times_seconds():
    """10 A for 30 s out and 4 A for 20 s back, looked at from 10 s to 45 s."""
    blocks = _straight((0, 30, 10, 10), (30, 50, -4, -4))
    assert moved(blocks, 10, 45) == pytest.approx((10 * 20, 4 * 15))


def test_a_ramp_through_zero_moves_two_triangles():
    """From -6 A to +3 A in 90 s: zero at 60 s, so 6 x 60 / 2 back and 3 x 30 / 2 out."""
    assert moved(_straight((0, 90, -6, 3)), 0, 90) == pytest.approx((45.0, 180.0))


def test_energy_of_a_ramp_under_sag_is_a_cubic():
    """I = s t and V = E - R I give E s T^2 / 2 - R s^2 T^3 / 3."""
    s, T, E, R = 0.5, 40.0, 25.0, 0.02
    ramp = _straight((0, T, 0, s * T))
    volts = sagging(ramp, rest_start_V=E, rest_stop_V=E, resistance_ohm=R)
    assert moved(ramp, 0, T, volts) == pytest.approx((E * s * T**2 / 2 - R * s**2 * T**3 / 3, 0.0))


def test_energy_follows_a_bank_that_drifts():
    """10 A while the bank falls from 26 V to 24 V at rest: 10 x (25 - 10 R) x T."""
    steady = _straight((0, 100, 10, 10))
    volts = sagging(steady, rest_start_V=26, rest_stop_V=24, resistance_ohm=0.1)
    assert moved(steady, 0, 100, volts)[0] == pytest.approx(10 * 24 * 100)


def test_means_are_shares_of_what_stood():
    """5 A from second 3 on: none, seven tenths and all of it in intervals of ten seconds that begin at -10 s."""
    step = _straight((-10, 3, 0, 0), (3, 20, 5, 5))
    assert step.means(np.array([-10.0, 0.0, 10.0, 20.0])) == pytest.approx([0.0, 3.5, 5.0])


def test_signals_add_with_all_their_edges():
    """A block on a ramp: both edges stay jumps, and the ramp runs on beneath."""
    total = added([_straight((-1, 11, -1, 11)), _straight((-5, 4, 0, 0), (4, 6, 7, 7), (6, 20, 0, 0))], 10)
    assert total.edges_s == pytest.approx([0, 4, 6, 10])
    assert total.first == pytest.approx([0, 11, 6])
    assert total.last == pytest.approx([4, 13, 10])


_LEVEL = st.floats(-50, 50).map(lambda x: round(x, 2))


@given(
    st.lists(st.tuples(st.floats(0.1, 20), _LEVEL, _LEVEL), min_size=1, max_size=8), st.floats(0, 1), st.floats(0, 1)
)
def test_any_signal_agrees_with_a_fine_sum(pieces, one, other):
    """Charge and energy of any pieces, between any two instants, against the midpoint rule in ten thousand parts."""
    length, first, last = np.array(pieces).T
    signal = Signal(np.concatenate([[0.0], length.cumsum()]), first, last)
    volts = sagging(signal, rest_start_V=26.0, rest_stop_V=24.0, resistance_ohm=0.02)
    a, b = sorted((one * length.sum(), other * length.sum()))
    if b - a < 1e-3:
        return
    edges = np.linspace(a, b, 10_001)
    middle, dt = (edges[:-1] + edges[1:]) / 2, (b - a) / 10_000
    for voltage, factor in ((None, np.ones(10_000)), (volts, volts.at(middle))):
        flow = signal.at(middle) * factor * dt
        # a jump of 100 A in one part of ten thousand, at most eight of them, and 27 V
        within = 8 * 100 * dt * (27 if voltage else 1)
        drawn, returned = moved(signal, a, b, voltage)
        assert drawn == pytest.approx(flow[flow > 0].sum(), abs=within)
        assert returned == pytest.approx(-flow[flow < 0].sum(), abs=within)
    net = float(np.diff(signal.integral_to(np.array([a, b])))[0])
    drawn, returned = moved(signal, a, b)
    assert drawn - returned == pytest.approx(net, abs=1e-6)
