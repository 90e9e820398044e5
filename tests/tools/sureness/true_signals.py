"""What truly flows, as pieces of straight lines, and its exact integrals: the truth that simulated meters are held to.

Nothing here is shared with `analysis/`: the integrals are worked out anew, so that a mistake there is not repeated.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Signal:
    """Straight pieces one after another; it may jump from one to the next.

    Piece k runs from ``edges_s[k]`` (value ``first[k]``) to ``edges_s[k + 1]`` (value ``last[k]``).
    """

    edges_s: np.ndarray
    first: np.ndarray
    last: np.ndarray

    def piece(self, time_s):
        """The piece that each instant lies in."""
        return np.clip(np.searchsorted(self.edges_s, time_s, side="right") - 1, 0, len(self.first) - 1)

    def on(self, piece, time_s):
        """The value at an instant, on the line of the piece named: the limit from inside at an edge."""
        rise = (self.last - self.first) / np.diff(self.edges_s)
        return self.first[piece] + rise[piece] * (time_s - self.edges_s[piece])

    def at(self, time_s):
        """The value at each instant."""
        return self.on(self.piece(time_s), time_s)

    def integral_to(self, time_s):
        """The integral from the signal's beginning to each instant. [unit s]."""
        whole = np.concatenate([[0.0], np.cumsum((self.first + self.last) / 2 * np.diff(self.edges_s))])
        k = self.piece(time_s)
        return whole[k] + (self.first[k] + self.on(k, time_s)) / 2 * (time_s - self.edges_s[k])

    def means(self, edges_s):
        """The true averages between consecutive instants."""
        return np.diff(self.integral_to(edges_s)) / np.diff(edges_s)

    def zeros_s(self):
        """Where a piece passes zero between its ends. [s]."""
        k = np.flatnonzero(self.first * self.last < 0)
        share = self.first[k] / (self.first[k] - self.last[k])
        return self.edges_s[k] + share * np.diff(self.edges_s)[k]


def added(signals, length_s):
    """The sum of several signals from 0 to `length_s`; each reaches at least that far."""
    inside = [signal.edges_s[(signal.edges_s > 0) & (signal.edges_s < length_s)] for signal in signals]
    edges_s = np.unique(np.concatenate([[0.0, length_s], *inside]))
    middle = (edges_s[:-1] + edges_s[1:]) / 2
    pieces = [(signal, signal.piece(middle)) for signal in signals]
    first = sum(signal.on(k, edges_s[:-1]) for signal, k in pieces)
    last = sum(signal.on(k, edges_s[1:]) for signal, k in pieces)
    return Signal(edges_s, first, last)


def sagging(current_A, *, rest_start_V, rest_stop_V, resistance_ohm):
    """The bank's voltage: at rest it drifts linearly, and every ampere of draw pulls it down."""
    edges_s = current_A.edges_s
    rest_V = np.interp(edges_s, edges_s[[0, -1]], [rest_start_V, rest_stop_V])
    return Signal(edges_s, rest_V[:-1] - resistance_ohm * current_A.first, rest_V[1:] - resistance_ohm * current_A.last)


def moved(current_A, start_s, stop_s, voltage_V=None):
    """What went out and what came back between two instants, by the current's sign. [A s, or W s with a voltage].

    Both straight between two knots, so their product is a parabola, which Simpson's rule integrates exactly.
    """
    knots = np.concatenate([current_A.edges_s, current_A.zeros_s(), voltage_V.edges_s if voltage_V else []])
    knots = np.unique(np.concatenate([[start_s, stop_s], knots[(knots > start_s) & (knots < stop_s)]]))
    low, high = knots[:-1], knots[1:]
    middle = (low + high) / 2
    k = current_A.piece(middle)
    flow = [current_A.on(k, t) for t in (low, middle, high)]
    if voltage_V is not None:
        k = voltage_V.piece(middle)
        flow = [i * voltage_V.on(k, t) for i, t in zip(flow, (low, middle, high), strict=True)]
    each = (flow[0] + 4 * flow[1] + flow[2]) / 6 * (high - low)
    out = current_A.at(middle) > 0
    return float(each[out].sum()), float(-each[~out].sum())
