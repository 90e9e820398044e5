"""Render films of displays with known truth, read them, and measure: seconds read, wrong values, Ah in the interval.

Seeds below 1000 are for tuning the reader, those above for judging it. Without options 40 films are judged.
"""

import argparse
import csv
import io
import json
import tempfile
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from film_disturbances import DISTURBANCES
from film_disturbed import disturbed
from film_drawing import display_toml, write_film
from film_frames import States, at_most, read_states, told_of_states
from film_plans import Plan, in_turn_plan, plan_of

from shuntbook.cli.main import run
from shuntbook.ingest.film.frames import HIDDEN_S

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
    true_Ah: float = 0.0
    read_Ah: float = 0.0
    low_Ah: float = 0.0
    high_Ah: float = 0.0
    failed: str = ""

    @property
    def holds(self) -> bool:
        """Whether the interval holds what flowed; of a film that gives no Ah it does not."""
        return not self.failed and self.low_Ah <= self.true_Ah <= self.high_Ah


def measure(plan: Plan, film: Path, profile: Path) -> Outcome:
    """Convert a film and hold the log against what was shown, and its Ah against what flowed."""
    log = film.with_name(f"{film.stem}.parquet")
    outcome = Outcome(plan.seed, plan.kind, clear=len(plan.clear_seconds()) * len(plan.shown))
    try:
        call("convert", str(film), "--display", str(profile), "--out", str(log), "--force")
    except CommandError as error:
        outcome.failed = str(error)
        return outcome
    table = pq.read_table(log)
    time_s = table.column("time").cast("int64").to_numpy() / 1e6
    seconds: dict[str, set[int]] = {shown.quantity: set() for shown in plan.shown}
    for name, shown in [(name, one) for one in plan.shown for name in one.names]:
        for at, value in zip(time_s, table.column(name).to_pylist(), strict=True):
            if value is None:
                continue
            outcome.accepted += 1
            seconds[shown.quantity].add(int(at))
            if not any(abs(value - true) < 1e-9 for true in shown.values_at(name, at, CHANGE_S)):
                outcome.wrong.append(f"{at:.2f} s {value:g} for {shown.text_at(at)}")
    clear = plan.clear_seconds()
    outcome.read = sum(second in seconds[shown.quantity] for shown in plan.shown for second in clear)
    rejects = log.with_name(log.name + ".rejects.csv")
    if rejects.exists():
        with rejects.open(encoding="utf-8", newline="") as file:
            outcome.why = Counter(row["reason"] for row in csv.DictReader(file))
    amps = np.flatnonzero(table.column("current_A").is_valid().to_numpy())
    try:
        net = json.loads(call("charge", str(log), "--json"))["charge"]
    except CommandError as error:
        outcome.failed = str(error)
        return outcome
    outcome.true_Ah = flowed_Ah(plan, time_s[amps])
    outcome.read_Ah, outcome.low_Ah, outcome.high_Ah = (net[f"net{key}_Ah"] for key in ("", "_low", "_high"))
    return outcome


def flowed_Ah(plan: Plan, at_s: np.ndarray) -> float:
    """Return what flowed in the time that readings at these instants stand for. [Ah]"""
    spans = list(pairwise(at_s.tolist()))
    # What was hidden for longer than the log's gap limit is not counted, and told. The first of means, and one after a
    # gap, stands for the usual time before it.
    usual_s = float(np.median(np.diff(at_s))) if plan.mean and len(at_s) > 1 else 0.0
    begins = [at_s[0], *(b for a, b in spans if b - a > HIDDEN_S)] if len(at_s) else []
    spans = [(a, b) for a, b in spans if b - a <= HIDDEN_S] + [(b - usual_s, b) for b in begins]
    return sum(plan.true_Ah(b) - plan.true_Ah(a) for a, b in spans)


class CommandError(Exception):
    """What a command of ours says that it refuses."""


def call(*words: str) -> str:
    """Run a command of ours, and return what it prints."""
    out, told = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(told):
        status = run(list(words))
    if status:
        raise CommandError(f"{words[0]}: {' '.join(told.getvalue().split())}")
    return out.getvalue()


def filmed(seed: int, folder: Path, length_s: float = 14.0, in_turn: str = "") -> tuple[Plan, Path, Path]:
    """Return the plan of a seed, its film and its display profile, made where they are not there yet.

    With `in_turn` it is one display that shows amps and volts in turn, told by ``letter`` or by ``range``.
    """
    plan = plan_of(seed, length_s=length_s)
    if in_turn:
        plan, folder = in_turn_plan(seed, by_letter=in_turn == "letter", length_s=length_s), folder / in_turn
        folder.mkdir(exist_ok=True)
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
    charged = [outcome for outcome in outcomes if not outcome.failed]
    width = 100 * float(np.median([_width(outcome) for outcome in charged])) if charged else float("nan")
    limit = 100 * at_most(wrong, accepted)
    return (
        f"{len(outcomes)} films: {read} of {clear} clear seconds read ({100 * read / max(clear, 1):.2f} %); "
        f"{wrong} wrong of {accepted} accepted values, at most {limit:.3f} % (95 %); "
        f"Ah within the interval in {sum(o.holds for o in outcomes)} "
        f"films, whose half is {width:.0f} % of what flowed, at the median"
        + (f"; {len(outcomes) - len(charged)} failed" if len(charged) < len(outcomes) else "")
    )


def _width(outcome: Outcome) -> float:
    return (outcome.high_Ah - outcome.low_Ah) / 2 / max(abs(outcome.true_Ah), 1e-6)


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--films", type=int, default=40, help="how many")
    parser.add_argument("--first", type=int, default=JUDGED_FROM, help="seed of the first")
    parser.add_argument(
        "--in-turn", choices=["letter", "range"], default="", help="one display that shows two by turns"
    )
    parser.add_argument("--folder", type=Path, help="where films are left for the next time; default: nowhere")
    parser.add_argument("--states", type=int, help="no films: so many single states of each seed's displays")
    parser.add_argument("--odd", action="store_true", help="states of digits of any build, in boxes drawn badly")
    parser.add_argument("--only", metavar="NAME", help=f"one disturbance in degrees: {', '.join(DISTURBANCES)}, or all")
    parser.add_argument("--length", type=float, default=14.0, help="of each film [s]")
    options = parser.parse_args()
    if options.only:
        for name in DISTURBANCES if options.only == "all" else [options.only]:
            for degree, read in disturbed(name, options.first, options.films, options.length):
                print(f"{name} {degree}: {read}", flush=True)
        return 0
    if options.states:
        states = States()
        for seed in range(options.first, options.first + options.films):
            read_states(seed, options.states, states, odd=options.odd)
            print(f"{seed}: {told_of_states(states)}", flush=True)
        print(*states.wrong, sep="\n")
        return 0
    outcomes = []
    with tempfile.TemporaryDirectory() as spare:
        folder = options.folder or Path(spare)
        for seed in range(options.first, options.first + options.films):
            plan, film, profile = filmed(seed, folder, options.length, in_turn=options.in_turn)
            outcome = measure(plan, film, profile)
            outcomes.append(outcome)
            if options.folder is None:
                film.unlink()
            print(
                f"{seed} {plan.kind}: {outcome.read}/{outcome.clear} seconds, {outcome.accepted} values"
                f", {outcome.read_Ah:.4f} Ah ({outcome.low_Ah:.4f} to {outcome.high_Ah:.4f}) for {outcome.true_Ah:.4f}",
                end="",
            )
            print(f", FAILED {outcome.failed}" if outcome.failed else "", end="")
            print(f", WRONG {outcome.wrong[:3]}" if outcome.wrong else "", flush=True)
            if outcome.read < outcome.clear:
                print(f"    {outcome.why.most_common(3)}")
    print(total(outcomes))
    return 0
