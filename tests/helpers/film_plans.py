"""What happens in the films of the tests: a load's draw, what each display shows of it, and what is in the way."""

from dataclasses import dataclass, field

import numpy as np
from film_lights import Dust, Shade, Streak, Window
from film_shapes import BUILDS, Build


@dataclass
class Shown:
    """A display in the picture: its glyphs by the time from which they stand. [s]"""

    quantity: str
    digits: int
    decimals: int
    height_mm: float
    left_mm: float
    top_mm: float
    build: Build
    signed: bool = False
    from_s: list[float] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    quantities: list[str] = field(default_factory=list)
    letters: dict[str, str] = field(default_factory=dict)
    ranges: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def names(self) -> list[str]:
        """The quantities it shows, in turn or always."""
        return sorted(set(self.quantities)) or [self.quantity]

    def values_at(self, quantity: str, time_s: float, about_s: float) -> set[float]:
        """Return what it shows of a quantity about a time: at most two values, where it changes."""
        values = set()
        for at in (time_s - about_s, time_s, time_s + about_s):
            k = max(int(np.searchsorted(self.from_s, at, side="right")) - 1, 0)
            if quantity == (self.quantities[k] if self.quantities else self.quantity):
                values.add(float(self.texts[k].rstrip("AU")))
        return values

    def text_at(self, time_s: float) -> str:
        """Return what it shows at a time."""
        return self.texts[max(int(np.searchsorted(self.from_s, time_s, side="right")) - 1, 0)]


@dataclass
class Plan:
    """A film: how it is taken, what it shows and what is in the way."""

    seed: int
    kind: str
    fps: float
    length_s: float
    size: tuple[int, int] = (640, 360)
    colour: tuple[float, float, float] = (0.1, 0.2, 1.0)
    ground: float = 25.0
    contrast: float = 180.0
    ghost: float = 0.03
    bloom: float = 0.2
    response_s: float = 0.0
    #: How slowly segments go out where that is not as slow as they light.
    fades_s: float = 0.0
    flicker_Hz: float | None = None
    #: For which share of each period all digits are lit at once; else one digit is lit after another.
    duty: float | None = None
    exposure_s: float = 0.012
    readout_s: float = 0.02
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    fill: float = 0.7
    blur_px: float = 0.6
    noise: float = 2.0
    moved: float = 0.03
    #: How the camera moves: touched once and left so, drifting; shares of the picture, a turn, a share of zoom.
    jolt: float | None = None
    drift: float | None = None
    turn_deg: float = 0.0
    zoom: float = 0.0
    #: When the room's light is off, and what share of it is left then; how far an exposure that hunts strays.
    dark_s: tuple[float, float] = (0.0, 0.0)
    dark_left: float = 1.0
    hunting: float = 0.0
    #: Frames that are lost, those that show the one before them once more, and how far times stray from even ones.
    lost: float = 0.0
    doubled: float = 0.0
    uneven: float = 0.0
    glare: list[tuple[float, float, float, float, float, float]] = field(default_factory=list)
    #: Light, shadow and dust that rest on the display throughout.
    rests: list[Streak | Window | Shade | Dust] = field(default_factory=list)
    hand: list[tuple[float, float, float, float]] = field(default_factory=list)
    hand_level: float = 110.0
    codec: str = "mp4v"
    shown: list[Shown] = field(default_factory=list)
    sloppy: float = 0.04
    badly: bool = False
    delay_s: float = 0.5
    mean: bool = True
    signal_s: np.ndarray = field(default_factory=lambda: np.zeros(0))
    signal_A: np.ndarray = field(default_factory=lambda: np.zeros(0))

    def true_Ah(self, until_s: float) -> float:
        """Return the charge drawn from the film's first frame to a time. [Ah]"""
        inside = self.signal_s < until_s
        return float(self.signal_A[inside].sum() * (self.signal_s[1] - self.signal_s[0]) / 3600)

    def clear_seconds(self) -> list[int]:
        """Return the whole seconds in which neither a hand nor a blinding glare is before a display."""
        blocked = [(a, b) for a, b, *_ in self.hand]
        blocked += [(a, b) for a, b, _, _, _, peak in self.glare if peak > 60]
        return [k for k in range(int(self.length_s)) if not any(a < k + 1 and b > k for a, b in blocked)]


def draw_of(rng: np.random.Generator, length_s: float, *, signed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return a load's amps over the film: a standing draw, a pump's runs with their surges, and what wavers."""
    t = np.arange(0, length_s, 0.01)
    standing = rng.uniform(0.5, 9.0) * (-1 if signed else 1)
    x = np.full(len(t), standing)
    at = rng.uniform(1.0, 4.0)
    run_A, surge = rng.uniform(20, 95), rng.uniform(1.3, 3.0)
    while at < length_s:
        lasts = rng.uniform(3.0, 9.0)
        on = (t >= at) & (t < at + lasts)
        x[on] += run_A * (1 + (surge - 1) * np.exp(-(t[on] - at) / 0.25))
        at += lasts + rng.uniform(2.0, 6.0)
    return t, x * (1 + 0.004 * np.sin(t * rng.uniform(0.5, 3)) + rng.normal(0, 0.002, len(t)))


def fill_in(plan: Plan, shown: Shown, values: np.ndarray, every_s: float, phase_s: float) -> None:
    """Let a display follow values: every so often it takes their mean, or one of them, and shows it later."""
    at = -plan.delay_s - every_s + phase_s
    while at < plan.length_s:
        span = (plan.signal_s >= at - (every_s if plan.mean else 0.011)) & (plan.signal_s <= max(at, 0.0))
        value = float(values[span].mean()) if span.any() else float(values[0])
        shown.from_s.append(at + plan.delay_s)
        shown.texts.append(as_shown(shown, value))
        at += every_s


def as_shown(shown: Shown, value: float) -> str:
    """Return a value as glyphs, the point among them; blanks lead it."""
    text = f"{value:.{shown.decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    room = shown.digits + (1 if shown.decimals else 0)
    return text.rjust(room)[-room:]


def plan_of(seed: int, *, length_s: float = 14.0) -> Plan:
    """Return the film of a seed."""
    rng = np.random.default_rng([seed, 20_261])
    kind = str(rng.choice(["led", "led", "lcd", "lcd", "dim lcd"]))
    plan = Plan(seed, kind, float(rng.choice([24, 25, 29.97, 30, 50, 60])), length_s)
    plan.yaw_deg, plan.pitch_deg = rng.uniform(-25, 25), rng.uniform(-25, 25)
    plan.roll_deg, plan.fill = rng.uniform(-4, 4), rng.uniform(0.5, 0.85)
    plan.blur_px, plan.noise = rng.uniform(0.3, 1.6), rng.uniform(1, 5)
    plan.codec = str(rng.choice(["mp4v", "MJPG", "XVID"]))
    plan.delay_s, plan.mean = rng.uniform(0.05, 0.9), bool(rng.random() < 0.5)
    _light(plan, rng)
    signed = bool(rng.random() < 0.25)
    plan.signal_s, plan.signal_A = draw_of(rng, length_s, signed=signed)
    build = BUILDS[int(rng.integers(len(BUILDS)))]
    amps = Shown("current_A", 4, int(rng.choice([1, 2])) if plan.signal_A.max() < 95 else 1, 17, 12, 8, build, signed)
    volts = Shown("voltage_V", 4, 2, 17, 12, 36, build)
    every_s = rng.uniform(0.35, 1.0)
    if signed:
        amps.digits = 5
        amps.decimals = 1
    if build.pitch * amps.height_mm * amps.digits > 76:
        amps.height_mm = volts.height_mm = 13.0
    fill_in(plan, amps, plan.signal_A, every_s, rng.uniform(0, every_s))
    fill_in(plan, volts, 25.6 - 0.012 * plan.signal_A, every_s, rng.uniform(0, every_s))
    plan.shown = [amps, volts]
    _in_the_way(plan, rng)
    return plan


#: When the pump of the demo's film runs. [s]
DEMO_RUNS_S = ((8.3, 22.0), (34.6, 50.2), (62.1, 76.7))


def demo_plan() -> Plan:
    """Return a film of a demo: three runs of a pump over a standing draw, small and slow so that it is soon drawn."""
    plan = Plan(77, "led", 5.0, 85.0, size=(320, 180), fill=0.85, noise=1.5, moved=0.01, yaw_deg=8.0)
    t = plan.signal_s = np.arange(0, plan.length_s, 0.01)
    plan.signal_A = np.full(len(t), 2.1)
    for start_s, stop_s in DEMO_RUNS_S:
        on = (t >= start_s) & (t < stop_s)
        plan.signal_A[on] += 72 * (1 + 1.2 * np.exp(-(t[on] - start_s) / 0.25))
    plan.shown = [
        Shown("current_A", 4, 1, 20, 10, 6, BUILDS[0]),
        Shown("voltage_V", 4, 2, 20, 10, 34, BUILDS[0]),
    ]
    for shown, values in zip(plan.shown, (plan.signal_A, 25.6 - 0.012 * plan.signal_A), strict=True):
        fill_in(plan, shown, values, every_s=0.5, phase_s=0.13)
    return plan


def _light(plan: Plan, rng: np.random.Generator) -> None:
    if plan.kind == "led":
        plan.ground, plan.contrast = rng.uniform(12, 60), rng.uniform(110, 240)
        plan.ghost, plan.bloom = rng.uniform(0, 0.06), rng.uniform(0.05, 0.4)
        colours = [(0.15, 0.15, 1.0), (0.2, 1.0, 0.3), (1.0, 0.5, 0.2), (0.1, 0.65, 1.0), (0.9, 0.95, 1.0)]
        plan.colour = colours[int(rng.integers(len(colours)))]
        if rng.random() < 0.65:
            plan.flicker_Hz = rng.uniform(50, 400)
            plan.exposure_s = min(rng.uniform(0.004, 0.02), 0.9 / plan.fps)
            plan.readout_s = min(rng.uniform(0.01, 0.03), 0.95 / plan.fps)
        plan.hand_level = rng.uniform(20, 120)
        return
    plan.ground = rng.uniform(105, 190)
    plan.contrast = -rng.uniform(26, 45) if plan.kind == "dim lcd" else -rng.uniform(55, 95)
    plan.ghost, plan.bloom, plan.response_s = rng.uniform(0, 0.12), 0.0, rng.uniform(0.02, 0.1)
    plan.colour = (0.9, 1.0, 0.95)
    plan.noise = min(plan.noise, 3.0)
    plan.hand_level = rng.uniform(60, 170)


def _in_the_way(plan: Plan, rng: np.random.Generator) -> None:
    if rng.random() < 0.6:
        a = rng.uniform(1.5, plan.length_s - 4)
        # from, to, where it comes from (an angle), and how far over the panel it gets
        plan.hand.append((a, a + rng.uniform(1.0, 2.5), rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 1.2)))
    for _ in range(int(rng.integers(0, 3))):
        a = rng.uniform(0, plan.length_s - 2)
        strong = rng.random() < 0.4
        lasts = rng.uniform(1, 2.5) if strong else plan.length_s
        x, y = rng.uniform(0.2, 0.8, 2)
        peak = rng.uniform(70, 260) if strong else rng.uniform(10, 55)
        plan.glare.append((a if strong else 0.0, a + lasts, x, y, rng.uniform(20, 90), peak))


def odd_plan(seed: int) -> Plan:
    """Return the film of a seed with digits of any usual build, narrow to wide, and boxes drawn badly."""
    plan, rng = plan_of(seed), np.random.default_rng([seed, 5])
    width = rng.uniform(0.45, 0.68)
    build = Build(
        width=width,
        stroke=min(rng.uniform(0.08, 0.2), 0.36 * width),
        gap=rng.uniform(0.005, 0.03),
        ends=str(rng.choice(["pointed", "mitred", "round"])),
        slant=float(np.tan(np.radians(rng.uniform(0, 15)))),
        pitch=width * rng.uniform(1.1, 1.7),
        tailless=bool(rng.random() < 0.3),
        hooked=bool(rng.random() < 0.3),
    )
    plan.badly = True
    for shown in plan.shown:
        shown.build = build
        shown.height_mm = min(17.0, 76 / (build.pitch * shown.digits))
    return plan


def in_turn_plan(seed: int, *, by_letter: bool, length_s: float = 14.0) -> Plan:
    """Return a film of one display that shows amps and volts in turn, some seconds each.

    They are told by a letter in the last place, or by values that have nothing in common.
    """
    plan = plan_of(seed, length_s=length_s)
    rng = np.random.default_rng([seed, 4])
    plan.signal_A = np.abs(plan.signal_A) * 19 / np.abs(plan.signal_A).max()
    values = {"current_A": plan.signal_A, "voltage_V": 25.6 - 0.05 * plan.signal_A}
    one = plan.shown[0]
    shown = Shown("current_A", 5 if by_letter else 4, 2, one.height_mm, one.left_mm, one.top_mm, one.build)
    if by_letter:
        shown.letters = {"current_A": "A", "voltage_V": "U"}
    else:
        shown.ranges = {"current_A": (0.0, 20.0), "voltage_V": (22.0, 30.0)}
    turn_s = rng.uniform(1.6, 2.4)
    each = {name: Shown(name, 4, 2, 0.0, 0.0, 0.0, one.build) for name in values}
    for name, one_of in each.items():
        fill_in(plan, one_of, values[name], 0.4, 0.0)
    for k, at in enumerate(each["current_A"].from_s):
        name = ("current_A", "voltage_V")[int(max(at, 0.0) // turn_s) % 2]
        shown.from_s.append(at)
        shown.texts.append(each[name].texts[k] + shown.letters.get(name, ""))
        shown.quantities.append(name)
    if one.build.pitch * shown.height_mm * shown.digits > 76:
        shown.height_mm = 13.0
    plan.shown = [shown]
    return plan
