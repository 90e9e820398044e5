"""A figure with its 95 % interval: the parts of its error, their sum's distribution, and the budget they make.

After the Guide to the expression of uncertainty in measurement (JCGM 100:2008) and its supplement on the propagation
of distributions (JCGM 101:2008), from memory: a result's interval is taken from the distribution of the sum itself,
here worked out numerically instead of by random draws.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import Final

import numpy as np

from ..readings.chunk import FloatArray

#: From this many like even parts on, their sum is as good as normal. [1]
MANY: Final = 12

_GRID: Final = 4001
#: A point is halved in so often: to the last digit that counts. [1]
_HALVINGS: Final = 48

#: A normal part is followed this far out. [standard deviations]
_REACH: Final = 6.0


@dataclass(frozen=True, slots=True)
class Component:
    """One source of error of a result: its name in a budget, and its standard uncertainty in the result's unit.

    ``even`` is of how many like, independent, even (rectangular) parts it is the sum: 1 for a limit of error, 0 for a
    normal distribution; it need not be whole. ``dof`` are the degrees of freedom of ``u``, where that was estimated
    from few values; ``reason`` says where it comes from, in a plain sentence.
    """

    source: str
    u: float
    even: float = 0.0
    dof: float = math.inf
    reason: str = ""


@dataclass(frozen=True)
class Combined:
    """Components put together: standard uncertainty, and half of the interval at the level asked for.

    ``factor`` is the one over the other, the coverage factor of this very result; ``dof`` the effective degrees of
    freedom (Welch and Satterthwaite).
    """

    u: float
    half: float
    dof: float

    @property
    def factor(self) -> float | None:
        """The coverage factor [1]; None where nothing is uncertain."""
        return self.half / self.u if self.u > 0 else None


def combine(components: Sequence[Component], *, level: float = 0.95) -> Combined:
    """Combine independent components by the law of propagation, and find the interval from their distributions.

    What is correlated must be one component; `level` is the share of the distribution that the interval holds [1].
    """
    u = math.hypot(*(part.u for part in components))
    if u <= 0:
        return Combined(0.0, 0.0, math.inf)
    normal = [part for part in components if part.even == 0 or part.even >= MANY]
    widths = [width for part in components if 0 < part.even < MANY for width in _widths(part)]
    spread = _widened(normal, level)
    return Combined(u, _half(tuple(widths), spread, level), effective_dof(components))


def effective_dof(components: Sequence[Component]) -> float:
    """Return the effective degrees of freedom of a combined uncertainty (Welch-Satterthwaite). [1]"""
    below = sum(part.u**4 / part.dof for part in components if math.isfinite(part.dof))
    return math.hypot(*(part.u for part in components)) ** 4 / below if below > 0 else math.inf


def _widened(normal: Sequence[Component], level: float) -> float:
    """Return the standard deviation of the normal part, widened for what is known of it from few values only."""
    spread = math.hypot(*(part.u for part in normal)) if normal else 0.0
    dof = effective_dof(normal) if spread > 0 else math.inf
    if math.isinf(dof):
        return spread
    # By Student's t at their effective degrees of freedom, cut to a whole number as the Guide does (annex G, from
    # memory).
    return spread * t_factor(max(1, math.floor(dof)), level) / t_factor(math.inf, level)


def _widths(part: Component) -> list[float]:
    """Return half-widths of the like even parts of a component; one that is not whole is made up by a smaller one."""
    whole = math.floor(part.even)
    left = part.even - whole
    unit = part.u * math.sqrt(3 / part.even)
    return [unit] * whole + ([unit * math.sqrt(left)] if left > 1e-6 else [])


# Where nothing comes back what is drawn is the net, with the same errors: worked out once.
@lru_cache(maxsize=8)
def _half(widths: tuple[float, ...], spread: float, level: float) -> float:
    """Return half of the interval of a sum of even parts and one normal part.

    The distribution function of a sum with an even part of half-width a is the running mean of that without it:
    F(x) = (G(x + a) - G(x - a)) / 2a, with G the integral of F.
    """
    reach = sum(widths) + _REACH * spread
    x = np.linspace(-reach, reach, _GRID)
    # The first distribution is exact: the normal part's, or that of the widest even part where there is none worth the
    # grid. The others are folded in from wide to narrow; what is narrower than the grid's step changes nothing.
    rest = sorted(widths, reverse=True)
    F = _normal(x / spread) if spread > reach / _GRID else np.clip((x / rest.pop(0) + 1) / 2, 0, 1)
    for a in rest:
        if a > reach / _GRID:
            F = _running_mean(F, float(x[1] - x[0]), a)
    return float(np.interp((1 + level) / 2, F, x))


def halves_of_even(widths: FloatArray, level: float = 0.95) -> FloatArray:
    """Return half of the interval of each of many sums of independent even parts, all at once.

    `widths` are the parts' half-widths, a row for each part and a column for each sum; a few rows, since 2**rows terms
    are added. What is narrower than the grid of `combine` changes nothing there either.
    """
    parts, reach = len(widths), widths.sum(axis=0)
    some = reach > 0
    shares = np.maximum(widths[:, some] / reach[some], 1 / _GRID)
    # Beyond the point 1 - t (in units of the reach) lies a corner of a box: the sum over all sets of parts of
    # (-1)^k (t - 2 x their widths)^n, where that is above nought, over n! times all whole widths. Near the end few
    # terms count, and none is large beside the others.
    chosen = np.array([[(k >> part) & 1 for part in range(parts)] for k in range(2**parts)], dtype=np.float64)
    signs, begins = (-1.0) ** chosen.sum(axis=1), 2 * chosen @ shares
    whole = math.factorial(parts) * np.prod(2 * shares, axis=0)
    low, high = np.zeros(int(some.sum())), np.full(int(some.sum()), shares.sum(axis=0))
    for _ in range(_HALVINGS):
        t = (low + high) / 2
        beyond = signs @ np.maximum(t - begins, 0) ** parts / whole
        low, high = np.where(beyond < (1 - level) / 2, t, low), np.where(beyond < (1 - level) / 2, high, t)
    halves = np.zeros(len(reach))
    halves[some] = (shares.sum(axis=0) - (low + high) / 2) * reach[some]
    return halves


def _running_mean(F: FloatArray, step: float, a: float) -> FloatArray:
    """Return the mean of F from `a` before each point of its even grid to `a` behind it; F is 0 before it, 1 behind."""
    n, (whole, part) = len(F), divmod(a / step, 1.0)
    beyond = int(whole) + 1
    inside = np.cumsum((F[1:] + F[:-1]) / 2)
    # The integral goes on beyond both ends: nought before, and by one a step behind, where F is 1.
    G = np.concatenate([np.zeros(beyond + 1), inside, inside[-1] + np.arange(1.0, beyond + 1)])
    # The grid is even, so that all points lie alike between two others: one share interpolates all.
    right, left = G[2 * beyond - 1 :], G[: n + 1]
    above = right[:n] + part * (right[1 : n + 1] - right[:n])
    below = left[:n] + (1 - part) * (left[1 : n + 1] - left[:n])
    return np.asarray((above - below) * step / (2 * a))


def _normal(z: FloatArray) -> FloatArray:
    """Return the normal distribution function, by summing its density over an even grid."""
    density = np.exp(-z * z / 2)
    area = np.concatenate([[0.0], np.cumsum(density[1:] + density[:-1])])  # twice as large, and so is the whole
    return np.asarray(area / area[-1])


@lru_cache(maxsize=256)
def t_factor(dof: float, level: float) -> float:
    """Return Student's t for a two-sided interval that holds this share, for 1 to infinite degrees of freedom. [1]"""
    # SciPy has it, but `charge` would load SciPy for this alone.
    if dof > 1000:
        z = np.linspace(0, 8, 8001)
        density = np.exp(-z * z / 2)
        return float(_quantile(z, density, level))
    # With t = sqrt(dof) tan(a) the density is that of cos(a)^(dof - 1), which an even grid of angles sums well.
    angle = np.linspace(0, math.pi / 2, 20001)
    return math.sqrt(dof) * math.tan(_quantile(angle, np.cos(angle) ** (dof - 1), level))


def _quantile(x: FloatArray, density: FloatArray, share: float) -> float:
    area = np.concatenate([[0.0], np.cumsum(density[1:] + density[:-1])])
    return float(np.interp(share * area[-1], area, x))


#: A limit of error a, anything within it equally likely, has the standard uncertainty a / sqrt(3).
EVEN: Final = math.sqrt(3.0)

#: The instant of a step, or a rounded value, is anywhere within its interval: length / sqrt(12).
WITHIN: Final = math.sqrt(12.0)


@dataclass(frozen=True, slots=True)
class HowSure:
    """How sure one figure is, in the figure's own unit.

    ``low`` and ``high`` are the ends of the 95 % interval, ``u95`` half of it, its larger half where it is lopsided.
    ``u`` is the standard uncertainty, the components in quadrature, without one-sided bounds; ``factor`` is half of the
    interval without those over ``u``, None where nothing is uncertain. ``components`` are the budget, largest first.
    """

    low: float
    high: float
    u: float
    factor: float | None
    u95: float
    components: tuple[Component, ...]

    @property
    def lopsided(self) -> bool:
        """Whether one half of the interval is longer than the other by more than the last digit that is shown."""
        return abs((self.high - self.low) - 2 * self.u95) > 0.05 * self.u95

    def share(self, component: Component) -> float:
        """Return a component's share of the squared uncertainty. [1]"""
        return component.u**2 / self.u**2 if self.u > 0 else 0.0


def judged(
    value: float,
    components: Sequence[Component],
    *,
    lower: float = 0.0,
    higher: float = 0.0,
    missed: float = 0.0,
    shift: float = 0.0,
) -> HowSure:
    """Return how sure a figure is, from independent sources of error; all in its unit.

    Parameters
    ----------
    lower, higher : float
        One-sided bounds: how much further the truth may lie below, or above, for a reason that no distribution
        describes.
    missed : float
        The limit of what can only be missing from the figure, as likely any less of it; independent of the others.
    shift : float
        By how much the truth is likely to lie above the figure (below, if negative), because of how that is defined.
    """
    budget = sorted((part for part in components if part.u > 0), key=lambda part: -part.u)
    whole = combine(budget)
    # The interval shifts, but not beyond the figure itself: a reader must find it within its own interval.
    below = max(whole.half - shift, 0.0) + lower
    # It moves the upper end alone, since it may as well be nothing.
    half = combine([*budget, limit("missed", missed / 2)]).half + missed / 2 if missed > 0 else whole.half
    above = max(half + shift, 0.0) + higher
    return HowSure(
        low=value - below,
        high=value + above,
        u=whole.u,
        factor=whole.factor,
        u95=max(below, above),
        components=tuple(budget),
    )


@dataclass(frozen=True)
class Within:
    """A value and the ends of its 95 % interval, all in the unit that the holder's name says."""

    value: float
    low: float
    high: float

    def holds(self, true: float) -> bool:
        """Tell whether a value lies in the interval."""
        return self.low <= true <= self.high

    def scaled(self, factor: float) -> Within:
        """Return the same in another unit; `factor` is above 0."""
        return Within(self.value * factor, self.low * factor, self.high * factor)

    def map(self, function: Callable[[float], float]) -> Within:
        """Return what a rising function makes of value and ends."""
        return Within(function(self.value), function(self.low), function(self.high))

    @classmethod
    def exactly(cls, value: float) -> Within:
        """Return a value that nothing is known to be off."""
        return cls(value, value, value)


def limit(source: str, half_width: float, reason: str = "") -> Component:
    """Return an error that is known only by its limits: anywhere within plus and minus `half_width`."""
    return Component(source, half_width / sqrt(3), even=1, reason=reason)
