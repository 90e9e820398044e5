"""What a person states about an export, by options or by a profile."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...profiles.model import Profile
    from ..times.stamps import DateOrder, TimeStyle


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
