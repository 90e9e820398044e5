"""What a source profile may say about one column or field."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

#: No unit is a billion billion times another's; a factor beyond makes numbers that no meter means.
_LEAST, _MOST = 1e-18, 1e18


def _is_factor(scale: float) -> float:
    if abs(scale) < _LEAST:
        raise ValueError(f"must not be 0, nor hardly any: at least {_LEAST:g}")
    return scale


Scale = Annotated[float, Field(ge=-_MOST, le=_MOST), AfterValidator(_is_factor)]
Offset = Annotated[float, Field(ge=-_MOST, le=_MOST)]
Place = Annotated[str, Field(min_length=1)] | Annotated[int, Field(ge=1)]


class ProfilePart(BaseModel):
    """A part of a profile: no key but those it names, no figure that is none."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True, populate_by_name=True)


class Direction(ProfilePart):
    """A column of letters or words that say which way an unsigned current flows."""

    column: Place
    draw: list[str] = Field(min_length=1)
    returned: list[str] = Field(alias="return", default_factory=list)
    none: list[str] = Field(default_factory=list)


class ColumnEntry(ProfilePart):
    """Where a quantity stands and how it is written.

    ``column`` is the header's word or the position counted from 1. A reading becomes
    ``((cell - minus) x scale + offset)`` in ``unit``, with its sign turned where ``sign`` says that return is positive.
    Without ``unit`` the column's own name decides, then the quantity's unit. ``minus`` is for meters that give the two
    ways of the current in two columns; an empty cell counts as 0 where the other one is filled.
    """

    column: Place
    minus: Place | None = None
    unit: str | None = None
    scale: Scale = 1.0
    offset: Offset = 0.0
    sign: Literal["draw_positive", "return_positive"] = "draw_positive"
    direction: Direction | None = None

    # Two columns, or a column of letters: each gives the sign, and nobody could tell which of them holds.
    @model_validator(mode="after")
    def _one_sign(self) -> ColumnEntry:
        if self.minus is not None and self.direction is not None:
            raise ValueError("give either minus or direction, not both")
        return self
