"""An inverter's losses from readings of both its sides: robust, with 95 % intervals. Uses scipy: report path only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from ..equipment.inverter_losses import LossTerms
from ..not_known import Missing
from ..readings.chunk import FloatArray
from ..stats.interval95 import Within

#: Huber's bend and Tukey's cut: 95 % as efficient as least squares on normal errors (Huber 1981, from memory).
_BEND: Final = 1.345
_CUT: Final = 4.685
_ROUNDS: Final = 30
#: Fewer pairs than this leave no scatter to tell an interval from: common practice, no source.
FEWEST_PAIRS: Final = 12
#: Columns nearer to one another than this cannot be told apart: common practice, no source.
_WORST_CONDITION: Final = 200.0


@dataclass(frozen=True)
class LossFit:
    """An inverter's losses as measured: DC W = idle + proportional x AC W + square x AC W squared.

    ``scatter_W`` is the usual distance of a reading from the fit, ``pairs`` how many readings on both sides it rests
    on; AC power was seen from ``lowest_W`` to ``highest_W``, and beyond the fit is a guess. ``covariance`` is that of
    the three terms, ``t_factor`` leads from a standard uncertainty to half of the 95 % interval.
    """

    idle_W: Within
    proportional: Within
    square_per_W: Within
    scatter_W: float
    pairs: int
    lowest_W: float
    highest_W: float
    assumptions: tuple[str, ...]
    covariance: FloatArray
    t_factor: float

    @property
    def terms(self) -> LossTerms:
        """The same as a loss model."""
        return LossTerms(self.idle_W.value, self.proportional.value, self.square_per_W.value, self.assumptions)

    def dc_W(self, ac_W: float) -> Within:
        """Return the DC power for an AC power, with the 95 % interval of the fitted line [W]."""
        row = np.array([1.0, ac_W, ac_W**2])
        half = self.t_factor * float(np.sqrt(row @ self.covariance @ row))
        middle = self.terms.dc_W(ac_W)
        return Within(middle, middle - half, middle + half)

    def efficiency(self, ac_W: float) -> Within:
        """Return the efficiency at an AC power, with its 95 % interval [1]."""
        dc = self.dc_W(ac_W)
        return Within(*(ac_W / x if x > 0 else float("inf") for x in (dc.value, dc.high, dc.low)))


def fit_losses(ac_W: FloatArray, dc_W: FloatArray) -> LossFit | Missing:
    """Fit the three-part loss model to the power out of an inverter and into it at the same moments or stretches.

    Where the readings hold too few levels of load to tell the terms apart, the square term is 0 and the assumptions say
    so; with one level, nothing can be told. ValueError if the arrays differ in length.

    Notes
    -----
    Huber's M-estimator, then Tukey's from there, so that wild readings on one side only, such as starts that one meter
    saw first, do not pull. Covariance by the sandwich formula, widened where neighbouring readings err alike. Errors of
    the AC readings are taken to be small beside the changes of the load.
    """
    ac, dc = np.asarray(ac_W, dtype=np.float64), np.asarray(dc_W, dtype=np.float64)
    if ac.shape != dc.shape:
        raise ValueError(f"as many AC as DC readings are needed, not {ac.shape} and {dc.shape}")
    use = np.isfinite(ac) & np.isfinite(dc) & (ac >= 0)
    ac, dc = ac[use], dc[use]
    if len(ac) < FEWEST_PAIRS:
        return Missing("losses of the inverter", (), f"{len(ac)} pairs of readings are too few, {FEWEST_PAIRS} needed")
    scale = float(ac.max()) or 1.0
    # The load over its highest, so that the columns are of like size and their condition tells of the levels alone.
    columns = next((n for n in (3, 2) if np.linalg.cond(_design(ac / scale, n)) < _WORST_CONDITION), None)
    if columns is None:
        return Missing("losses of the inverter", (), "the load never changed, so idle and losses cannot be told apart")
    beta, covariance, scatter_W = _robust(_design(ac / scale, columns), dc)
    units = np.array([1.0, 1 / scale, 1 / scale**2])
    full_beta, full = np.zeros(3), np.zeros((3, 3))
    full_beta[:columns], full[:columns, :columns] = beta, covariance
    full_beta, full = full_beta * units, full * np.outer(units, units)
    t = float(stats.t.ppf(0.975, len(ac) - columns))
    idle, proportional, square = (
        Within(float(b), float(b - t * np.sqrt(v)), float(b + t * np.sqrt(v)))
        for b, v in zip(full_beta, np.diag(full), strict=True)
    )
    seen_W = float(ac.min()), float(ac.max())
    return LossFit(idle, proportional, square, scatter_W, len(ac), *seen_W, _assumptions(columns), full, t)


def _design(x: FloatArray, columns: int) -> FloatArray:
    return np.asarray(np.vander(x, columns, increasing=True))


def _robust(X: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Return the terms, their covariance and the scatter: Huber's fit, then Tukey's from there at its scatter."""
    # Huber's has one minimum, wherever it begins, but never quite lets go of wild readings; Tukey's does, and may end
    # in a wrong minimum unless it begins near the right one, and with a scatter that stays.
    beta = _weighted(X, y, np.ones(len(y)))
    for _ in range(_ROUNDS):
        beta = _weighted(X, y, _huber((y - X @ beta) / _sigma(y - X @ beta)))
    sigma = _sigma(y - X @ beta)
    for _ in range(_ROUNDS):
        beta = _weighted(X, y, _tukey((y - X @ beta) / sigma))
    return beta, _covariance(X, (y - X @ beta) / sigma) * sigma**2, sigma


def _weighted(X: FloatArray, y: FloatArray, weight: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.lstsq(X * np.sqrt(weight)[:, None], y * np.sqrt(weight), rcond=None)[0])


def _covariance(X: FloatArray, standard: FloatArray) -> FloatArray:
    """Return the covariance of the terms for residuals over their scatter, by the sandwich formula."""
    n, p = X.shape
    bread = np.linalg.inv(X.T @ X) / _tukey_slope(standard).mean()
    # Leverage takes part of each reading's own error away from its residual (HC3, MacKinnon and White 1985).
    leverage = np.einsum("ij,jk,ik->i", X, np.linalg.inv(X.T @ X), X)
    psi = standard * _tukey(standard)
    spread = (psi / np.maximum(1 - leverage, 0.05))[:, None] * X
    return np.asarray(bread @ (spread.T @ spread) @ bread * _alike(psi) * n / (n - p))


def _alike(psi: FloatArray) -> float:
    """Return how much neighbours that err alike widen a variance: (1 + r) / (1 - r)."""
    total = float(psi @ psi)
    r = float(psi[1:] @ psi[:-1]) / total if total > 0 else 0.0
    r = min(max(r, 0.0), 0.98)
    # Below two standard errors of r it is chance.
    return (1 + r) / (1 - r) if r > 2 / np.sqrt(len(psi)) else 1.0


def _sigma(residual: FloatArray) -> float:
    """Return a scatter that wild readings do not move: the median distance, scaled to a standard deviation."""
    return max(float(np.median(np.abs(residual))) / 0.6745, 1e-9)


def _huber(standard: FloatArray) -> FloatArray:
    return np.asarray(np.minimum(1.0, _BEND / np.maximum(np.abs(standard), 1e-12)))


def _tukey(standard: FloatArray) -> FloatArray:
    return np.asarray(np.where(np.abs(standard) < _CUT, (1 - (standard / _CUT) ** 2) ** 2, 0.0))


def _tukey_slope(standard: FloatArray) -> FloatArray:
    """Return the derivative of the error times its weight."""
    x = (standard / _CUT) ** 2
    return np.asarray(np.where(x < 1, (1 - x) * (1 - 5 * x), 0.0))


def _assumptions(columns: int) -> tuple[str, ...]:
    sentences = [
        "Both meters are taken as right: an error of theirs moves the terms by the same per cent and is not in the "
        "intervals.",
        "AC and DC readings belong to the same moments.",
    ]
    if columns == 2:
        sentences.append("The loads seen are too alike to tell a square term; it was taken as 0 and is in the others.")
    return tuple(sentences)
