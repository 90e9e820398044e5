"""One display in the picture, frame by frame: where its digits are is learnt from the film, then each is read."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from .digit_light.flicker import IN_STEP, Flicker, light_down, point_by_rows, told_by_rows
from .digit_light.segments import PARTS, SegmentLight, SegmentModel, model_for
from .digit_light.still_light import StillEdges, StillLight, flattened
from .digit_light.usual_ground import REMEMBERED, UsualGround
from .digit_places.beside import is_crossed, pattern_beside
from .digit_places.geometry import Geometry
from .digit_places.search import find_geometries, quick_score, refined_geometry
from .digit_places.straighten import Box, Image, Patch, straightened
from .one_digit import UNCLEAR, Digit, digit_by_rows, glyph_of, levels_of, point_of
from .patterns import BLANK, DOUBT, GLYPHS, UsualForms

Polarity = Literal["light", "dark"]
#: Least share of the variance that digits must explain for their place to be believed, and to be read at all.
_LEARNT, _FITS = 0.45, 0.4
#: Digits that explain so much of the variance are not looked for elsewhere; so much less of what was lit before may new
#: places explain.
_PLACED, _WORSE = 0.75, 0.03
#: A fit of so much of the last clear one needs no second look for the digits.
_GOOD_FIT: Final = 0.9
#: What may remain unexplained in a digit, in parts of a lit segment's light.
_MOST_REST = 0.36
#: How far what is beside the digits may change, in parts of a lit segment's light, or of its own where it has more, as
#: the frame of a dim display; it is usual after so many looks.
_BESIDE_MOVED, _FEW_LOOKS = 0.25, 5
LEFT_OUT: Final = "a digit stands beside the box: draw it round all places, and count them all"
_CROSSED: Final = "the digits reach beyond the box: draw it round all places of this display"
_NOT_PLACED: Final = "no digits are found in the box: draw it close round all places of this display"
#: So many patches, so many frames apart [s], are looked at before the digits' places are said; and learnt again after.
_PATCHES, _APART_S, _ANEW_S = 9, 0.3, (3.0, 20.0)
_EVEN = 6.0  # A patch in which nothing stands out by more, such as a covered lens, tells nothing of them. [of 255]


@dataclass(frozen=True)
class Glimpse:
    """What one frame shows of a display: a glyph a digit, `DOUBT` where none can be told.

    ``point`` is the digit after which a point is lit, -1 where none is, None where that cannot be told. ``reason`` says
    why nothing or not all was read. ``light`` is how bright each digit is, in parts of the brightest. ``strays`` is how
    far, of each digit, the segment strays that comes nearest to being taken for the contrary: 0 for not at all, 1 for
    all of a lit one's light. ``flickers``: whether it was read by each row's light. ``segments``: how bright each is.
    """

    glyphs: str
    point: int | None
    reason: str = ""
    light: tuple[float, ...] = ()
    strays: tuple[float, ...] = ()
    flickers: bool = False
    segments: tuple[float, ...] = ()


class FieldReader:
    """Reads one display; frames are shown to it in order.

    It learns where the digits stand from what is lit in the first seconds, and again as more segments have been lit.
    """

    def __init__(self, box: Box, shows: Polarity | None) -> None:
        self.box, self._shows = box, shows
        self.model: SegmentModel | None = None
        self.amounts: SegmentLight | None = None
        self._patches: deque[Patch] = deque(maxlen=_PATCHES)
        self._union: Patch | None = None
        self._weights = np.full(3, 1 / 3, np.float32)
        self._taken_s = self._learnt_s = -1e9
        self._began_s: float | None = None
        self._shift, self._trouble, self._fit = (0, 0), "", 1.0
        self._still: StillLight | None = None
        self._edges = StillEdges()
        self._ground, self._brighter, self._remembered_s = UsualGround(), np.ones(3), -1e9
        self._edged_s = -1e9
        self._beside: deque[float] = deque(maxlen=REMEMBERED)
        self._forms, self._flicker = UsualForms(), Flicker()

    def look(self, picture: Image, moved: NDArray[np.float64], time_s: float) -> Glimpse:
        """Return what a frame shows; the camera has moved by `moved` since the box was drawn."""
        colours = straightened(picture, self.box, moved)
        self._learn(colours, time_s)
        if self.model is None:
            return self._nothing(self._trouble or "the digits' places are not yet known")
        assert self._still is not None
        light = self._still.taken_off(colours @ self._weights)
        self.amounts = amounts = self._found(self.model, light)
        if amounts.fit < _FITS:
            # A hand may have drawn the digits' places along with it.
            self._shift = (0, 0)
            return self._nothing("no digits are to be seen")
        self._shift = amounts.shift
        return self._read(amounts, colours, light, time_s)

    def _found(self, model: SegmentModel, light: Patch) -> SegmentLight:
        """Return what a patch is made of where its digits are, from where they were or from where they were learnt.

        Something before them leads astray, and from there the way back is not downhill.
        """
        amounts = model.followed(light, self._shift)
        if self._shift == (0, 0) or amounts.fit >= _GOOD_FIT * self._fit:
            return amounts
        return max(amounts, model.followed(light, (0, 0)), key=lambda amounts: amounts.fit)

    def learn_from_few(self) -> None:
        """Learn the digits' places from the pictures there were, be it one."""
        if self.model is None and self._patches:
            self._settle()
        if self.model is None:
            self._trouble = _NOT_PLACED

    def digit_outlines(self) -> list[NDArray[np.float64]]:
        """Return where in the straightened box each digit was found last; nothing before they are known."""
        if self.model is None:
            return []
        g, shift = self.model.geometry, np.array(self._shift, dtype=np.float64)
        ends = ((0.0, 0.0), (g.width, 0.0), (g.width, g.height), (0.0, g.height))
        return [np.array([g.at(k, x, y) for x, y in ends]) + shift for k in range(self.box.digits)]

    def rewind(self) -> None:
        """Be ready to be shown the film from its beginning again, by what was learnt of it."""
        self._taken_s = self._learnt_s = self._remembered_s = self._edged_s = -1e9
        self._began_s, self._shift = None, (0, 0)

    def _nothing(self, reason: str) -> Glimpse:
        return Glimpse(DOUBT * self.box.digits, None, reason)

    # ------------------------------------------------------------------ learning

    def _learn(self, colours: Patch, time_s: float) -> None:
        """Take a patch now and then, and find the digits in them all."""
        self._began_s = time_s if self._began_s is None else self._began_s
        if time_s - self._taken_s < _APART_S:
            return
        known = self.amounts is not None and self.amounts.fit > _FITS
        if known or (self.model is None and _contrast(colours.mean(axis=2)) > _EVEN):
            self._patches.append(colours)
            self._taken_s = time_s
            if self._still is not None:
                self._still.add(colours @ self._weights)
        pause_s = _ANEW_S[0] if time_s - self._began_s < 7 * _ANEW_S[0] else _ANEW_S[1]
        full = len(self._patches) == _PATCHES
        if full and (self.model is None or time_s - self._learnt_s > pause_s):
            self._learnt_s = time_s
            self._settle()

    def _settle(self) -> None:
        colours = np.percentile(np.stack(self._patches), 85 if self._shows == "light" else 50, axis=0)
        if self.model is None:
            self._choose_colour(colours.astype(np.float32))
        light = flattened(np.percentile(np.stack(self._patches) @ self._weights, 85, axis=0).astype(np.float32))
        union = light if self._union is None else np.maximum(light, self._union)
        geometry = self._places_in(union)
        model = model_for(union, geometry, self.box.digits)
        if model.amounts(union).fit < _LEARNT:
            return
        if self.model is not None and not self._is_better(model, union):
            return
        self._union, self._shift, self.model = union, (0, 0), model
        self._trouble = _CROSSED if is_crossed(union, geometry, self.box.digits) else ""
        self._ground.clear()
        self._beside.clear()
        self._brighter = model.brighter(np.mean(np.stack(self._patches), axis=0), self._weights)
        self._edges = StillEdges()
        self._still = still = StillLight(model, union.shape)
        for patch in self._patches:
            still.add(patch @ self._weights)
        # What ground is usual in the new places is in the patches, too.
        for patch in self._patches:
            amounts = model.followed(still.taken_off(patch @ self._weights), (0, 0))
            if amounts.fit > _FITS:
                shone = amounts.without_glow()
                self._remember(shone, model.grounds(patch, amounts.shift) / self._brighter, levels_of(shone)[1])

    def _places_in(self, union: Patch) -> Geometry:
        """Return where the digits are in all that was lit so far: about where they were, if they were known."""
        if self.model is not None:
            refined = refined_geometry(union, self.box, self.model.geometry)
            if refined.score > _PLACED:
                return refined
        return find_geometries(union, self.box)[0]

    def _is_better(self, model: SegmentModel, union: Patch) -> bool:
        """Tell whether new places explain all that was lit so far far better than the old ones, and what was known too.

        A hand before the display is lit like anything else, and must not draw the digits to it.
        """
        assert self.model is not None and self._union is not None
        all_lit, known = (model.amounts(lit).fit - self.model.amounts(lit).fit for lit in (union, self._union))
        return all_lit > 0.01 and known > -_WORSE

    def _choose_colour(self, colours: Patch) -> None:
        """Choose light or dark digits, and the colour in which they stand out most."""
        grey = np.full(3, 1 / 3, np.float32)
        signs = {"light": (1.0,), "dark": (-1.0,), None: (1.0, -1.0)}[self._shows]
        sign = signs[0] if len(signs) == 1 else max(signs, key=lambda s: quick_score(colours @ (s * grey), self.box))
        best, most = grey, 1.6 * _contrast(colours @ grey)
        # Codecs keep colour at half the picture's sharpness: one colour alone must be worth that.
        for channel in np.eye(3, dtype=np.float32):
            if (contrast := _contrast(colours @ channel)) > most:
                best, most = channel, contrast
        self._weights = sign * best

    # ------------------------------------------------------------------ reading

    def _read(self, amounts: SegmentLight, colours: Patch, patch: Patch, time_s: float) -> Glimpse:
        assert self.model is not None
        across = self.model.across(patch, amounts.shift)
        grounds = self.model.grounds(colours, amounts.shift) / self._brighter
        glowing, amounts = amounts, amounts.without_glow()
        # What glows of itself stands out as well.
        across = across - float((glowing.lit - amounts.lit).max())
        lit = amounts.lit[:, : PARTS - 1]
        strongest = np.sort(lit, axis=1)[:, -2:].mean(axis=1)
        of_digit, level = levels_of(amounts)
        if level <= 0:
            return self._nothing("nothing is lit")
        standing = across - level * self._edges.across()
        shade = self._shade(grounds, int(np.argmax(of_digit)))
        digits = [self._digit(amounts, standing, of_digit, level, k, shade[k]) for k in range(self.box.digits)]
        point, in_step = point_of(amounts.lit[:, PARTS - 1], of_digit, level), False
        if flickers := self._flickers(time_s, lit, digits):
            level, alone = self._flicker.full, digits
            digits, point = self._by_rows(digits, amounts, across, patch)
            gained = any(one.glyph == DOUBT != other.glyph for one, other in zip(alone, digits, strict=True))
            in_step = self._flicker.is_still and (gained or self._flicker.is_uneven(lit))
        is_clean = not any(digit.why for digit in digits)
        digits = self._doubt_grounds(digits, amounts, grounds, level)
        beside = self._is_beside(amounts, level)
        if is_clean and time_s - self._remembered_s >= _APART_S:
            self._remembered_s = time_s
            self._remember(amounts, grounds, level)
        if time_s - self._edged_s >= _APART_S:
            self._edged_s = time_s
            self._edges.add(lit / level, across / level)
        if beside:
            digits = [Digit(DOUBT) for _ in digits]
        glyphs = "".join(digit.glyph for digit in digits)
        if not glyphs.strip():
            return self._nothing("nothing is lit")
        if self._is_cut(colours @ self._weights, amounts.shift, level):
            return self._nothing(LEFT_OUT)
        if DOUBT not in glyphs:
            self._trouble = ""
        reasons = [f"digit {k + 1} {digit.why}" for k, digit in enumerate(digits) if digit.why]
        if in_step and reasons and reasons[0].endswith(UNCLEAR):
            reasons = [IN_STEP]
        reason = "something bright or dark stands beside the digits" if beside else next(iter(reasons), "")
        return Glimpse(
            glyphs,
            point,
            self._trouble or reason,
            tuple(np.maximum(strongest / level, 0).round(3).tolist()),
            tuple(round(digit.strays, 3) for digit in digits),
            flickers,
            tuple((lit / level).round(3).ravel().tolist()),
        )

    def _shade(self, grounds: NDArray[np.float64], brightest: int) -> NDArray[np.float64]:
        """Return which share of the light that falls on the brightest digit falls on each, of an LCD; shape (digits,).

        It has no other, so in a shadow its segments stand out by as much less as the ground about them is darker.
        """
        if self._weights.sum() > 0:
            return np.ones(len(grounds))
        fallen = grounds.mean(axis=1)
        return np.asarray(np.clip(fallen / max(float(fallen[brightest]), 1.0), 0.0, 1.0))

    def _flickers(self, time_s: float, lit: NDArray[np.float64], digits: list[Digit]) -> bool:
        """Tell whether a display that shines flickers, by this look and those before it."""
        if self._weights.sum() < 0:
            return False
        self._flicker.add(time_s, lit, is_clear=not any(digit.why for digit in digits))
        return self._flicker.is_seen or self._flicker.is_still

    def _by_rows(
        self, digits: list[Digit], amounts: SegmentLight, across: NDArray[np.float64], patch: Patch
    ) -> tuple[list[Digit], int | None]:
        """Return what digits that flicker show by the light of each of their rows, and after which a point is lit."""
        assert self.model is not None
        full = self._flicker.full
        down = light_down(patch, self.model.geometry, amounts.shift, amounts.lit, amounts.ground)
        rows = [told_by_rows(*each, full) for each in zip(amounts.lit, down, strict=True)]
        lit = amounts.lit[:, : PARTS - 1]
        digits = [digit_by_rows(*each, full) for each in zip(digits, lit, across, rows, strict=True)]
        if self._flicker.is_still:
            # Light that does not wander over all digits may have passed by those that seem to be dark.
            digits = [digit if digit.glyph != BLANK else Digit(DOUBT, UNCLEAR[1]) for digit in digits]
        return digits, point_by_rows(rows)

    def _digit(
        self,
        amounts: SegmentLight,
        across: NDArray[np.float64],
        of_digit: NDArray[np.float64],
        level: float,
        k: int,
        shade: float,
    ) -> Digit:
        """Return what a digit shows by itself, its ground left aside."""
        digit = glyph_of(amounts.lit[k, : PARTS - 1], across[k], float(of_digit[k]), shade * level)
        if amounts.rest[k] > _MOST_REST * level:
            return digit._replace(glyph=DOUBT, why="is blurred or covered")
        if self._forms.is_odd(digit.glyph, digit.pattern):
            return digit._replace(glyph=DOUBT, why=f"is no {digit.glyph} as this display shows it")
        return digit

    def _doubt_grounds(
        self, digits: list[Digit], amounts: SegmentLight, grounds: NDArray[np.float64], level: float
    ) -> list[Digit]:
        """Put digits in doubt whose ground is not what it was: something is before them."""
        lit = np.array([digit.pattern > 0 for digit in digits])
        shines = bool(self._weights.sum() > 0)
        moved = self._ground.moved(grounds, amounts.shines, level, lit, shines=shines)
        why = "has a shadow, a glare or something before it"
        return [d._replace(glyph=DOUBT, why=why) if is_moved else d for d, is_moved in zip(digits, moved, strict=True)]

    def _is_beside(self, amounts: SegmentLight, level: float) -> bool:
        if len(self._beside) < _FEW_LOOKS:
            return False
        usual = float(np.median(self._beside))
        return bool(abs(amounts.beside / level - usual) > _BESIDE_MOVED * max(usual, 1.0))

    def _is_cut(self, patch: Patch, shift: tuple[int, int], level: float) -> bool:
        """Tell whether a figure stands next to the first or the last digit: then the box leaves a part of it out."""
        assert self.model is not None
        beside = (pattern_beside(patch, self.model.geometry, k, level, shift) for k in (-1, self.box.digits))
        return any(GLYPHS.get(pattern, DOUBT).isdigit() for pattern in beside if pattern is not None)

    def _remember(self, amounts: SegmentLight, grounds: NDArray[np.float64], level: float) -> None:
        if level > 0:
            self._fit = amounts.fit
            self._ground.add(grounds, amounts.shines, level)
            self._beside.append(amounts.beside / level)


def _contrast(light: Patch) -> float:
    low, high = np.percentile(light, [10, 95])
    return float(high - low)


#: Named for those who state it.
POLARITIES: Final = ("light", "dark")
