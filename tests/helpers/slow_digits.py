"""What a reader sees of a display whose segments light and go out slowly, segment by segment, with no picture round it.

It costs a thousandth of a film, so that many displays, rates and times can be tried.
"""

from collections.abc import Sequence

import numpy as np
from film_shapes import BUILDS, STROKES

from shuntbook.ingest.film.field_reader import Glimpse
from shuntbook.ingest.film.one_digit import glyph_of

#: Steps in which light changes between two frames.
STEPS = 8


def slow_glimpses(
    texts: Sequence[str],
    every_s: float,
    *,
    fall_s: float,
    rise_s: float = 0.08,
    order: int = 1,
    apart_s: float = 1 / 15,
    noise: float = 0.008,
    seed: int = 0,
) -> list[tuple[float, Glimpse]]:
    """Return what frames show of texts that follow one another, each for so long; fall and rise are time constants.

    Of a second order light lingers before it goes.
    """
    rng, build = np.random.default_rng(seed), BUILDS[seed % len(BUILDS)]
    lit = [
        np.array([[stroke in build.strokes(glyph) for stroke in STROKES] for glyph in text], float) for text in texts
    ]
    own = 1 + 0.04 * rng.normal(size=lit[0].shape)
    light = [lit[0].copy() for _ in range(order)]
    seen = []
    for time_s in np.arange(0, len(texts) * every_s, apart_s):
        for at in time_s - apart_s * np.arange(STEPS)[::-1] / STEPS:
            wanted = lit[max(int(at / every_s), 0)]
            for k in range(order):
                tau_s = np.where(wanted > light[k], rise_s, fall_s) / order
                light[k] += (1 - np.exp(-apart_s / STEPS / tau_s)) * (wanted - light[k])
                wanted = light[k]
        seen.append((float(time_s), _glimpse(light[-1] * own + noise * rng.normal(size=own.shape))))
    return seen


def _glimpse(light: np.ndarray) -> Glimpse:
    each = [float(np.median(row[row >= 0.5 * row.max()])) if row.max() > 0 else 0.0 for row in light]
    level = max(each)
    digits = [glyph_of(row, 0 * row, one, level) for row, one in zip(light, each, strict=True)]
    return Glimpse(
        "".join(digit.glyph for digit in digits),
        -1,
        next((f"digit {k + 1} {digit.why}" for k, digit in enumerate(digits) if digit.why), ""),
        tuple(np.sort(light, axis=1)[:, -2:].mean(axis=1) / level),
        tuple(digit.strays for digit in digits),
        segments=tuple((light / level).ravel()),
    )
