"""What a made-up meter read, and the plain trapezoid that is its truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TypeAlias
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Rng: TypeAlias = np.random.Generator
Floats: TypeAlias = NDArray[np.float64]
ZONES = ("Europe/Berlin", "Europe/Paris", "Europe/London", "America/New_York", "Asia/Kolkata", "Australia/Adelaide")
#: A spacing of more than so many usual ones, and of more than so much, is a gap. [1], [s]
GAP_TIMES, GAP_LEAST_S = 5.0, 10.0


@dataclass(frozen=True)
class Truth:
    """What was drawn and returned, in ``Ah``, or in ``Wh`` where the export has watts alone."""

    drawn: float
    returned: float
    unit: str = "Ah"

    def __add__(self, other: Truth) -> Truth:
        return Truth(self.drawn + other.drawn, self.returned + other.returned, self.unit)


@dataclass(frozen=True)
class Readings:
    """Instants since 1970, UTC [s], amps with two decimals, positive for draw, and volts; `zone` is the logger's."""

    t_s: Floats
    amps: Floats
    volts: Floats
    zone: str = "UTC"

    def __len__(self) -> int:
        return len(self.t_s)

    def __getitem__(self, which: slice | NDArray[np.int64] | NDArray[np.bool_]) -> Readings:
        return replace(self, t_s=self.t_s[which], amps=self.amps[which], volts=self.volts[which])

    @property
    def watts(self) -> Floats:
        """Whole watts, as a display shows them."""
        return np.rint(self.amps * self.volts)

    @property
    def local(self) -> list[datetime]:
        """The logger's clock."""
        zone = ZoneInfo(self.zone)
        return [datetime.fromtimestamp(round(t * 1e6) / 1e6, tz=UTC).astimezone(zone) for t in self.t_s]

    @property
    def truth(self) -> Truth:
        """The trapezoid over the amps."""
        return trapezoid(self.t_s, self.amps)


def gap_limit_s(t_s: Floats) -> float:
    """Return the longest spacing that is none yet. [s]"""
    spacings_s = np.diff(t_s)
    return max(GAP_TIMES * float(np.percentile(spacings_s, 95)), GAP_LEAST_S) if len(spacings_s) else GAP_LEAST_S


def trapezoid(t_s: Floats, x: Floats, *, unit: str = "Ah", limit_s: float | None = None) -> Truth:
    """Return what straight lines between readings amount to, split where they cross zero; gaps are left out."""
    limit_s = gap_limit_s(t_s) if limit_s is None else limit_s
    t_s, x = t_s[~np.isnan(x)], x[~np.isnan(x)]
    drawn = returned = 0.0
    for dt, a, b in zip(np.diff(t_s), x[:-1], x[1:], strict=True):
        if 0 < dt <= limit_s:
            up, down = _above_zero(a, b), _above_zero(-a, -b)
            drawn, returned = drawn + up * dt, returned + down * dt
    return Truth(drawn / 3600, returned / 3600, unit)


def _above_zero(a: float, b: float) -> float:
    """Return the mean of what of a straight line from `a` to `b` lies above zero."""
    if a >= 0 and b >= 0:
        return (a + b) / 2
    return 0.0 if a <= 0 and b <= 0 else max(a, b) ** 2 / (2 * abs(a - b))


def rectangles(t_s: Floats, x: Floats) -> Truth:
    """Return what readings amount to that each stand until the next one."""
    parts = x[:-1] * np.diff(t_s) / 3600
    return Truth(float(parts[parts > 0].sum()), float(-parts[parts < 0].sum()))


def amps_of(rng: Rng, rows: int) -> Floats:
    """Return a day in little: standing draw, a pump that runs at times, sun that brings more than is drawn."""
    x = rng.uniform(0.4, 4.0) + rng.normal(0, 0.06, rows)
    at = int(rng.integers(10, 40))
    while at < rows:
        run = int(rng.integers(5, 40))
        draw = rng.uniform(20, 80)
        x[at : at + run] += draw + rng.normal(0, 0.3, len(x[at : at + run]))
        x[at] += draw * rng.uniform(0.5, 2)
        at += run + int(rng.integers(15, 90))
    dawn, dusk = np.sort(rng.integers(0, rows, 2))
    x[dawn:dusk] -= rng.uniform(5, 30) * np.sin(np.linspace(0, np.pi, dusk - dawn))
    return np.round(x, 2) + 0.0


def readings(
    rng: Rng,
    *,
    rows: int | None = None,
    step_s: float | None = None,
    zone: str | None = None,
    start: datetime | None = None,
) -> Readings:
    """Return what a meter read from a random moment on, far from the nights in which clocks are changed."""
    rows = int(rng.integers(160, 420)) if rows is None else rows
    step_s = float(rng.choice([1, 2, 5, 10, 30, 60])) if step_s is None else step_s
    zone = str(rng.choice(ZONES)) if zone is None else zone
    t_s = moment(rng, start) + np.arange(rows) * step_s
    return of_amps(t_s, amps_of(rng, rows), zone, rng)


def moment(rng: Rng, start: datetime | None = None) -> float:
    """Return `start`, or a random one in months without a change of clocks, as seconds since 1970. [s]"""
    if start is None:
        year, month = int(rng.integers(2019, 2028)), int(rng.choice([1, 2, 5, 6, 7, 8, 12]))
        start = datetime(year, month, int(rng.integers(1, 28)), *map(int, rng.integers(0, [24, 60, 60])), tzinfo=UTC)
    return start.timestamp()


def of_amps(t_s: Floats, amps: Floats, zone: str, rng: Rng) -> Readings:
    """Return readings of these amps, with the volts of a 24 V bank that sags under them."""
    volts = np.round(25.2 - 0.018 * amps + rng.normal(0, 0.01, len(amps)), 2)
    return Readings(t_s, amps, volts, zone)
