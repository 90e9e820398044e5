"""Columns that stand below each other on a terminal."""

from __future__ import annotations

from collections.abc import Sequence


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> list[str]:
    """Return rows as aligned lines; columns in `right` are aligned to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return lines
