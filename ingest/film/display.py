"""The display profile: which displays stand in the picture, where, and what each of them shows."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from ..errors import InputError
from ..quantities import OF_DIMENSION, Unit, UnknownUnitError, find_unit
from ..toml.toml_file import read_toml
from .digit_places.straighten import Box
from .patterns import UNIT_LETTERS

#: No picture is larger. [pixels]
_WIDEST = 20_000
_MOST_DECIMALS = 9
#: Boxes drawn by hand may touch; those that share more than this of the smaller one are of one display.
_SHARED = 0.25
#: Pictures whose sides are to each other as those of others, to within this, have one shape: a codec rounds them. [1]
_SAME_SHAPE = 0.02
Corner = Annotated[list[Annotated[float | int, Field(ge=-_WIDEST, le=_WIDEST)]], Field(min_length=2, max_length=2)]
Corners = Annotated[list[Corner], Field(min_length=4, max_length=4)]


def _is_point(point: object) -> bool:
    return isinstance(point, list) and len(point) == 2 and all(type(x) in {int, float} for x in point)


class DisplayPart(BaseModel):
    """A part of a display profile: no key but those it names, no figure that is none."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


def _unit_of(name: str) -> Unit:
    try:
        unit = find_unit(name)
    except UnknownUnitError as error:
        raise ValueError(f"{error}; a display's is such as A, mV, W or Wh") from None
    if unit.dimension not in OF_DIMENSION:
        raise ValueError(f"{name} ({unit.dimension}) has no place in a log; amps, volts and watts have")
    return unit


class ShownInTurn(DisplayPart):
    """One of the quantities that a display shows in turn.

    It is told by ``letter``, which the last digit shows beside the figure, or by ``between``, outside of which it never
    is.
    """

    unit: str
    decimals: int | Literal["seen"] = 0
    letter: Literal["A", "U", "P"] | None = None
    between: Annotated[list[float | int], Field(min_length=2, max_length=2)] | None = None

    @field_validator("unit")
    @classmethod
    def _is_unit(cls, name: str) -> str:
        _unit_of(name)
        return name

    @model_validator(mode="after")
    def _is_told(self) -> ShownInTurn:
        if (self.letter is None) == (self.between is None):
            raise ValueError("say by what it is told: either letter, or between with the least and the largest value")
        if self.between is not None and self.between[0] >= self.between[1]:
            raise ValueError("between has the least value first, then the largest")
        return self


class FieldEntry(DisplayPart):
    """A display in the picture.

    ``corners`` of the box round its digits, clockwise from the top left, in pixels of the film's first frame.
    ``digits`` counts all places in the box, those of a minus or a letter too. Of ``decimals`` the number is fixed, or
    the point is ``"seen"`` in the picture. ``shows`` says whether lit segments are lighter or darker than the rest.
    """

    corners: Corners
    digits: Annotated[int, Field(ge=1, le=10)]
    unit: str | None = None
    decimals: Annotated[int, Field(ge=0, le=_MOST_DECIMALS)] | Literal["seen"] = 0
    signed: bool = False
    shows: Literal["light", "dark"] | None = None
    in_turn: list[ShownInTurn] = Field(default_factory=list)

    @field_validator("unit")
    @classmethod
    def _is_unit(cls, name: str | None) -> str | None:
        if name is not None:
            _unit_of(name)
        return name

    @field_validator("corners", mode="before")
    @classmethod
    def _is_four_points(cls, corners: object) -> object:
        points = corners if isinstance(corners, list) else []
        if len(points) != 4 or not all(_is_point(point) for point in points):
            raise ValueError(
                "give four corners, each as [x, y], such as [[212, 96], [420, 104], [416, 178], [208, 168]]"
            )
        return corners

    @field_validator("decimals", mode="before")
    @classmethod
    def _is_counted_or_seen(cls, decimals: object) -> object:
        if decimals != "seen" and not (type(decimals) is int and 0 <= decimals <= _MOST_DECIMALS):
            raise ValueError('say how many digits stand behind the point, such as 1, or "seen" where the point moves')
        return decimals

    @field_validator("corners")
    @classmethod
    def _goes_round(cls, corners: list[list[float]]) -> list[list[float]]:
        c = np.array(corners, dtype=np.float64)
        across, next_one = np.roll(c, -1, axis=0) - c, np.roll(c, -2, axis=0) - np.roll(c, -1, axis=0)
        # In a picture y grows downwards, so clockwise turns are positive; all of one sense makes the box convex.
        turns = across[:, 0] * next_one[:, 1] - across[:, 1] * next_one[:, 0]
        if not (turns > 0).all():
            raise ValueError("go clockwise round the digits: top left, top right, bottom right, bottom left")
        if (c[0, 0] + c[3, 0]) >= (c[1, 0] + c[2, 0]):
            raise ValueError("begin at the top left corner of the digits as they are read")
        return corners

    @model_validator(mode="after")
    def _shows_something(self) -> FieldEntry:
        if (self.unit is None) == (not self.in_turn):
            raise ValueError("give either unit, or in_turn with what the display shows by turns")
        for k, one in enumerate(self.in_turn):
            for other in self.in_turn[:k]:
                _refuse_alike(one, other)
        for behind in (self.decimals, *(one.decimals for one in self.in_turn)):
            if isinstance(behind, int) and behind >= self.digits:
                raise ValueError(f"of {self.digits} digits {behind} cannot stand behind the point")
        return self

    def box(self) -> Box:
        """Return its box."""
        return Box(np.array(self.corners, dtype=np.float64), self.digits)

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities it shows."""
        units = [one.unit for one in self.in_turn] or [self.unit or ""]
        return tuple(OF_DIMENSION[_unit_of(unit).dimension] for unit in units)


def _refuse_alike(one: ShownInTurn, other: ShownInTurn) -> None:
    if one.letter is not None and one.letter == other.letter:
        raise ValueError(f"the letter {one.letter} stands for two quantities")
    if (one.letter is None) != (other.letter is None):
        raise ValueError("tell all that is shown in turn in one way: by letter, or by between")
    a, b = one.between, other.between
    if a is not None and b is not None and a[0] <= b[1] and b[0] <= a[1]:
        raise ValueError(f"{one.unit} and {other.unit} have values in common; keep their between apart")


class Display(DisplayPart):
    """What a film shows, and how it is to be read.

    ``sampling``: the display shows the average since it last changed (``mean``), or what was there at that moment
    (``held``). ``delay_s`` is how late it may show what it has measured [s]. ``picture`` is how wide and high
    the pictures are on which its corners were drawn; without it they are in pixels of the film at hand.
    """

    fields: Annotated[list[FieldEntry], Field(min_length=1, max_length=12)]
    sampling: Literal["mean", "held"] = "mean"
    side: Literal["dc", "ac"] = "dc"
    delay_s: Annotated[float | int, Field(ge=0, le=60)] = 1.0
    meter: str | None = None
    picture: list[int] | None = None

    @field_validator("picture", mode="before")
    @classmethod
    def _is_wide_and_high(cls, picture: object) -> object:
        sides = picture if isinstance(picture, list) else []
        if picture is not None and not (len(sides) == 2 and all(type(x) is int and 0 < x <= _WIDEST for x in sides)):
            raise ValueError("say how wide and high the pictures are on which corners were drawn, such as [1280, 720]")
        return picture

    @model_validator(mode="after")
    def _one_of_each(self) -> Display:
        of: dict[str, int] = {}
        for number, field in enumerate(self.fields, start=1):
            for name in field.quantities:
                if name in of:
                    where = f"fields[{of[name]}] and fields[{number}]" if of[name] != number else f"fields[{number}]"
                    raise ValueError(f"{where} show {name} twice; a log holds one of each: leave one of them out")
                of[name] = number
        boxes = [field.box() for field in self.fields]
        for k, j in combinations(range(len(boxes)), 2):
            if boxes[k].shared(boxes[j]) > _SHARED:
                raise ValueError(
                    f"fields[{k + 1}] and fields[{j + 1}] have corners round the same place; draw each round a display "
                    "of its own, or make them one with in_turn"
                )
        return self

    def fitted(self, wide: int, high: int, name: str) -> Display:
        """Return it for a film whose pictures are so large [pixels]: one of the same shape, larger or smaller.

        Raises
        ------
        InputError
            If they have another shape, as of a camera that was held or set otherwise; `name` is the film's.
        """
        if self.picture in (None, [wide, high]):
            return self
        assert self.picture is not None
        drawn_wide, drawn_high = self.picture
        scales = wide / drawn_wide, high / drawn_high
        if abs(scales[0] / scales[1] - 1) > _SAME_SHAPE:
            raise InputError(
                f"{name}: its pictures are {wide} by {high} pixels, and the display profile was drawn on {drawn_wide} "
                f"by {drawn_high}, which is another shape; draw its corners on a frame of this film"
            )
        fields = [
            entry.model_copy(update={"corners": [[x * scales[0], y * scales[1]] for x, y in entry.corners]})
            for entry in self.fields
        ]
        return self.model_copy(update={"fields": fields, "picture": [wide, high]})

    @property
    def quantities(self) -> tuple[str, ...]:
        """All quantities it shows, in the order of the file."""
        return tuple(name for field in self.fields for name in field.quantities)


def load_display(path: Path) -> Display:
    """Return the display profile in a file.

    Raises
    ------
    InputError
        If there is none, or it holds mistakes: all of them, each with its line and key.
    """
    return read_toml(path, Display)


def value_of(entry: FieldEntry | ShownInTurn, digits: str, point: int | None) -> float:
    """Return the value that digits stand for in the quantity's own unit.

    Raises
    ------
    InputError
        If its decimal point is to be seen and is not.
    """
    if entry.decimals == "seen":
        if point is None or point < 0:
            raise InputError("its decimal point is not to be seen")
        behind = len(digits) - 1 - point
    else:
        behind = entry.decimals
    number = float(digits.strip()) / 10.0**behind
    assert entry.unit is not None
    return float(_unit_of(entry.unit).to_canonical(np.array(number)))


__all__ = ["UNIT_LETTERS", "Display", "FieldEntry", "ShownInTurn", "load_display", "value_of"]
