"""Score the cycles and findings on made-up logs, class by class.

Run it from the repository's root::

    python tests/tools score_cycles                           every class, 20 seeds each
    python tests/tools score_cycles --classes clouds,drift --seeds 5
    python tests/tools score_cycles --healthy 300             logs of places where nothing is wrong
    python tests/tools score_cycles --show clouds:3           truth beside what was found, for one log

What counts is written in `scoring`. Shown are precision and recall over the runs that count; the charge's error (median
and 95th percentile, and the share within 3 % or the cycle's own interval); the share of logs with the right findings
and no others; of the runs that do not count, and of the attempts, how many were found; the logs to look at.
`--from-seed` begins at another seed, for logs that nobody has tuned to.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from scenes import class_names, make
from scoring import score, shown


def tally(name, seed):
    """Return the numbers of one log, small enough to hand between processes."""
    try:
        made = score(make(name, seed))
    except Exception as error:  # a log that fails is a result too
        return {"name": name, "seed": seed, "error": f"{type(error).__name__}: {error}"}
    return {
        "name": name,
        "seed": seed,
        "fair": len(made.fair),
        "right": len(made.matched),
        "false": len(made.false),
        "apart": made.others_found,
        "attempts": made.attempts_found,
        "charge": made.charge_errors,
        "findings": made.findings_right,
        "must": sorted(made.scene.must),
        "codes": sorted(made.codes),
        "alarms": sorted(made.alarms),
        "readings": len(made.scene.chunk),
    }


def ratio(part, whole):
    """A share, or none of nothing."""
    return part / whole if whole else np.nan


def row(name, logs):
    """Put a class's logs together."""
    failed = [log for log in logs if "error" in log]
    logs = [log for log in logs if "error" not in log]
    fair, right, false = (sum(log[key] for log in logs) for key in ("fair", "right", "false"))
    errors = [abs(e) for log in logs for e, _ in log["charge"]]
    return {
        "name": name,
        "fair": fair,
        "precision": ratio(right, right + false) if fair or false else 1.0,
        "apart": [sum(log["apart"][k] for log in logs) for k in (0, 1)],
        "attempts": [sum(log["attempts"][k] for log in logs) for k in (0, 1)],
        "recall": ratio(right, fair),
        "charge_median": np.median(errors) if errors else np.nan,
        "charge_95": np.percentile(errors, 95, method="lower") if errors else np.nan,
        "charge_ok": ratio(sum(ok for log in logs for _, ok in log["charge"]), len(errors)),
        "findings": ratio(sum(log["findings"] for log in logs), len(logs)),
        "look_at": [_blame(log) for log in logs if log["false"] or log["right"] < log["fair"]]
        + [f"{log['seed']}!{log['error'][:60]}" for log in failed],
        "wrong_findings": [f"{log['seed']}:{'+'.join(log['codes']) or 'none'}" for log in logs if not log["findings"]],
    }


def _blame(log):
    return f"{log['seed']}(-{log['fair'] - log['right']}+{log['false']})"


def _of(pair):
    return f"{pair[1]}/{pair[0]}" if pair[0] else ""


def table(rows, *, findings=False):
    """Return the table as text."""
    head = (
        f"{'class':<16} {'runs':>5} {'prec.':>6} {'recall':>6}  {'charge error: med.':>18} {'95 %':>6} {'ok':>6} "
        f"{'findings':>8} {'apart':>9} {'attempts':>8}  logs to look at (-missed +false)"
    )
    lines = [head]
    for r in rows:
        lines.append(
            f"{r['name']:<16} {r['fair']:>5} {r['precision']:>6.3f} {r['recall']:>6.3f}  {r['charge_median']:>18.2%} "
            f"{r['charge_95']:>6.1%} {r['charge_ok']:>6.1%} {r['findings']:>8.0%} "
            f"{_of(r['apart']):>9} {_of(r['attempts']):>8}  {' '.join(r['look_at'][:8])}"
        )
    for key in ("precision", "recall", "charge_ok", "findings"):
        values = [r[key] for r in rows if not np.isnan(r[key])]
        if values:
            worst = min((r for r in rows if not np.isnan(r[key])), key=lambda r: r[key])
            lines.append(f"{key:<10} mean {np.mean(values):.4f}, worst {worst[key]:.4f} ({worst['name']})")
    if findings:
        lines += [f"{r['name']:<16} findings: {' '.join(r['wrong_findings'])}" for r in rows if r["wrong_findings"]]
    return "\n".join(lines)


def scored(names, seeds, jobs):
    """Score every seed of every class."""
    pairs = [(name, seed) for name in names for seed in seeds]
    if jobs == 1:
        logs = [tally(*pair) for pair in pairs]
    else:
        with ProcessPoolExecutor(jobs) as pool:
            logs = list(pool.map(tally, *zip(*pairs, strict=True), chunksize=4))
    return [row(name, [log for log in logs if log["name"] == name]) for name in names], logs


def healthy(count, jobs, first):
    """Score logs in which nothing is wrong: what is said of them all the same."""
    rows, logs = scored(["healthy"], range(first, first + count), jobs)
    loud = [log for log in logs if log.get("alarms")]
    lines = [table(rows), f"{len(loud)} of {count} healthy logs give a watch or act ({len(loud) / count:.2%})"]
    lines += [f"  healthy:{log['seed']} {' '.join(log['alarms'])}" for log in loud]
    return "\n".join(lines)


def main(argv=None):
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--from-seed", type=int, default=0)
    parser.add_argument("--classes", default="")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--healthy", type=int, default=0, metavar="LOGS")
    parser.add_argument("--findings", action="store_true", help="name the logs whose findings are wrong")
    parser.add_argument("--show", metavar="CLASS:SEED")
    options = parser.parse_args(argv)
    if options.show:
        name, seed = options.show.split(":")
        print(shown(score(make(name, int(seed)))))
    elif options.healthy:
        print(healthy(options.healthy, options.jobs, options.from_seed))
    else:
        names = options.classes.split(",") if options.classes else class_names()
        seeds = range(options.from_seed, options.from_seed + options.seeds)
        print(table(scored(names, seeds, options.jobs)[0], findings=options.findings))
    return 0
