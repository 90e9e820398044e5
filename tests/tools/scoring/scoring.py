"""Hold what the folds find in a scene against its truth.

A true run counts (is `fair`) if it and the rests on both sides of it last at least three intervals between readings,
no gap lies within it or within three readings of its ends, at least half of its draw reaches the shunt, and it looks
like the load's (`scenes` says when not). An interval is the usual spacing, or the longest one right around the run's
ends where that is longer. Runs that are too short for that are scored apart.

A run's charge has two fair readings, and what lies between them counts as right: what the load itself took, and what
flowed more than without it. They differ where other loads draw more amps because the load makes the volts sag.

A found run is right if start and stop are within two intervals (at least 1 s) of a fair run's. It is false if it is
not right, unless all it overlaps are runs that do not count. A run found without an end counts as its start.
"""

from dataclasses import dataclass, field

import numpy as np
from readings import T0_US, US, fed
from scenes import Scene

from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.readings.log_facts import LogFacts

#: Rests and runs must last so many intervals; ends may be off by so many; but by 1 s in any case.
LEAST_INTERVALS, WITHIN_INTERVALS, WITHIN_S = 3, 2, 1.0
#: Less than this share of a run's draw at the shunt is not held to be found. Common sense, no source.
LEAST_SEEN = 0.5
#: With more than this share of it at the shunt, the array gave nothing worth speaking of.
ALL_SEEN = 0.97
#: A cycle's charge is to be within this share, or its own interval.
CHARGE_SHARE = 0.03


@dataclass
class Score:
    """One scene's result; times from the log's start [s]."""

    scene: Scene
    detected: list = field(default_factory=list)
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
    def others_found(self):
        """Of the runs that do not count, how many there are and how many were found within two intervals."""
        apart = [k for k in range(len(self.scene.runs)) if k not in self.fair]
        return len(apart), sum(bool(_right(self, k, range(len(self.detected)))) for k in apart)

    @property
    def attempts_found(self):
        """How many attempts there were, and how many were found, to two intervals or 1 s."""
        starts_s = [(a.start_us - T0_US) / US for a in self.cycles.attempts]
        within = max(WITHIN_INTERVALS * self.scene.spacing_s, WITHIN_S)
        return len(self.scene.attempts), sum(
            any(abs(at - start) <= within for at in starts_s) for start, _ in self.scene.attempts
        )

    @property
    def charge_errors(self):
        """Relative error of each matched run's charge (energy behind an inverter), and whether it is as stated."""
        return [self.charge_error(k, j) for k, j in self.matched.items()]

    def charge_error(self, k, j):
        """Return a matched run's relative error, and whether that is within 3 % or the cycle's own interval."""
        true, cycle = self.scene.runs[k], self.cycles.cycles[j]
        by_energy = self.scene.how.side == "ac" or "current_A" not in self.scene.chunk.quantities
        above, full = (true.energy_Wh, true.full_Wh) if by_energy else (true.charge_Ah, true.full_Ah)
        got, u95 = (cycle.energy_Wh, cycle.energy_u95_Wh) if by_energy else (cycle.charge_Ah, cycle.charge_u95_Ah)
        if got is None:
            return np.inf, False
        low, high = sorted((above, full if true.seen > ALL_SEEN else above))
        truth = min(max(got, low), high)
        is_right = abs(got - truth) <= max(CHARGE_SHARE * truth, u95 or 0.0)
        if cycle.array_may_share:  # then it is stated as a lower bound
            is_right = got <= (1 + CHARGE_SHARE) * full
        return got / truth - 1, is_right

    @property
    def alarms(self):
        """The codes that want something done or watched."""
        return {code for code, severity in self.codes.items() if severity != "note"}

    @property
    def findings_right(self):
        """Whether the log gives what it has to, and no alarm that is not true."""
        return self.scene.must <= set(self.codes) and self.alarms <= self.scene.must | self.scene.may


def analysed(scene: Scene):
    """Do with a scene what the tool does with a log: its cycles and its findings."""
    rows, spacing_s = len(scene.chunk), scene.how.usual_interval_s
    facts = LogFacts(
        *(scene.name, None, scene.how.side, scene.how.sampling, scene.how.gap_limit_s, spacing_s),
        *("UTC", False, False, "simulated", rows, rows, 0, 0),
    )
    fold = LogAnalysis(facts, scene.how, set(scene.chunk.quantities), site=scene.site)
    report = fed(fold, scene.chunk).result()
    return report.cycles, report.findings


def score(scene: Scene) -> Score:
    """Score one scene."""
    cycles, findings = analysed(scene)
    made = Score(scene, cycles=cycles, codes={f.code: f.severity for f in findings})
    for cycle in cycles.cycles:
        stop = np.nan if cycle.stop_us is None else (cycle.stop_us - T0_US) / US
        made.detected.append(((cycle.start_us - T0_US) / US, stop))
    made.fair = [k for k in range(len(scene.runs)) if is_fair(scene, k)]
    _match(made)
    made.false = [j for j in range(len(made.detected)) if _is_false(made, j)]
    return made


def interval_s(scene: Scene, at_s: float) -> float:
    """Return the spacing of readings around an instant: the usual one, or the longest of the three nearest. [s]."""
    time_s = scene.time_s
    k = int(np.clip(np.searchsorted(time_s, at_s), 2, len(time_s) - 2))
    return max(float(np.diff(time_s[k - 2 : k + 2]).max()), scene.spacing_s)


def is_fair(scene: Scene, k: int) -> bool:
    """Tell whether a true run counts."""
    run, time_s = scene.runs[k], scene.time_s
    if run.seen < LEAST_SEEN or not run.sure or run.stop_s >= time_s[-1]:
        return False
    reach = [LEAST_INTERVALS * interval_s(scene, at) for at in (run.start_s, run.stop_s)]
    before = scene.runs[k - 1].stop_s if k else time_s[0]
    after = scene.runs[k + 1].start_s if k + 1 < len(scene.runs) else time_s[-1]
    if run.start_s - before < reach[0] or after - run.stop_s < reach[1] or run.stop_s - run.start_s < max(reach):
        return False
    return all(b <= run.start_s - reach[0] or a >= run.stop_s + reach[1] for a, b in scene.gaps)


def _right(made: Score, k: int, among) -> list[int]:
    """Return which of the found runs have start and stop right for a true one."""
    run = made.scene.runs[k]
    within = [max(WITHIN_INTERVALS * interval_s(made.scene, at), WITHIN_S) for at in (run.start_s, run.stop_s)]
    starts_stops = [(j, *made.detected[j]) for j in among]
    return [j for j, a, b in starts_stops if abs(a - run.start_s) <= within[0] and abs(b - run.stop_s) <= within[1]]


def _match(made: Score) -> None:
    free = set(range(len(made.detected)))
    for k in made.fair:
        if right := _right(made, k, free):
            made.matched[k] = min(right, key=lambda j: abs(made.detected[j][0] - made.scene.runs[k].start_s))
            free.discard(made.matched[k])


def _is_false(made: Score, j: int) -> bool:
    """Tell whether a found run is neither right nor over runs that do not count."""
    if j in made.matched.values():
        return False
    start, stop = made.detected[j]
    within = max(WITHIN_INTERVALS * interval_s(made.scene, start), WITHIN_S)
    stop = start + within if np.isnan(stop) else stop
    over = [k for k, run in enumerate(made.scene.runs) if run.start_s <= stop + within and run.stop_s >= start - within]
    return not over or all(k in made.fair for k in over)


def shown(made: Score) -> str:
    """Return truth beside what was found, line by line."""
    scene = made.scene
    lines = [f"{scene.name}:{scene.seed}  {scene.description}, {len(scene.chunk)} readings, {len(scene.gaps)} gaps"]
    lines.append(f"must {sorted(scene.must)}  may {sorted(scene.may)}  found {made.codes}")
    lines += [f"attempt {a:10.2f} {b - a:6.2f} s" for a, b in scene.attempts]
    for k, run in enumerate(scene.runs):
        verdict = "right" if k in made.matched else "MISSED" if k in made.fair else "not counted"
        line = f"true  {run.start_s:10.2f} to {run.stop_s:10.2f} ({run.stop_s - run.start_s:8.2f} s) {verdict}"
        line += "" if run.seen > 0.95 else f", {run.seen:.0%} seen"
        if k in made.matched:
            error = made.charge_error(k, made.matched[k])
            line += f", charge {error[0]:+.1%}{'' if error[1] else ' OFF'}"
        near = [j for j, (a, b) in enumerate(made.detected) if a <= run.stop_s and not b < run.start_s]
        if k in made.missed:
            line += "  found there: " + "; ".join(f"{a:.2f} to {b:.2f}" for a, b in (made.detected[j] for j in near))
        lines.append(line)
    for j in made.false:
        cycle = made.cycles.cycles[j]
        draw = cycle.run_A if cycle.run_A is not None else cycle.run_W
        lines.append(f"FALSE {made.detected[j][0]:10.2f} to {made.detected[j][1]:10.2f}, draw {draw:.3g}")
    for name, runs in scene.others.items():
        lines.append(f"other {name}: " + ", ".join(f"{a:.1f}-{b:.1f}" for a, b in runs[:40]))
    return "\n".join(lines)
