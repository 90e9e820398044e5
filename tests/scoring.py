"""Hold what the folds find in a scene against its truth.

A true run counts (is `fair`) if it and the rests on both sides of it last at least three intervals between readings,
no gap lies within it or within three readings of its ends, and at least half of its draw reaches the shunt. An interval
is the usual spacing, or the longest one right around the run's ends where that is longer.

A found run is right if start and stop are within two intervals (at least 1 s) of a fair run's. It is false if it is
not right, unless all it overlaps are runs that do not count. A run found without an end counts as its start.
"""

from dataclasses import dataclass, field

import numpy as np
from readings import T0_US, US, fed
from scenes import Scene

from shuntbook.analysis.cycles import CycleFold
from shuntbook.analysis.health import findings_of, limits_for
from shuntbook.analysis.log_analysis import watched_load

#: Rests and runs must last so many intervals; ends may be off by so many; but by 1 s in any case (the issue's figures).
LEAST_INTERVALS, WITHIN_INTERVALS, WITHIN_S = 3, 2, 1.0
#: Less than this share of a run's draw at the shunt is not held to be found. Common sense, no source.
LEAST_SEEN = 0.5
#: A cycle's charge is to be within this share, or its own interval.
CHARGE_SHARE = 0.03


@dataclass
class Score:
    """One scene's result; times from the log's start [s]."""

    scene: Scene
    found: list = field(default_factory=list)
    cycles: object = None
    fair: list = field(default_factory=list)
    matched: dict = field(default_factory=dict)  # index of the true run -> index of the found one
    false: list = field(default_factory=list)
    codes: dict = field(default_factory=dict)

    @property
    def missed(self):
        """Fair runs that were not found."""
        return [k for k in self.fair if k not in self.matched]

    @property
    def charge_errors(self):
        """Relative error of each matched run's charge (energy behind an inverter), and whether it is as stated."""
        return [error for k, j in self.matched.items() if (error := self._charge_error(k, j)) is not None]

    def _charge_error(self, k, j):
        true, cycle = self.scene.runs[k], self.cycles.cycles[j]
        truth, got, u95 = true.charge_Ah, cycle.charge_Ah, cycle.charge_u95_Ah
        if self.scene.how.side == "ac":
            truth, got, u95 = true.energy_Wh, cycle.energy_Wh, cycle.energy_u95_Wh
        if truth is None:
            return None
        if got is None:
            return np.inf, False
        error = got / truth - 1
        return error, abs(error) <= CHARGE_SHARE or (u95 is not None and abs(got - truth) <= u95)

    @property
    def alarms(self):
        """The codes that want something done or watched."""
        return {code for code, severity in self.codes.items() if severity != "note"}

    @property
    def findings_right(self):
        """Whether the log gives what it has to, and no alarm that is not true."""
        return self.scene.must <= set(self.codes) and self.alarms <= self.scene.must | self.scene.may


def analysed(scene: Scene):
    """Run the folds over a scene: its cycles and its findings."""
    quantities = set(scene.chunk.quantities)
    watched = watched_load(scene.site, None, scene.how, quantities)
    fold = CycleFold(scene.how, quantities, load=watched.name, expected=watched.expected)
    cycles = fed(fold, scene.chunk).result()
    findings = findings_of(cycles, limits_for(scene.site, watched.load), scene.how.usual_interval_s)
    return cycles, findings


def score(scene: Scene) -> Score:
    """Score one scene."""
    cycles, findings = analysed(scene)
    made = Score(scene, cycles=cycles, codes={f.code: f.severity for f in findings})
    for cycle in cycles.cycles:
        stop = np.nan if cycle.stop_us is None else (cycle.stop_us - T0_US) / US
        made.found.append(((cycle.start_us - T0_US) / US, stop))
    made.fair = [k for k in range(len(scene.runs)) if is_fair(scene, k)]
    _match(made)
    made.false = [j for j in range(len(made.found)) if _is_false(made, j)]
    return made


def interval_s(scene: Scene, at_s: float) -> float:
    """Return the spacing of readings around an instant: the usual one, or the longest of the three nearest. [s]."""
    time_s = scene.time_s
    k = int(np.clip(np.searchsorted(time_s, at_s), 2, len(time_s) - 2))
    return max(float(np.diff(time_s[k - 2 : k + 2]).max()), scene.spacing_s)


def is_fair(scene: Scene, k: int) -> bool:
    """Tell whether a true run counts."""
    run, time_s = scene.runs[k], scene.time_s
    if run.seen < LEAST_SEEN or run.stop_s >= time_s[-1]:
        return False
    reach = [LEAST_INTERVALS * interval_s(scene, at) for at in (run.start_s, run.stop_s)]
    before = scene.runs[k - 1].stop_s if k else time_s[0]
    after = scene.runs[k + 1].start_s if k + 1 < len(scene.runs) else time_s[-1]
    if run.start_s - before < reach[0] or after - run.stop_s < reach[1] or run.stop_s - run.start_s < max(reach):
        return False
    return all(b <= run.start_s - reach[0] or a >= run.stop_s + reach[1] for a, b in scene.gaps)


def _match(made: Score) -> None:
    scene, free = made.scene, set(range(len(made.found)))
    for k, run in enumerate(scene.runs):
        within = [max(WITHIN_INTERVALS * interval_s(scene, at), WITHIN_S) for at in (run.start_s, run.stop_s)]
        right = [
            j
            for j in free
            if abs(made.found[j][0] - run.start_s) <= within[0] and abs(made.found[j][1] - run.stop_s) <= within[1]
        ]
        if right and k in set(made.fair):
            best = min(right, key=lambda j: abs(made.found[j][0] - run.start_s))
            made.matched[k] = best
            free.discard(best)


def _is_false(made: Score, j: int) -> bool:
    """Tell whether a found run is neither right nor over runs that do not count."""
    if j in made.matched.values():
        return False
    start, stop = made.found[j]
    within = max(WITHIN_INTERVALS * interval_s(made.scene, start), WITHIN_S)
    stop = start + within if np.isnan(stop) else stop
    over = [k for k, run in enumerate(made.scene.runs) if run.start_s <= stop + within and run.stop_s >= start - within]
    return not over or all(k in made.fair for k in over)


def shown(made: Score) -> str:
    """Return truth beside what was found, line by line."""
    scene = made.scene
    lines = [f"{scene.name}:{scene.seed}  {scene.told}, {len(scene.chunk)} readings, {len(scene.gaps)} gaps"]
    lines.append(f"must {sorted(scene.must)}  may {sorted(scene.may)}  found {made.codes}")
    lines += [f"attempt {a:10.2f} {b - a:6.2f} s" for a, b in scene.attempts]
    for k, run in enumerate(scene.runs):
        verdict = "right" if k in made.matched else "MISSED" if k in made.fair else "not counted"
        line = f"true  {run.start_s:10.2f} to {run.stop_s:10.2f} ({run.stop_s - run.start_s:8.2f} s) {verdict}"
        line += "" if run.seen > 0.95 else f", {run.seen:.0%} seen"
        if k in made.matched and (error := made._charge_error(k, made.matched[k])) is not None:
            line += f", charge {error[0]:+.1%}{'' if error[1] else ' OFF'}"
        near = [j for j, (a, b) in enumerate(made.found) if a <= run.stop_s and not b < run.start_s]
        if k in made.missed:
            line += "  found there: " + "; ".join(f"{a:.2f} to {b:.2f}" for a, b in (made.found[j] for j in near))
        lines.append(line)
    for j in made.false:
        cycle = made.cycles.cycles[j]
        draw = cycle.run_A if cycle.run_A is not None else cycle.run_W
        lines.append(f"FALSE {made.found[j][0]:10.2f} to {made.found[j][1]:10.2f}, draw {draw:.3g}")
    for name, runs in scene.others.items():
        lines.append(f"other {name}: " + ", ".join(f"{a:.1f}-{b:.1f}" for a, b in runs[:40]))
    return "\n".join(lines)
