"""What is asked where no column's words name amps or watts."""

from __future__ import annotations

from collections.abc import Sequence

from ...errors import InputError, NamedColumn, in_toml, quoted
from .borne_out import UNIT_NAMES
from .dialect import Dialect
from .header import all_named, names_time, not_watts, words_of


def nothing_to_integrate(dialect: Dialect, units: Sequence[str], taken: set[int]) -> InputError:
    """Return why no amps and no watts are taken: columns that could be them by their numbers are asked about."""
    for word, cell in zip(dialect.names, units, strict=True):
        if (kind := not_watts(word, cell)) is not None:
            return InputError(
                f"column {quoted(word)} is {kind}, and {'VA' if kind.startswith('apparent') else 'var'} is not W; "
                "export a column of active power in W, or those of volts, amps and power factor"
            )
    names = dialect.names
    readings = [k for k, word in enumerate(names) if word and k not in taken and _could_be_read(dialect, k)]
    if readings:
        # Units by row are read without a word on them.
        by_row = any(words_of(word) & UNIT_NAMES for word in names)
        words, unit = [names[k] for k in readings], "" if by_row else ', unit = "A"'
        are, one = ("is", "column") if len(readings) == 1 else ("are", "columns")
        evidence = (
            f"nothing says which column is the current or the power; {one} {all_named(words)} {are} numbers of "
            "which nothing is known"
        )
        written = (
            ": say in a profile (--profile, see README) what is meant, such as "
            f"quantities.current_A = {{column = {in_toml(words[0])}{unit}}}"
        )
        columns = [NamedColumn(k + 1, names[k]) for k in readings]
        from ..questions.columns import which_column

        return which_column(evidence, "current_A", columns, None if by_row else "A", written=written)
    if taken:
        held = all_named([names[k] for k in sorted(taken)])
        return InputError(
            f"holds {held}, but neither amps nor watts, so nothing can be integrated; to keep it as a log all the "
            "same, name its columns in a profile (--profile, see README)"
        )
    return InputError(
        f"none of the columns {all_named(names)} is a quantity I know; name them in a profile (--profile, see README)"
    )


def _could_be_read(dialect: Dialect, index: int) -> bool:
    """Tell whether a column holds numbers, and no times."""
    cells = dialect.column(index)
    times = sum(":" in cell for cell in cells) + names_time(dialect.names[index])
    return bool(cells) and are_numbers(cells) and not times


def are_numbers(cells: Sequence[str]) -> bool:
    """Tell whether at least half of the cells hold digits."""
    return 2 * sum(any(c.isdigit() for c in cell) for cell in cells) >= len(cells)
