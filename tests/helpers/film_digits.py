"""Pictures of one display with its digits as wanted, segment by segment; and a reader that has learnt them."""

import cv2
import numpy as np
from film_shapes import BUILDS, DIGITS, STROKES, outline, slanted

from shuntbook.ingest.film.digit_places.straighten import Box
from shuntbook.ingest.film.field_reader import FieldReader

HIGH, LEFT, TOP = 60.0, 60.0, 40.0
GROUND, LIGHT = 40.0, 150.0
#: Every segment is lit in one of them, in every place.
TAUGHT = ("8888", "1234", "5678", "9012", "3456", "7890", "6543", "2109", "8765")


class Pictures:
    """Draws one display of a build, four digits of light on a dark ground."""

    def __init__(self, build=BUILDS[0], digits=4):
        self.build, self.digits = build, digits
        self.wide = (build.pitch * (digits - 1) + build.width + build.slant) * HIGH
        self.size = (round(HIGH + 2 * TOP), round(self.wide + 2 * LEFT))
        self._masks = [[self._mask(k, stroke) for stroke in STROKES] for k in range(digits)]

    def _mask(self, k, stroke):
        points = slanted(self.build, outline(self.build, stroke)) + np.array([k * self.build.pitch, 0])
        mask = np.zeros((4 * self.size[0], 4 * self.size[1]), np.uint8)
        at = points * HIGH + np.array([LEFT, TOP])
        cv2.fillPoly(mask, [np.round((at + 0.5) * 64 - 8).astype(np.int32)], 255, cv2.LINE_8, 4)
        return cv2.resize(mask, self.size[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255

    def lit(self, text):
        """Return which segments a text lights; shape (digits, 7)."""
        return np.array([[float(s in self.build.strokes(glyph)) for s in STROKES] for glyph in text])

    def picture(self, lit, over=(), seed=0):
        """Return a picture of segments as bright as that, under strips ``over`` them: left, right [pixels], colour."""
        light = sum(level * mask for row, masks in zip(lit, self._masks, strict=True)
                    for level, mask in zip(row, masks, strict=True))  # fmt: skip
        picture = np.full((*self.size, 3), GROUND, np.float32) + LIGHT * light[..., None]
        for left, right, colour in over:
            picture[:, round(left) : round(right)] = colour
        picture = cv2.GaussianBlur(picture, (0, 0), 1.0)
        noise = np.random.default_rng(seed).normal(0, 1.5, (*self.size, 1))
        return np.clip(picture + noise, 0, 255).astype(np.uint8)

    def reader(self):
        """Return a reader that has seen the display for a while."""
        right, foot = LEFT + self.wide, TOP + HIGH
        reader = FieldReader(
            Box(np.array([[LEFT, TOP], [right, TOP], [right, foot], [LEFT, foot]]), self.digits), "light"
        )
        for k in range(24):
            text = TAUGHT[k % len(TAUGHT)]
            reader.look(self.picture(self.lit(text if k % 3 else " " + text[1:]), seed=k), np.eye(3), 0.31 * k)
        return reader

    def place(self, k):
        """Return from where to where a digit's place is. [pixels]"""
        left = LEFT + (k * self.build.pitch - (self.build.pitch - self.build.width) / 2) * HIGH
        return left, left + (self.build.pitch + 0.5 * self.build.slant) * HIGH


def patterns_of_digits():
    """Return each pattern of strokes that is a figure, and which; 6, 7 and 9 in both forms of each."""
    patterns = {frozenset(names.split()): glyph for glyph, names in DIGITS.items() if glyph.isdigit()}
    return patterns | {frozenset(["LU", "M", "LL", "RL", "B"]): "6", frozenset(["T", "RU", "LU", "M", "RL"]): "9",
                       frozenset(["LU", "T", "RU", "RL"]): "7"}  # fmt: skip
