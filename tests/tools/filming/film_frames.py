"""Read single states of displays with known truth by the ten thousand, without a film round them.

Each state is a random text, seen in a few frames with noise, flicker, glare, a hand or half a change of their own. It
is accepted where most of its frames show the same figure and none another, which is less than films ask for: there it
must also go with what stood before and after.
"""

from collections import Counter
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from film_drawing import Painter, drawn_corners
from film_plans import Plan, Shown, as_shown, odd_plan, plan_of
from scipy.stats import beta

from shuntbook.ingest.film.display import FieldEntry
from shuntbook.ingest.film.field_reader import FieldReader, Glimpse
from shuntbook.ingest.film.figures import NoFigureError, figure_of
from shuntbook.ingest.film.patterns import DOUBT

#: Frames of a state, how far apart they are [s], how many must agree, and how many states first show the digits.
FRAMES, APART_S, AGREE, LEARNT = 2, 1 / 15, 2, 12
#: How wide the pictures are: digits stay larger than what is read of them. [pixels]
WIDE = 448
#: Shares of states that have a hand, a strong glare, or half a change before or in them.
HANDS, GLARES, CHANGES = 0.2, 0.15, 0.15


@dataclass
class States:
    """What came of states: how many were shown and read, by what was in the way, and those read wrong."""

    shown: int = 0
    clear: int = 0
    clear_read: int = 0
    accepted: int = 0
    wrong: list[str] = field(default_factory=list)
    ways: Counter = field(default_factory=Counter)


class StatePainter(Painter):
    """Paints states: what a display shows is set, and so is what is in the way."""

    def __init__(self, plan: Plan) -> None:
        plan.size = (WIDE, WIDE * plan.size[1] // plan.size[0])
        plan.blur_px, plan.moved = plan.blur_px * WIDE / 640, 0.0
        # States are no story: a lamp's gleam stands throughout.
        plan.glare = [(-1e6, 1e6, *glare[2:]) for glare in plan.glare if glare[5] <= 60]
        super().__init__(plan)

    def state(self, rng: np.random.Generator, levels: list[np.ndarray], time_s: float) -> np.ndarray:
        """Return a frame of segments that are lit so far, at a moment of the flicker."""
        picture = self.scene.copy()
        for n, shown in enumerate(self.plan.shown):
            self._levels[n] = levels[n]
            self._light(picture, n, shown, time_s)
        self._glare(picture, time_s)
        self._hand(picture, time_s)
        picture = cv2.GaussianBlur(picture, (0, 0), max(self.plan.blur_px, 0.25))
        noise = np.empty(picture.shape[:2], np.float32)
        cv2.randn(noise, 0.0, self.plan.noise)
        return np.clip(picture + noise[..., None], 0, 255).astype(np.uint8)

    def levels(self, texts: list[str]) -> list[np.ndarray]:
        """Return which segments each display lights for a text."""
        return [self._wanted(replace(shown, from_s=[0.0], texts=[text]), 0.0)
                for shown, text in zip(self.plan.shown, texts, strict=True)]  # fmt: skip

    def _light(self, picture: np.ndarray, n: int, shown: Shown, time_s: float) -> None:
        # As they are set, not as they would settle from frame to frame.
        wanted, self._wanted = self._wanted, lambda *_: self._levels[n]
        try:
            super()._light(picture, n, shown, time_s)
        finally:
            self._wanted = wanted


def texts_of(rng: np.random.Generator, plan: Plan) -> list[str]:
    """Return a text for each display: any digits, fewer of them now and then, a minus where there may be one."""
    texts = []
    for shown in plan.shown:
        room = shown.digits - shown.signed
        figures = int(rng.integers(shown.decimals + 1, room + 1))
        value = float(rng.integers(0, 10**figures)) / 10**shown.decimals
        texts.append(as_shown(shown, -value if shown.signed and rng.random() < 0.5 else value))
    return texts


def in_the_way(rng: np.random.Generator, plan: Plan) -> str:
    """Put something before the displays, or nothing; return what."""
    plan.hand, plan.glare = [], [glare for glare in plan.glare if glare[5] <= 60]
    kind = rng.random()
    if kind < HANDS:
        # It rests there: from its beginning to its end, seen in the middle.
        plan.hand = [(-1e6, 1e6, rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 1.2))]
        return "hand"
    if kind < HANDS + GLARES:
        x, y = rng.uniform(0.2, 0.8, 2)
        plan.glare.append((-1e6, 1e6, x, y, rng.uniform(10, 70), rng.uniform(60, 260)))
        return "glare"
    return "change" if kind < HANDS + GLARES + CHANGES else "clear"


def read_states(seed: int, count: int, states: States, *, odd: bool = False) -> None:
    """Show so many states of a seed's displays, odd ones in boxes drawn badly too, and add what was read of them."""
    rng, plan = np.random.default_rng([seed, 99]), odd_plan(seed) if odd else plan_of(seed)
    cv2.setRNGSeed(seed)
    painter = StatePainter(plan)
    shows = "light" if plan.kind == "led" else "dark"
    readers = [FieldReader(_entry(plan, shown).box(), shows) for shown in plan.shown]
    before, time_s = texts_of(rng, plan), 0.0
    for k in range(LEARNT + count):
        texts, way = texts_of(rng, plan), in_the_way(rng, plan) if k >= LEARNT else "clear"
        if k < LEARNT:
            plan.hand, plan.glare = [], [glare for glare in plan.glare if glare[5] <= 60]
        share = rng.uniform(0.05, 0.95) if way == "change" else 1.0
        new, old = painter.levels(texts), painter.levels(before)
        levels = [share * a + (1 - share) * b for a, b in zip(new, old, strict=True)]
        glimpses = []
        for _ in range(FRAMES):
            picture = painter.state(rng, levels, time_s)
            glimpses.append([reader.look(picture, np.eye(3), time_s) for reader in readers])
            time_s += APART_S
        time_s += 0.2 + rng.uniform(0, 0.05)
        if k >= LEARNT:
            for n, shown in enumerate(plan.shown):
                true = {texts[n], before[n]} if way == "change" else {texts[n]}
                _count(states, _entry(plan, shown), [row[n] for row in glimpses], true, f"{seed}/{k} {way}")
        before = texts


def _entry(plan: Plan, shown: Shown) -> FieldEntry:
    corners = [[round(float(x)), round(float(y))] for x, y in drawn_corners(plan, shown)]
    unit = shown.quantity.rsplit("_", 1)[1]
    return FieldEntry(corners=corners, digits=shown.digits, decimals=shown.decimals, unit=unit, signed=shown.signed)


def _count(states: States, entry: FieldEntry, glimpses: list[Glimpse], true: set[str], told: str) -> None:
    way = told.split()[1]
    states.shown += 1
    states.clear += way == "clear"
    clear = Counter(glimpse.glyphs for glimpse in glimpses if DOUBT not in glimpse.glyphs)
    if len(clear) != 1 or clear.total() < AGREE:
        return
    (text,) = clear
    points = Counter(glimpse.point for glimpse in glimpses).most_common(1)[0]
    try:
        figure = figure_of(entry, text, points[0] if points[1] == len(glimpses) else None)
    except NoFigureError:
        return
    states.accepted += 1
    states.ways[way] += 1
    states.clear_read += way == "clear"
    is_wrong = all(abs(figure.value - float(one)) > 1e-9 for one in true)
    if is_wrong:
        states.wrong.append(f"{told}: {figure.text} for {' or '.join(sorted(true))}")


def told_of_states(states: States) -> str:
    """Return the measure of states in a sentence: of all, and of those that nothing is before."""
    return (
        f"{states.shown} states: {states.clear_read} of {states.clear} clear ones read; {len(states.wrong)} wrong of "
        f"{states.accepted} accepted, at most {100 * at_most(len(states.wrong), states.accepted):.3f} % (95 %); of "
        f"{states.ways['clear']} with nothing before them {sum('clear' in one for one in states.wrong)}"
    )


def at_most(wrong: int, count: int) -> float:
    """Return the upper 95 % limit of a share, of which so many of so many were found (Clopper and Pearson)."""
    return float(beta.ppf(0.95, wrong + 1, count - wrong)) if count > wrong else 1.0
