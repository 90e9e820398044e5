"""Clocks of twelve hours with AM and PM, of which rows have lost the mark: morning or afternoon, nobody knows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...log.arrow import booleans, strings
from .instants import rewritten
from .stamps import Style

_MARK, _CLOCK = r"\d\s*[AaPp]\.?[Mm]", r"\d:\d\d"


def marks_halves(cells: Sequence[str], style: Style) -> bool:
    """Tell whether a sample's clocks say AM and PM, some of them at least."""
    if style.unit not in ("", "h:m:s") or style.kind == "epoch" or not cells:
        return False
    # One is enough: a sample may hold more rows that have lost it than others.
    return bool(booleans(pc.match_substring_regex(rewritten(strings(list(cells)), style), _MARK)).any())


def lost_marks(stamps: pa.Array, style: Style) -> NDArray[np.bool_]:
    """Return which stamps show a clock without AM and PM. Shape (n,)."""
    cells = rewritten(stamps, style)
    lost = pc.and_(pc.match_substring_regex(cells, _CLOCK), pc.invert(pc.match_substring_regex(cells, _MARK)))
    return booleans(lost)
