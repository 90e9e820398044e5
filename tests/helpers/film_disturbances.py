"""What may disturb a film of a display, each by itself and in degrees: a calm film, and one thing that is wrong."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from film_drawing import Painter
from film_lights import Dust, Shade, Streak, Window
from film_plans import Plan, fill_in, plan_of

from shuntbook.ingest.film.frames import LOOKED_AT, FilmFrame

#: Between which times something passes or rests before a display, where it does. [s]
FROM_S, TO_S = 3.0, 6.5


def calm_plan(seed: int, *, length_s: float, kind: str | None = None) -> Plan:
    """Return a film of a seed with nothing that disturbs it: straight, still, even, sharp."""
    while kind is not None and plan_of(seed).kind != kind:
        seed += 100_000
    plan = plan_of(seed, length_s=length_s)
    plan.fps, plan.codec = 30.0, "none"
    plan.yaw_deg = plan.pitch_deg = plan.roll_deg = plan.moved = 0.0
    plan.fill, plan.blur_px, plan.noise, plan.flicker_Hz = 0.7, 0.6, 2.0, None
    plan.glare, plan.hand, plan.response_s = [], [], min(plan.response_s, 0.04)
    plan.ghost = min(plan.ghost, 0.05)
    _jump(plan)
    _contrast(plan, 0.7)
    return plan


def _jump(plan: Plan) -> None:
    """Let a load of tens of amps start and stop at once, every few displays of a value."""
    rng, t = np.random.default_rng([plan.seed, 17]), plan.signal_s
    plan.signal_A = np.full(len(t), rng.uniform(0.4, 9.0))
    at = 1.2
    while at < plan.length_s:
        lasts = rng.uniform(1.4, 3.0)
        plan.signal_A[(t >= at) & (t < at + lasts)] += rng.uniform(20, 90)
        at += lasts + rng.uniform(1.4, 3.0)
    every_s = rng.uniform(0.35, 0.7)
    for shown, values in zip(plan.shown, (plan.signal_A, 25.6 - 0.012 * plan.signal_A), strict=True):
        shown.from_s, shown.texts = [], []
        fill_in(plan, shown, values * (1 + 0.003 * np.sin(t * 2.0)), every_s, rng.uniform(0, every_s))


def _contrast(plan: Plan, share: float) -> None:
    plan.ground = 30.0 if plan.kind == "led" else 160.0
    plan.contrast = 200.0 * share if plan.kind == "led" else -130.0 * share


def _perspective(plan: Plan, degree: float) -> None:
    plan.yaw_deg, plan.pitch_deg = degree, -degree


def _slant(plan: Plan, degree: float) -> None:
    for shown in plan.shown:
        shown.build = replace(shown.build, slant=degree)


def _flicker(plan: Plan, degree: tuple[float, float]) -> None:
    plan.flicker_Hz, plan.fps = degree
    plan.exposure_s, plan.readout_s = 0.008, min(0.02, 0.95 / plan.fps)


def _dimmed(plan: Plan, degree: tuple[float, float, float]) -> None:
    """Let all digits be lit at once, for a share of each period."""
    light_Hz, rate, plan.duty = degree
    _flicker(plan, (light_Hz, rate))


def _glare(plan: Plan, degree: float) -> None:
    plan.glare = [(0.0, plan.length_s, 0.35, 0.4, 60.0, degree)]


def _resting(kind: type, wide: float) -> Callable[[Plan, float], None]:
    """Let something rest on the displays, through the middle of their digits, each time otherwise."""

    def disturb(plan: Plan, degree: float) -> None:
        rng = np.random.default_rng([plan.seed, 19])
        x, y, angle = rng.uniform(0.3, 0.6), rng.uniform(0.3, 0.6), rng.uniform(0, 180)
        plan.rests = [kind(x, y, angle, wide * rng.uniform(0.7, 1.5), degree)]

    return disturb


def _dust(plan: Plan, degree: float) -> None:
    plan.rests = [Dust(int(degree), 50.0 if plan.seed % 4 < 2 else -40.0, plan.seed)]


def _lit_room(plan: Plan, degree: tuple[tuple[float, float, float], float]) -> None:
    """Let digits of a colour shine in a room that lights the plastic before them as well."""
    plan.colour, plan.ground = degree
    plan.contrast, plan.ghost = 90.0, 0.2


def _negative(plan: Plan, degree: float) -> None:
    """Show light digits on a dark LCD, which the room's light alone lights."""
    plan.ground, plan.contrast, plan.colour = 40.0, 200.0 * degree, (1.0, 0.95, 0.85)


def _dim_askew(plan: Plan, degree: float) -> None:
    """All at once: a dim display at an angle, out of focus, under a streak and a shadow."""
    _contrast(plan, degree)
    plan.yaw_deg, plan.pitch_deg, plan.blur_px = 22.0, -12.0, 1.4
    _resting(Streak, 25.0)(plan, 40.0)
    plan.rests.append(Shade(0.5, 0.5, 70.0, 30.0, 0.7))


def _passing_glare(plan: Plan, degree: float) -> None:
    plan.glare = [(FROM_S, TO_S, 0.3, 0.35, 40.0, degree)]


def _hand(plan: Plan, degree: tuple[float, float]) -> None:
    """Come from the left, where the leading digits are, and rest there."""
    reach, plan.hand_level = degree
    plan.hand = [(FROM_S - 1, TO_S + 1, np.pi * 1.04, reach)]


def _still(field: str) -> Callable[[Plan, float], None]:
    def disturb(plan: Plan, degree: float) -> None:
        setattr(plan, field, degree)

    return disturb


def _camera(plan: Plan, degree: tuple[str, float]) -> None:
    way, share = degree
    plan.jolt = share if way in {"jolt", "both"} else 0.0
    plan.drift = share if way in {"drift", "both"} else 0.0
    plan.turn_deg, plan.zoom = share if way == "turn" else 0.0, share if way == "zoom" else 0.0


def _room(plan: Plan, degree: float) -> None:
    plan.dark_s, plan.dark_left = (FROM_S, TO_S), degree


def _cold(plan: Plan, degree: float) -> None:
    """Let segments go out far slower than they light, so that a new value stands in what is left of the old one."""
    plan.response_s, plan.fades_s = 0.08, degree


def _codec(plan: Plan, degree: str) -> None:
    plan.codec = degree


#: Red, green, blue and white as a camera sees them. [blue, green, red]
COLOURS = ((0.1, 0.15, 1.0), (0.2, 1.0, 0.3), (1.0, 0.45, 0.15), (0.95, 0.95, 1.0))
RATES = (24.0, 25.0, 30.0, 50.0, 60.0)
FLICKERS_HZ = (50.0, 60.0, 100.0, 120.0, 200.0, 400.0)
#: Rates of light and frames that beat once in two to five seconds; for which share of each period light is on.
SLOW_BEATS = ((50.2, 25.0), (50.5, 25.0), (60.3, 30.0), (100.4, 25.0), (120.3, 60.0), (200.5, 50.0))
DUTIES = (0.2, 0.6)
_CAMERA = [(way, share) for way in ("jolt", "drift", "both") for share in (0.01, 0.03)]
#: Each disturbance: its degrees, the weakest first, and what it does to a calm plan.
DISTURBANCES: dict[str, tuple[Sequence, Callable]] = {
    "perspective": ((0, 10, 18, 25), _perspective),
    "askew": ((2, 5, 10), _still("roll_deg")),
    "slant": ((0.0, 0.1, 0.2, 0.3), _slant),
    "blur": ((0.6, 1.2, 1.8, 2.4, 3.0), _still("blur_px")),
    "noise": ((1, 4, 8, 14), _still("noise")),
    "contrast": ((1.0, 0.6, 0.4, 0.25, 0.15, 0.1), _contrast),
    "glare": ((20, 40, 60, 100, 160), _glare),
    "passing_glare": ((60, 100, 160, 260), _passing_glare),
    "streak": ((20, 40, 60, 90), _resting(Streak, 25.0)),
    "window": ((20, 40, 60, 90), _resting(Window, 60.0)),
    "shadow": ((0.8, 0.6, 0.4, 0.25), _resting(Shade, 4.0)),
    "dust": ((20, 60, 150), _dust),
    "lit_room": ([(colour, ground) for colour in COLOURS for ground in (90.0, 140.0)], _lit_room),
    "negative": ((0.7, 0.4, 0.2), _negative),
    "dim_askew": ((0.4, 0.25, 0.15), _dim_askew),
    "flicker": ([(light, rate) for light in FLICKERS_HZ for rate in RATES], _flicker),
    "drifting_flicker": ([(light, rate) for light, rate in SLOW_BEATS], _flicker),
    "dimmed": ([(light, rate, duty) for light in (50.0, 100.0, 110.0) for rate in RATES for duty in DUTIES], _dimmed),
    "hand": ([(reach, level) for reach in (0.6, 0.75, 0.9, 1.2) for level in (20, 60, 120)], _hand),
    "camera": ([*_CAMERA, ("turn", 1.0), ("turn", 2.0), ("zoom", 0.03)], _camera),
    "room": ((0.7, 0.4, 0.2, 0.1), _room),
    "hunting": ((0.1, 0.2, 0.35, 0.5), _still("hunting")),
    "fading": ((0.05, 0.1, 0.2, 0.4), _still("response_s")),
    "cold": ((0.2, 0.5, 1.0, 2.0), _cold),
    "rate": ((5.0, 8.0, 12.0, 24.0, 60.0), _still("fps")),
    "lost": ((0.1, 0.3, 0.5), _still("lost")),
    "doubled": ((0.1, 0.3, 0.5), _still("doubled")),
    "uneven": ((0.1, 0.3, 0.45), _still("uneven")),
    "codec": (("mp4v", "MJPG", "XVID", "h264 23", "h264 32", "h264 38"), _codec),
}


def apart_of(plan: Plan) -> float:
    """Return how far apart frames are that are looked at, as the reader takes it of a film's file. [s]"""
    return max(1, round(plan.fps / LOOKED_AT)) / plan.fps


def pictures(plan: Plan) -> Iterator[FilmFrame]:
    """Yield the pictures of a film that are looked at, with no codec between: some lost, doubled or at uneven times."""
    rng, painter = np.random.default_rng([plan.seed, 11]), Painter(plan)
    times_s = np.arange(round(plan.length_s * plan.fps)) / plan.fps
    times_s += plan.uneven / plan.fps * rng.uniform(-1, 1, len(times_s)) * (times_s > 0)
    lost = rng.random(len(times_s)) < plan.lost
    times_s = times_s[~lost]
    again = rng.random(len(times_s)) < plan.doubled
    due_s, shown_s, picture = 0.0, -1.0, None
    for number, (time_s, before_s) in enumerate(pairwise_before(times_s)):
        if time_s < due_s - 0.25 / plan.fps:
            continue
        due_s = time_s + apart_of(plan)
        taken_s = before_s if again[number] else time_s
        if picture is None or taken_s > shown_s:
            picture, shown_s = painter.picture(float(taken_s)), taken_s
        yield FilmFrame(number + 1, float(time_s), picture)


def pairwise_before(times_s: np.ndarray) -> Iterator[tuple[float, float]]:
    """Yield each time and the one before it."""
    yield times_s[0], times_s[0]
    yield from ((b, a) for a, b in pairwise(times_s))
