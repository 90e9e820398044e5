"""Which of several texts in one file is the table of readings: the only one, or the one that is named."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from ...errors import InputError, quoted
from ..delimited.layout import find_table
from ..delimited.time_columns import time_plan

if TYPE_CHECKING:
    from ..delimited.stated import Stated
    from ..texts.decode import Source


def tables_among(texts: Mapping[str, Source], stated: Stated) -> list[str]:
    """Return the names of those that hold rows of times and numbers."""
    return [name for name, source in texts.items() if _is_table(source, stated)]


def _is_table(source: Source, stated: Stated) -> bool:
    # Not whether all of it is understood: one that asks something must not lose against one that asks nothing.
    try:
        _, dialect = find_table(source, stated)
        time_plan(dialect, stated, source.name)
    except InputError:
        return False
    return True


def quoted_all(names: list[str]) -> str:
    """Return names in quotes, some of very many."""
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return ", ".join(quoted(name) for name in names[:8]) + more
