"""Read films with one disturbance each, in rising strength, and tell at which it begins to cost values or to give wrong
ones.
"""

import subprocess
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path

from film_disturbances import DISTURBANCES, apart_of, calm_plan, pictures
from film_drawing import display_toml, write_film
from film_plans import Plan, Shown

from shuntbook.ingest.film.display import Display, load_display
from shuntbook.ingest.film.film_export import judged_frames
from shuntbook.ingest.film.frames import Film, open_film

#: A frame at the very change shows the one or the other; what fades slowly shows it so many times constants later. [s]
CHANGE_S, FADES = 0.12, 3.5
#: What is a jump: a change by so much of the larger value, to one that stands so long. [s]
JUMP, STANDS_S = 0.5, 0.5

#: What only displays of one kind do.
KINDS = {"fading": "lcd", "cold": "lcd"} | dict.fromkeys(("flicker", "drifting_flicker", "dimmed", "lit_room"), "led")
KINDS |= dict.fromkeys(("shadow", "negative", "dim_askew"), "lcd")


@dataclass
class Read:
    """What was read of films of one degree."""

    clear: int = 0
    read: int = 0
    accepted: int = 0
    wrong: list[str] = field(default_factory=list)
    jumps: int = 0
    delays_s: list[float] = field(default_factory=list)
    why: Counter = field(default_factory=Counter)

    def __str__(self) -> str:
        share = 100 * self.read / max(self.clear, 1)
        why = "; ".join(f"{reason} ({count})" for reason, count in self.why.most_common(2)) if share < 98 else ""
        wrong = f", WRONG {len(self.wrong)}: {self.wrong[:3]}" if self.wrong else ""
        late_s = max(self.delays_s, default=0.0)
        jumps = f"{len(self.delays_s)} of {self.jumps} jumps within {late_s:.2f} s"
        return f"{share:5.1f} % of {self.clear} clear seconds, {self.accepted} values, {jumps}{wrong}  {why}"


def jumps_of(plan: Plan, shown: Shown) -> Iterator[tuple[float, float, float]]:
    """Yield when a display jumps by half or more with nothing before it, until when that stands, and the new value."""
    clear = plan.clear_seconds()
    changes = zip(shown.from_s, map(float, shown.texts), strict=True)
    stands = [next(same) for _, same in groupby(changes, key=lambda change: change[1])]
    for (_, old), (start_s, new), (stop_s, _) in zip(stands, stands[1:], stands[2:], strict=False):
        far = abs(new - old) > JUMP * max(abs(new), abs(old))
        if far and stop_s - start_s >= STANDS_S and {int(start_s), int(stop_s)} <= set(clear):
            yield start_s, stop_s, new


def shown_about(plan: Plan, shown: Shown, time_s: float) -> set[float]:
    """Return what a display shows about a time: one value, more where it changes."""
    since_s = time_s - max(CHANGE_S, FADES * max(plan.response_s, plan.fades_s) + 1.5 * plan.doubled / plan.fps)
    after = [text for at, text in zip(shown.from_s, shown.texts, strict=True) if since_s < at <= time_s + CHANGE_S]
    return {float(shown.text_at(since_s)), *map(float, after)}


def read_film(plan: Plan, film: Film, display: Display, read: Read) -> None:
    """Read a film and add what came of it."""
    seconds: list[set[int]] = [set() for _ in plan.shown]
    taken: list[list[tuple[float, float]]] = [[] for _ in plan.shown]
    for moment in judged_frames(film, display):
        for n, (seen, shown) in enumerate(zip(moment, plan.shown, strict=True)):
            if seen.figure is None:
                read.why[seen.reason.replace(seen.glimpse.glyphs.strip(), "..")] += 1
                continue
            read.accepted += 1
            seconds[n].add(int(seen.time_s))
            taken[n].append((seen.time_s, seen.figure.value))
            true = shown_about(plan, shown, seen.time_s)
            if all(abs(seen.figure.value - one) > 1e-9 for one in true):
                read.wrong.append(f"{plan.seed} {seen.time_s:.2f} s {seen.figure.text} for {sorted(true)}")
    for shown, values in zip(plan.shown, taken, strict=True):
        for start_s, stop_s, new in jumps_of(plan, shown):
            read.jumps += 1
            late_s = (
                at - start_s for at, value in values if start_s - 0.05 <= at <= stop_s and abs(value - new) < 1e-9
            )
            read.delays_s += [first_s] if (first_s := next(late_s, None)) is not None else []
    clear = plan.clear_seconds()
    read.clear += len(clear) * len(plan.shown)
    read.read += sum(second in there for there in seconds for second in clear)


def film_of(plan: Plan, folder: Path) -> Film:
    """Return a film, through a codec where that is what disturbs it."""
    codec, plan.codec = plan.codec, "FFV1" if plan.codec.startswith("h264") else plan.codec
    if codec == "none":
        frames = list(pictures(plan))
        return Film("pictures", apart_of(plan), lambda: iter(frames))
    place = write_film(plan, folder)
    if codec.startswith("h264"):
        raw, place = place, folder / "h264.mp4"
        words = ["ffmpeg", "-v", "error", "-y", "-i", str(raw), "-c:v", "libx264", "-crf", codec.split()[1], str(place)]
        subprocess.run(words, check=True)
    return open_film(str(place), None)


def disturbed(
    name: str, first: int, films: int, length_s: float, degrees: Sequence | None = None
) -> Iterator[tuple[object, Read]]:
    """Yield each degree of a disturbance, and what was read of films that have it."""
    all_degrees, disturb = DISTURBANCES[name]
    with tempfile.TemporaryDirectory() as spare:
        for degree in degrees or all_degrees:
            read = Read()
            for seed in range(first, first + films):
                kind = KINDS.get(name, "led" if seed % 2 else "lcd")
                plan = calm_plan(seed, length_s=length_s, kind=kind)
                disturb(plan, degree)
                profile = Path(spare) / "display.toml"
                profile.write_text(display_toml(plan), encoding="utf-8")
                read_film(plan, film_of(plan, Path(spare)), load_display(profile), read)
            yield degree, read
