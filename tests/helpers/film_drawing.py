"""Draw the films of the tests, frame by frame, and write them through a real codec."""

from pathlib import Path

import cv2
import numpy as np
from film_plans import Plan, Shown
from film_shapes import STROKES, outline, point_outline, slanted

PANEL_MM = (100.0, 60.0)


def homography(plan: Plan) -> np.ndarray:
    """Return the panel's millimetres to the picture's pixels, seen by a camera at an angle."""
    width, height = plan.size
    yaw, pitch, roll = np.radians([plan.yaw_deg, plan.pitch_deg, plan.roll_deg])
    turn_y = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
    turn_x = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
    turn_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    turned = turn_z @ turn_x @ turn_y
    focal = 1.1 * width
    far = focal * PANEL_MM[0] / (plan.fill * width)
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    centred = np.array([[1, 0, -PANEL_MM[0] / 2], [0, 1, -PANEL_MM[1] / 2], [0, 0, 1]])
    plane = np.stack([turned[:, 0], turned[:, 1], np.array([0, 0, far])], axis=1)
    return lens @ plane @ centred


def through(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Return points seen through a homography."""
    mapped = np.c_[points, np.ones(len(points))] @ matrix.T
    return mapped[:, :2] / mapped[:, 2:]


def corners_of(plan: Plan, shown: Shown) -> np.ndarray:
    """Return where a display's digits stand in the first frame, exactly: clockwise from the top left."""
    build, h = shown.build, shown.height_mm
    wide = (build.pitch * (shown.digits - 1) + build.width + build.slant) * h
    box = np.array([[0, 0], [wide, 0], [wide, h], [0, h]]) + np.array([shown.left_mm, shown.top_mm])
    return through(homography(plan), box)


def drawn_corners(plan: Plan, shown: Shown) -> np.ndarray:
    """Return the corners as a hand draws them."""
    rng = np.random.default_rng([plan.seed, shown.digits, 7, int(shown.top_mm)])
    exact = corners_of(plan, shown)
    high = np.linalg.norm(exact[3] - exact[0])
    if plan.badly:
        # A quarter too large or a twelfth too small at each side, in parts of the digits' height.
        left, right, top, foot = rng.uniform(-0.08, 0.25, 4)
        along, down = (side / np.linalg.norm(side) * high for side in (exact[1] - exact[0], exact[3] - exact[0]))
        exact = exact + np.outer([-left, right, right, -left], along) + np.outer([-top, -top, foot, foot], down)
    return exact + rng.uniform(-plan.sloppy, plan.sloppy, (4, 2)) * high


class Painter:
    """Paints one film; strokes are drawn once and lit frame by frame."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.rng = np.random.default_rng([plan.seed, 3])
        self.matrix = homography(plan)
        self.scene = self._scene()
        self.masks = [self._masks(shown) for shown in plan.shown]
        self._levels = [np.zeros(mask.shape[0]) for mask, _ in self.masks]
        self._time_s = 0.0
        self._shake = self.rng.uniform(-1, 1, (6, 3))
        self._slots = [self.rng.permutation(shown.digits) for shown in plan.shown]

    def _scene(self) -> np.ndarray:
        plan = self.plan
        width, height = plan.size
        rough = self.rng.normal(0, 1, (height // 8, width // 8, 1)).astype(np.float32)
        room = 40 if plan.kind == "led" else 95
        scene = np.full((height, width, 3), room, np.float32) + 14 * cv2.resize(rough, (width, height))[..., None]
        panel = np.array([[0, 0], [100, 0], [100, 60], [0, 60]], float)
        self._fill(scene, panel, 0.55 * room)
        for x, y in [(4, 4), (96, 4), (4, 56), (96, 56)]:
            self._fill(scene, np.array([x, y]) + 1.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]), 1.3 * room)
        for shown in plan.shown:
            glass = np.array([[-4, -4], [86, -4], [86, shown.height_mm + 4], [-4, shown.height_mm + 4]])
            self._fill(scene, glass + np.array([shown.left_mm, shown.top_mm]), plan.ground)
        return scene

    def _fill(self, scene: np.ndarray, outline_mm: np.ndarray, level: float) -> None:
        points = np.round(through(self.matrix, outline_mm) * 16).astype(np.int32)
        cv2.fillPoly(scene, [points], (level, level, level), cv2.LINE_AA, 4)

    def _masks(self, shown: Shown) -> tuple[np.ndarray, np.ndarray]:
        """Return a mask for each stroke and point of each digit, and the corner of the part of the picture."""
        exact = corners_of(self.plan, shown)
        low = np.maximum(exact.min(axis=0).astype(int) - 14, 0)
        high = np.minimum(exact.max(axis=0).astype(int) + 14, self.plan.size)
        masks = []
        for k in range(shown.digits):
            outlines = [outline(shown.build, stroke) for stroke in STROKES] + [point_outline(shown.build)]
            for points in outlines:
                leant = slanted(shown.build, points) + np.array([k * shown.build.pitch, 0])
                at = through(self.matrix, leant * shown.height_mm + [shown.left_mm, shown.top_mm])
                mask = np.zeros((4 * (high[1] - low[1]), 4 * (high[0] - low[0])), np.uint8)
                cv2.fillPoly(mask, [np.round((at - low + 0.5) * 4 * 16 - 8).astype(np.int32)], 255, cv2.LINE_AA, 4)
                masks.append(cv2.resize(mask, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA))
        return np.stack(masks).astype(np.float32) / 255, low

    def frame(self, k: int) -> np.ndarray:
        """Return a frame; they are asked for in order."""
        return self.picture(k / self.plan.fps)

    def picture(self, time_s: float) -> np.ndarray:
        """Return the picture at a time; they are asked for in order."""
        plan = self.plan
        picture = self.scene * np.float32(self._room(time_s) if plan.kind == "led" else 1.0)
        for n, shown in enumerate(plan.shown):
            self._light(picture, n, shown, time_s)
        self._time_s = time_s
        for resting in plan.rests:
            resting.on(picture)
        self._glare(picture, time_s)
        self._hand(picture, time_s)
        # An LCD has no light but the room's.
        gain = (1.0 if plan.kind == "led" else self._room(time_s)) * self._exposed(time_s)
        picture = self._moved(picture * np.float32(gain), time_s)
        picture = cv2.GaussianBlur(picture, (0, 0), plan.blur_px)
        noise = self.rng.normal(0, plan.noise, (*picture.shape[:2], 1)).astype(np.float32)
        return np.clip(picture + noise, 0, 255).astype(np.uint8)

    def _room(self, time_s: float) -> float:
        """Return which share of the room's light there is; a lamp takes two tenths of a second to come and go."""
        start, stop = self.plan.dark_s
        off = np.clip((time_s - start) / 0.2, 0, 1) * np.clip((stop + 0.2 - time_s) / 0.2, 0, 1)
        return float(1 - off * (1 - self.plan.dark_left))

    def _exposed(self, time_s: float) -> float:
        """Return how much more or less a camera exposes that hunts for the right light and never finds it."""
        return float(1 + self.plan.hunting * np.sin(2 * np.pi * time_s / 1.4))

    def _light(self, picture: np.ndarray, n: int, shown: Shown, time_s: float) -> None:
        plan, (masks, low) = self.plan, self.masks[n]
        wanted = self._wanted(shown, time_s)
        tau_s = np.where(wanted > self._levels[n], plan.response_s, plan.fades_s or plan.response_s)
        share = 1 - np.exp(-(time_s - self._time_s) / np.maximum(tau_s, 1e-9))
        self._levels[n] = wanted if time_s == 0 else self._levels[n] + share * (wanted - self._levels[n])
        levels = plan.ghost + (1 - plan.ghost) * self._levels[n]
        by_digit = np.einsum("dshw,ds->dhw", masks.reshape(-1, 8, *masks.shape[1:]), levels.reshape(-1, 8))
        rows = np.arange(masks.shape[1]) + low[1]
        if plan.flicker_Hz:
            by_digit = by_digit * self._flicker(n, shown, time_s, rows)[:, :, None]
        lit = by_digit.sum(axis=0)
        if plan.bloom:
            lit = lit + plan.bloom * cv2.GaussianBlur(lit, (0, 0), 6)
        h, w = lit.shape
        colour = np.array(plan.colour, np.float32)
        picture[low[1] : low[1] + h, low[0] : low[0] + w] += plan.contrast * lit[..., None] * colour

    def _wanted(self, shown: Shown, time_s: float) -> np.ndarray:
        wanted = np.zeros((shown.digits, 8))
        k = -1
        for glyph in shown.text_at(time_s):
            if glyph == ".":
                wanted[k, 7] = 1
                continue
            k += 1
            for stroke in shown.build.strokes(glyph):
                wanted[k, STROKES.index(stroke)] = 1
        return wanted.ravel()

    def _flicker(self, n: int, shown: Shown, time_s: float, rows: np.ndarray) -> np.ndarray:
        """Return how much light of each digit a row gathers while it is exposed, on average 1; shape (digits, rows)."""
        plan = self.plan
        opened = time_s + rows / plan.size[1] * plan.readout_s
        light = []
        for slot in self._slots[n]:
            start, share = (0.0, plan.duty) if plan.duty else (slot / shown.digits, 1 / shown.digits)
            a = opened * plan.flicker_Hz - start
            b = (opened + plan.exposure_s) * plan.flicker_Hz - start
            lit = (np.floor(b) + np.minimum(b % 1, share) / share) - (np.floor(a) + np.minimum(a % 1, share) / share)
            light.append(lit / (b - a))
        return np.array(light, np.float32)

    def _glare(self, picture: np.ndarray, time_s: float) -> None:
        height, width = picture.shape[:2]
        for start, stop, x, y, wide, peak in self.plan.glare:
            if start <= time_s < stop:
                gx = np.exp(-0.5 * ((np.arange(width) - x * width) / wide) ** 2)
                gy = np.exp(-0.5 * ((np.arange(height) - y * height) / wide) ** 2)
                picture += (peak * np.outer(gy, gx)[..., None]).astype(np.float32)

    def _hand(self, picture: np.ndarray, time_s: float) -> None:
        plan = self.plan
        width, height = plan.size
        for start, stop, angle, reach in plan.hand:
            if not start <= time_s < stop:
                continue
            part = (time_s - start) / (stop - start)
            # In, a rest, and out again.
            inward = reach * min(1.0, 3 * part, 3 * (1 - part))
            way = np.array([np.cos(angle), np.sin(angle)])
            tip = np.array([width, height]) / 2 + way * width * (0.75 - 0.75 * inward)
            end = tip + way * width
            colour = plan.hand_level * np.array([0.75, 0.9, 1.1])
            points = np.round([tip * 16, end * 16]).astype(int)
            cv2.line(picture, points[0], points[1], colour.tolist(), int(0.24 * width), cv2.LINE_AA, 4)

    def _moved(self, picture: np.ndarray, time_s: float) -> np.ndarray:
        plan = self.plan
        width, height = plan.size
        wave = np.array([np.sin(2 * np.pi * time_s / period) for period in (5.0, 8.3, 13.0)])
        first = self._shake[:3].T @ wave
        # A nudge: the tripod is touched.
        step = self._shake[3] * min(max((time_s - 0.45 * plan.length_s) / 0.3, 0.0), 1.0)
        drift, jolt = (plan.moved if share is None else share for share in (plan.drift, plan.jolt))
        x, y, roll = first * 0.25 * drift + step * 0.5 * jolt
        part = time_s / plan.length_s
        turn, zoom = np.degrees(roll) * 0.5 + plan.turn_deg * part, 1 + 0.1 * roll + plan.zoom * part
        matrix = cv2.getRotationMatrix2D((width / 2, height / 2), float(turn), float(zoom))
        matrix[:, 2] += np.array([x, y]) * width
        return cv2.warpAffine(picture, matrix, (width, height), borderMode=cv2.BORDER_REFLECT)


def write_film(plan: Plan, folder: Path) -> Path:
    """Write a film; return where it lies."""
    place = folder / f"film_{plan.seed}.{'mp4' if plan.codec == 'mp4v' else 'avi'}"
    writer = cv2.VideoWriter(str(place), cv2.VideoWriter_fourcc(*plan.codec), plan.fps, plan.size)
    if plan.codec == "MJPG":
        writer.set(cv2.VIDEOWRITER_PROP_QUALITY, 60)
    assert writer.isOpened()
    painter = Painter(plan)
    for k in range(round(plan.length_s * plan.fps)):
        writer.write(painter.frame(k))
    writer.release()
    return place


def _what(shown: Shown) -> str:
    if not shown.quantities:
        return f'unit = "{shown.quantity.rsplit("_", 1)[1]}"'
    each = []
    for name in shown.names:
        how = f'letter = "{shown.letters[name]}"' if shown.letters else f"between = {list(shown.ranges[name])}"
        each.append(f'{{ unit = "{name.rsplit("_", 1)[1]}", decimals = {shown.decimals}, {how} }}')
    return f"in_turn = [{', '.join(each)}]"


def display_toml(plan: Plan) -> str:
    """Return the display profile that a person would write for a film."""
    lines = [] if plan.mean else ['sampling = "held"', ""]
    for shown in plan.shown:
        corners = ", ".join(f"[{x:.0f}, {y:.0f}]" for x, y in drawn_corners(plan, shown))
        lines += ["[[fields]]", _what(shown), f"corners = [{corners}]", f"digits = {shown.digits}"]
        lines += [] if shown.quantities else [f"decimals = {shown.decimals}"]
        lines += [f'shows = "{"light" if plan.contrast > 0 else "dark"}"']
        lines += ["signed = true"] if shown.signed else []
        lines += [""]
    return "\n".join(lines)


def one_display_toml(plan: Plan) -> str:
    """Say where the first display alone stands: to find where its digits stand is what takes time."""
    return display_toml(plan).partition("\n\n")[0] + "\n"


def stills_of(plan: Plan, count: int, apart_s: float) -> dict[str, bytes]:
    """Return so many stills of a film, so far apart [s], by their names in order."""
    painter = Painter(plan)
    pictures = (painter.picture(k * apart_s) for k in range(count))
    return {f"{k}.png": cv2.imencode(".png", picture)[1].tobytes() for k, picture in enumerate(pictures)}
