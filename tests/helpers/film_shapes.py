"""Seven-segment digits as outlines, in several builds; the films of the tests are drawn with them.

Nothing of the reader is used here: the order of segments, the patterns and the outlines are stated anew.
"""

from dataclasses import dataclass

import numpy as np

#: Strokes by name, clockwise from the top (T), right upper (RU) to left upper, the middle (M) last.
STROKES = ("T", "RU", "RL", "B", "LL", "LU", "M")
DIGITS = {
    "0": "T RU RL B LL LU",
    "1": "RU RL",
    "2": "T RU M LL B",
    "3": "T RU M RL B",
    "4": "LU M RU RL",
    "5": "T LU M RL B",
    "6": "T LU M LL RL B",
    "7": "T RU RL",
    "8": "T RU RL B LL LU M",
    "9": "T RU RL B LU M",
    "-": "M",
    " ": "",
    "A": "T RU RL LL LU M",
    "U": "RU RL B LL LU",
}
#: Builds without the tails of 6 and 9, and with a hook at 7.
TAILLESS = {"6": "LU M LL RL B", "9": "T RU RL LU M"}
HOOKED = {"7": "LU T RU RL"}


@dataclass(frozen=True)
class Build:
    """How digits are built: in parts of their height."""

    width: float = 0.55
    stroke: float = 0.13
    gap: float = 0.02
    ends: str = "pointed"
    slant: float = 0.1
    pitch: float = 0.8
    tailless: bool = False
    hooked: bool = False
    point: float = 0.13

    def strokes(self, glyph: str) -> set[str]:
        """Return which strokes of a glyph are lit."""
        names = DIGITS[glyph]
        names = TAILLESS.get(glyph, names) if self.tailless else names
        names = HOOKED.get(glyph, names) if self.hooked else names
        return set(names.split())


BUILDS = (
    Build(),
    Build(width=0.5, stroke=0.11, ends="square", slant=0.0, pitch=0.72, gap=0.03),
    Build(width=0.6, stroke=0.16, ends="mitred", slant=0.14, pitch=0.82, gap=0.012, tailless=True),
    Build(width=0.52, stroke=0.1, ends="mitred", slant=0.08, pitch=0.7, gap=0.015),
    Build(width=0.57, stroke=0.14, ends="round", slant=0.17, pitch=0.85, gap=0.025, hooked=True),
    Build(width=0.62, stroke=0.18, ends="pointed", slant=0.05, pitch=0.86, gap=0.02),
)


def outline(build: Build, stroke: str) -> np.ndarray:
    """Return a stroke's outline in a digit one high, its top left at (0, 0), unslanted; shape (n, 2)."""
    w, t, g = build.width, build.stroke, build.gap
    left, right, top, middle, bottom = t / 2, w - t / 2, t / 2, 0.5, 1 - t / 2
    ends = {
        "T": ((left, top), (right, top)),
        "M": ((left, middle), (right, middle)),
        "B": ((left, bottom), (right, bottom)),
        "LU": ((left, top), (left, middle)),
        "LL": ((left, middle), (left, bottom)),
        "RU": ((right, top), (right, middle)),
        "RL": ((right, middle), (right, bottom)),
    }
    (x0, y0), (x1, y1) = ends[stroke]
    along = np.array([x1 - x0, y1 - y0]) / np.hypot(x1 - x0, y1 - y0)
    across = np.array([-along[1], along[0]])
    a, b = np.array([x0, y0]) + along * g, np.array([x1, y1]) - along * g
    half = t / 2
    if build.ends == "pointed":
        return np.array([a, a + (along + across) * half, b - (along - across) * half, b,
                         b - (along + across) * half, a + (along - across) * half])  # fmt: skip
    if build.ends == "square":
        a, b = a + along * half, b - along * half
        return np.array([a + across * half, b + across * half, b - across * half, a - across * half])
    if build.ends == "round":
        a, b = a + along * half * 0.9, b - along * half * 0.9
        turn = np.linspace(-np.pi / 2, np.pi / 2, 7)
        far = [b + half * (np.cos(q) * along + np.sin(q) * across) for q in turn]
        near = [a - half * (np.cos(q) * along + np.sin(q) * across) for q in turn]
        return np.array(far + near)
    return _mitred(stroke, a, b, along, across, half)


def _mitred(stroke, a, b, along, across, half):
    """Return a stroke whose outer edge is long and whose inner edge is short; the middle one is pointed."""
    if stroke == "M":
        return np.array([a, a + (along + across) * half, b - (along - across) * half, b,
                         b - (along + across) * half, a + (along - across) * half])  # fmt: skip
    # The outer side lies away from the digit's middle.
    out = -1.0 if stroke in {"T", "RU", "RL"} else 1.0
    outer, inner = across * half * out, -across * half * out
    # Upright strokes meet the middle one in a point, the others in a mitre.
    near_middle, far_middle = stroke in {"LL", "RL"}, stroke in {"LU", "RU"}
    start = a + along * half * 0.5 if near_middle else a - along * half
    stop = b - along * half * 0.5 if far_middle else b + along * half
    return np.array([start + outer, stop + outer, b - along * half + inner, a + along * half + inner])


def point_outline(build: Build) -> np.ndarray:
    """Return the decimal point's outline, right of the digit at its foot; shape (n, 2)."""
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    centre = np.array([(build.width + build.pitch) / 2, 1 - build.point / 2])
    size = min(build.point, (build.pitch - build.width) * 0.8) / 2
    return centre + size * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def slanted(build: Build, points: np.ndarray) -> np.ndarray:
    """Return points leant to the right by the build's slant, the foot standing."""
    return np.stack([points[:, 0] + build.slant * (1 - points[:, 1]), points[:, 1]], axis=1)
