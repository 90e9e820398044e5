"""Render films of displays with known truth, read them, and measure: seconds read, wrong values, Ah in the interval.

Seeds below 1000 are for tuning the reader, those above for judging it. Without options 40 films are judged.
"""

import argparse
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from film_drawing import display_toml, write_film
from film_plans import Plan, Shown, plan_of

from shuntbook.ingest.film.display import load_display
from shuntbook.ingest.film.film_export import FilmExport
from shuntbook.ingest.film.frames import open_film

#: A frame at the very change shows the one or the other. [s]
CHANGE_S = 0.12
JUDGED_FROM = 1000


@dataclass
class Outcome:
    """What came of one film."""

    seed: int
    kind: str
    clear: int = 0
    read: int = 0
    accepted: int = 0
    wrong: list[str] = field(default_factory=list)
    why: Counter = field(default_factory=Counter)


def shown_values(shown: Shown, time_s: float) -> set[float]:
    """Return what a display shows about a time: one value, two where it changes."""
    return {float(shown.text_at(at)) for at in (time_s - CHANGE_S, time_s, time_s + CHANGE_S)}


def measure(plan: Plan, film: Path, profile: Path) -> Outcome:
    """Read a film and hold it against what was shown."""
    display = load_display(profile)
    export = FilmExport(open_film(str(film), None), display, zone="UTC", start=None)
    outcome = Outcome(plan.seed, plan.kind)
    seconds: dict[str, set[int]] = {shown.quantity: set() for shown in plan.shown}
    for batch in export.batches():
        time_s = batch.readings.time_us / 1e6
        for shown in plan.shown:
            values = batch.readings.quantities[shown.quantity]
            for at, value in zip(time_s, values, strict=True):
                if np.isnan(value):
                    continue
                outcome.accepted += 1
                seconds[shown.quantity].add(int(at))
                if not any(abs(value - true) < 1e-9 for true in shown_values(shown, at)):
                    outcome.wrong.append(f"{at:.2f} s {value:g} for {shown.text_at(at)}")
    clear = plan.clear_seconds()
    outcome.clear = len(clear) * len(plan.shown)
    outcome.read = sum(second in seconds[shown.quantity] for shown in plan.shown for second in clear)
    outcome.why = export.why
    return outcome


def filmed(seed: int, folder: Path, length_s: float = 14.0) -> tuple[Plan, Path, Path]:
    """Return the plan of a seed, its film and its display profile, made where they are not there yet."""
    plan = plan_of(seed, length_s=length_s)
    film = folder / f"film_{seed}.{'mp4' if plan.codec == 'mp4v' else 'avi'}"
    if not film.exists():
        write_film(plan, folder)
    profile = folder / f"display_{seed}.toml"
    profile.write_text(display_toml(plan), encoding="utf-8")
    return plan, film, profile


def total(outcomes: list[Outcome]) -> str:
    """Return the measure of several films in a sentence."""
    clear, read = sum(o.clear for o in outcomes), sum(o.read for o in outcomes)
    accepted, wrong = sum(o.accepted for o in outcomes), sum(len(o.wrong) for o in outcomes)
    return (
        f"{len(outcomes)} films: {read} of {clear} clear seconds read ({100 * read / max(clear, 1):.2f} %); "
        f"{wrong} wrong of {accepted} accepted values"
    )


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--films", type=int, default=40, help="how many")
    parser.add_argument("--first", type=int, default=JUDGED_FROM, help="seed of the first")
    parser.add_argument("--folder", type=Path, help="where films are left for the next time; default: nowhere")
    options = parser.parse_args()
    outcomes = []
    with tempfile.TemporaryDirectory() as spare:
        folder = options.folder or Path(spare)
        for seed in range(options.first, options.first + options.films):
            plan, film, profile = filmed(seed, folder)
            outcome = measure(plan, film, profile)
            outcomes.append(outcome)
            if options.folder is None:
                film.unlink()
            print(f"{seed} {plan.kind}: {outcome.read}/{outcome.clear} seconds, {outcome.accepted} values", end="")
            print(f", WRONG {outcome.wrong[:3]}" if outcome.wrong else "", flush=True)
            if outcome.read < outcome.clear:
                print(f"    {outcome.why.most_common(3)}")
    print(total(outcomes))
    return 0
