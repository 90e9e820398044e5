"""Score what is told of where returned charge came from, on made-up logs with a charger and with the sun alone.

Run it from the repository's root::

    python tests/tools score_sources                     every class, 20 seeds each
    python tests/tools score_sources --classes charger_off --seeds 100 --from-seed 500
    python tests/tools score_sources --show charger_by_day:3

A log is right where the charger's Ah are within 5 % of the truth or the truth lies in its interval, and the interval is
no wider than what came back (``width``: the median of its width over what came back). ``told`` counts the logs of which
some charge was called the charger's, more than 1 % of what came back.
"""

import argparse

import numpy as np
from scenes import make

from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.readings.log_facts import LogFacts

CLASSES = (
    "charger_no_array",
    "charger_at_night",
    "charger_by_day",
    "charger_in_clouds",
    "charger_into_the_night",
    "charger_off",
)


def report_of(scene):
    """Return the report of a scene's log."""
    names, made = set(scene.chunk.quantities), scene.how
    folds = SiteFolds(made, names, (), site=scene.site, zone=scene.returned.zone)
    rows = len(scene.chunk)
    spacing = (made.gap_limit_s, made.usual_interval_s)
    facts = LogFacts(scene.name, None, made.side, made.sampling, *spacing, "UTC", False, False, "", rows, rows, 0, 0)
    analysis = LogAnalysis(facts, made, names, site=scene.site, site_folds=folds)
    analysis.add(scene.chunk)
    return analysis.result()


def judged(name, seed):
    """Return what is told of one log beside the truth."""
    scene = make(name, seed)
    sources, true = report_of(scene).by_site.sources, scene.returned
    told, whole = sources.whole.charger_Ah, max(true.charger_Ah + true.sun_Ah, 1e-9)
    # What a meter's zero lets back is no charge of anybody's: it is let pass.
    off = abs(told.value - true.charger_Ah)
    within = told.low - 0.005 * whole <= true.charger_Ah <= told.high + 0.005 * whole
    return {
        "seed": seed,
        "true": true.charger_Ah,
        "sun": true.sun_Ah,
        "told": told,
        "right": off <= 0.05 * true.charger_Ah or within,
        "close": off <= 0.05 * max(true.charger_Ah, 0.02 * whole),
        "width": (told.high - told.low) / whole,
        "tells": told.value > 0.01 * whole,
        "spells": sources.spells,
    }


def row(name, logs):
    """Put a class's logs together in a line."""
    count = len(logs)
    right, close, tells = (sum(log[key] for log in logs) for key in ("right", "close", "tells"))
    width = np.median([log["width"] for log in logs])
    wrong = " ".join(str(log["seed"]) for log in logs if not log["right"])
    apart = " ".join(str(log["seed"]) for log in logs if not log["close"])
    return (
        f"{name:<24} {count:>4} {right / count:>7.1%} {close / count:>7.1%} {tells / count:>6.1%} {width:>6.1%}  "
        f"wrong: {wrong or 'none'}; further off than 5 %: {apart or 'none'}"
    )


def main(argv=None):
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--from-seed", type=int, default=0)
    parser.add_argument("--classes", default=",".join(CLASSES))
    parser.add_argument("--show", metavar="CLASS:SEED")
    options = parser.parse_args(argv)
    if options.show:
        name, seed = options.show.split(":")
        for key, value in judged(name, int(seed)).items():
            print(f"{key}: {value}")
        return 0
    print(f"{'class':<24} {'logs':>4} {'right':>7} {'5 %':>7} {'told':>6} {'width':>6}")
    for name in options.classes.split(","):
        seeds = range(options.from_seed, options.from_seed + options.seeds)
        print(row(name, [judged(name, seed) for seed in seeds]), flush=True)
    return 0
