"""What a person states about an export, by options or by a profile."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

from ...errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from ...errors import Question
    from ...profiles.columns import ColumnEntry
    from ...profiles.model import Profile
    from ..times.stamps import DateOrder, TimeStyle

#: Years in which a log can begin.
_FIRST_YEAR: Final = 1970
_LAST_YEAR: Final = 2200


@dataclass(frozen=True)
class Stated:
    """What a person states about an export; None leaves it to the profile, and then to be recognised."""

    profile: Profile | None = None
    zone: str | None = None
    start: datetime | None = None
    dates: DateOrder | None = None
    times: TimeStyle | None = None
    decimal: str | None = None
    side: str | None = None
    sampling: str | None = None
    gap_s: float | None = None
    meter: str | None = None
    sheet: str | None = None
    reverse_sign: bool = False
    #: Whether the profile names what a person chose alone: other columns are recognised, and asked about.
    in_part: bool = False
    #: Columns that are not to be read, counted from 1, where others are recognised.
    unused: frozenset[int] = frozenset()

    @property
    def entries(self) -> Mapping[str, ColumnEntry]:
        """The columns that the profile names, by quantity."""
        return self.profile.quantities if self.profile is not None else {}

    @property
    def names_all(self) -> bool:
        """Whether the columns are those of a profile, which is believed: nothing of them is recognised."""
        return bool(self.entries) and not self.in_part

    def settles(self, question: Question) -> bool:
        """Tell whether what a question asks is stated: whatever one of its choices sets is set, to whatever."""
        return any(all(map(self._says, choice.sets)) for choice in question.choices)

    def _says(self, key: str) -> bool:
        table, _, rest = key.partition(".")
        if table == "time":
            return self.profile is not None and self.profile.time is not None
        if table != "quantities":
            return bool(getattr(self, table))
        quantity, _, line = rest.partition(".")
        entry = self.entries.get(quantity)
        return entry is not None and line.partition(".")[0] in entry.model_fields_set

    @property
    def says_order(self) -> bool:
        """Whether it says in which order a date's numbers stand, or how times are written."""
        entry = self.profile.time if self.profile is not None else None
        return bool(self.dates or self.times or (entry is not None and entry.style))

    def filled(self) -> Stated:
        """Return it with the profile's words on decimal mark, sheet, side and sampling where the person said none."""
        if (profile := self.profile) is None:
            return self
        return replace(
            self,
            decimal=self.decimal or profile.file.decimal,
            sheet=self.sheet or profile.file.sheet,
            side=self.side or profile.side,
            sampling=self.sampling or profile.sampling,
        )


def start_time(text: str | None) -> datetime | None:
    """Return when elapsed time began, as a person writes it; None where nothing is written.

    Raises
    ------
    InputError
        If it is no date and time, or one that no log has.
    """
    if not text:
        return None
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        start = datetime.min  # refused below, as is a year that no log has
    if _FIRST_YEAR <= start.year <= _LAST_YEAR:
        return start
    raise InputError(f"--start: {text!r} is no date and time; write it like 2026-06-13T09:30")
