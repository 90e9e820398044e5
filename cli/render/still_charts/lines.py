"""Lines and bars as single paths, which the page's script can draw anew from closer readings."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from .svg import moving
from .thinning import breaks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.patches import PathPatch

    from ....analysis.readings.chunk import FloatArray
    from ....analysis.readings.envelope import Envelope
    from ....analysis.readings.log_facts import LogFacts
    from .thinning import Span

#: How a line runs between two readings, by what a reading stands for; empty: straight.
_STEPS = {"instant": "", "mean": "pre", "held": "post"}


def step_of(sampling: str, *, single: bool) -> str:
    """Return how a line runs from one point to the next: ``pre``, ``post`` or straight.

    What was held stays until the next reading. The lowest and highest of a stretch stand from its beginning to the
    next one's, whatever a reading of it stands for.
    """
    return _STEPS[sampling] if single else "post"


def pieces_of(envelope: Envelope, facts: LogFacts) -> list[slice]:
    """Return the stretches of an envelope that no gap breaks."""
    edges = [0, *breaks(envelope, facts).tolist(), len(envelope.time_us)]
    return [slice(a, b) for a, b in pairwise(edges) if b > a]


def band(
    axes: Axes, pieces: Sequence[tuple[FloatArray, FloatArray, FloatArray]], *, step: str, least: float, **style: object
) -> PathPatch:
    """Draw pieces, each its x, lowest and highest, along the highest and back along the lowest.

    A piece shorter than `least` is drawn so long: it would not be seen.
    """
    rings = []
    for at, low, high in pieces:
        x, above, below = _at(at, step), _along(high, step), _along(low, step)
        if x[-1] - x[0] < least:
            x, above, below = np.array([x[0] - least / 2, x[0] + least / 2]), above[[0, -1]], below[[0, -1]]
        rings.append(np.column_stack([np.concatenate([x, x[::-1]]), np.concatenate([above, below[::-1]])]))
    return _patch(axes, rings, style)


def bars(axes: Axes, spans: Sequence[Span], low: float, high: float | Sequence[float], **style: object) -> PathPatch:
    """Draw a bar over each stretch, all of one height or each of its own, all of them one path."""
    highs = np.broadcast_to(high, len(spans)).tolist()
    rings = [np.array([[a, low], [a, top], [b, top], [b, low]]) for (a, b), top in zip(spans, highs, strict=True)]
    return _patch(axes, rings, style)


def lines(axes: Axes, corners: Sequence[FloatArray], **style: object) -> PathPatch:
    """Draw open lines through their corners, all of them one path."""
    return _patch(axes, corners, {"fill": False, **style}, closed=False)


def _patch(axes: Axes, rings: Sequence[FloatArray], style: dict[str, Any], *, closed: bool = True) -> PathPatch:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    last = [Path.CLOSEPOLY] * closed
    codes = [np.array([Path.MOVETO, *[Path.LINETO] * (len(ring) - 1), *last]) for ring in rings]
    corners = [np.concatenate([ring, ring[: len(last)]]) for ring in rings]
    path = Path(np.concatenate(corners), np.concatenate(codes))
    is_called = style.pop("is_called", "")
    patch = PathPatch(path, **style)
    if is_called:
        moving(patch, is_called)
    axes.add_artist(patch)
    # `add_patch` would look along each piece for how far it bends: straight ones reach no further than their ends.
    updatex, updatey = patch.get_transform().contains_branch_separately(axes.transData)
    axes.update_datalim(path.vertices, updatex=updatex, updatey=updatey)
    return patch


def _at(at: FloatArray, step: str) -> FloatArray:
    doubled = np.repeat(at, 2)
    return {"pre": doubled[:-1], "post": doubled[1:]}.get(step, at)


def _along(values: FloatArray, step: str) -> FloatArray:
    doubled = np.repeat(values, 2)
    return {"pre": doubled[1:], "post": doubled[:-1]}.get(step, values)
