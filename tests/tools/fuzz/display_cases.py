"""Display profiles of wrong shapes, and the pictures of a display that they are said to be of."""

from __future__ import annotations

import random
import tomllib
from functools import cache
from pathlib import Path

from film_drawing import one_display_toml, stills_of
from film_plans import demo_plan

from .case import Case
from .damage import bytes_damaged
from .law import run_commands
from .toml_cases import lines_moved, values_changed, written

#: So many stills, so far apart. [s]
_STILLS, _APART_S = 4, 2.0
#: What a display says beside the demo's own: another letter, a range, a size, a picture, a place behind it.
_MORE = (
    "picture = [1280, 720]\n", 'meter = "x"\n', 'sampling = "held"\n', "delay_s = 1e9\n", "picture = [0, 0]\n",
    '[[fields]]\nunit = "A"\ncorners = [[0, 0], [1, 0], [1, 1], [0, 1]]\ndigits = 1\n',
    '[[fields]]\ncorners = [[9, 9], [99, 9], [99, 99], [9, 99]]\ndigits = 4\nin_turn = [\n'
    '{ unit = "A", decimals = 1, between = [0, 9] }, { unit = "V", letter = "U", decimals = 1 } ]\n',
)  # fmt: skip


@cache
def _stills() -> dict[str, bytes]:
    return {f"stills/{name}": still for name, still in stills_of(demo_plan(), _STILLS, _APART_S).items()}


def make(rng: random.Random) -> Case:
    """Return a wrong display profile, whole or damaged stills, and the command that reads them."""
    text = one_display_toml(demo_plan()) + (rng.choice(_MORE) if rng.random() < 0.3 else "")
    match rng.randrange(5):
        case 0:
            wrong = bytes_damaged(text.encode(), rng, 6)
        case 1:
            wrong = lines_moved(text, rng).encode()
        case _:
            wrong = written(values_changed(tomllib.loads(text), rng)).encode("utf-8", "replace")
    files = _stills() | {"d.toml": wrong}
    if rng.random() < 0.2:
        name = rng.choice(sorted(_stills()))
        files[name] = bytes_damaged(files[name], rng, 6)
    film = ["stills", "--display", "d.toml", "--every", "2s"]
    start = ["--start", "2026-06-13T10:30:05", "--zone", "UTC"]
    read, drawn = ["convert", *film, *start, "--out", "log.parquet", "--json"], ["look", *film, "--out", "boxes.png"]
    rejects = "log.parquet.rejects.csv"
    known = {"may_write": ["log.parquet", rejects, "boxes.png"], "may_leave": [rejects]}
    return Case("display", files=files, calls=[drawn if rng.random() < 0.3 else read], known=known)


def run(case: Case, folder: Path) -> str:
    """Run the command and return how it ended."""
    return "/".join(str(result["status"]) for result in run_commands(case, folder))
