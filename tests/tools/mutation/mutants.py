"""Change the code in small ways, one at a time, and see whether a test notices: mutation testing.

Run it from the repository's root::

    python tests/tools mutants                            every group, a sample of 150 changes of each
    python tests/tools mutants --groups charge,bank       some groups
    python tests/tools mutants --module analysis/bank/bank.py  some modules
    python tests/tools mutants --sample 0                 every change
    python tests/tools mutants --again FILE               survivors that the output of an earlier run names

What is changed is written in `mutations`. The tests of a group are collected once, in one process, and run once under
coverage to learn which of them pass over which line and how long they take. For each change a copy of that process is
forked, which takes the changed code in and runs the tests that pass over it, quick ones first, to the first failure.
A change is killed if a test fails, or if the tests take five times the processor time and 10 s more; it survives
otherwise, also where no test passes over it. Tests that take longer than ``--slowest`` seconds are left out, which can
only make the share killed smaller. Examples of hypothesis are the same in each run, and are not made small.

Printed are survivors as they are found, and a row a group: the share killed, with its 95 % interval (Wilson) where it
is a sample. `mutants_left.toml` lists the changes that make no difference, and why; they are not made. The command ends
with status 1 where a group's share is below 85 %.
"""

import argparse
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from importlib import import_module
from itertools import zip_longest
from multiprocessing import get_context
from pathlib import Path

import coverage
import pytest
from hypothesis import Phase, settings
from mutations import mutants, put_in
from places import ROOT
from scipy.stats import binomtest

KILLED_SHARE = 0.85
MEMORY_BYTES = 6 << 30
#: What the end of a fork says.
OUTCOMES = {0: "survived", 1: "killed", 2: "cannot be made", 3: "survived, no test"}
OUTCOMES |= {-signal.SIGXCPU: "timed out", -signal.SIGKILL: "timed out"}

#: Of each group the modules, the files of tests, both without what all have in common, and which tests of these.
GROUPS = {
    "charge": (
        "analysis/charge: charge amounts every_second; analysis/readings: integral energy_signals",
        "charge every_second plain_sums true_signals uncertainty folds",
        "not test_folds or charge and not asking",
    ),
    "instants": (
        "analysis/charge: instants ripple; analysis/cycles: in_step; analysis/readings: windows",
        "instants folds",
        "not test_folds or instants",
    ),
    "uncertainty": (
        "analysis/sureness: amount_intervals signal_errors; analysis/charge: error_facts "
        "hidden_crossings grouped_sums equal_readings; analysis/stats: interval95",
        "error_sums uncertainty distribution charge plain_sums true_signals instants display_delay folds",
        "not test_folds or charge and cut_anywhere",
    ),
    "steps": (
        "analysis/signal_levels: steps running_sums step_threshold plateau levels level_record",
        "steps levels runs_by_hand cycles on_off_path folds",
        "not test_folds or (steps or cycles) and cut_anywhere",
    ),
    "cycles": (
        "analysis/cycles: cycles on_off_path choose_load run_figures cycle cycle_figures failed_starts "
        "several_speeds rest_to_rest; analysis/signal_levels: inner_levels",
        "several_speeds rest_to_rest steps levels runs_by_hand cycles on_off_path start_lengths two_kinds too_brief "
        "from_array folds",
        "not test_folds or cycles and cut_anywhere",
    ),
    "brief_runs": (
        "analysis/signal_levels: bursts; analysis/sureness: too_brief; analysis/quality: brief_runs",
        "too_brief brief_runs levels runs_by_hand",
        "",
    ),
    "nameplate": (
        "analysis/nameplate: estimate decomposition plate_check lesson lesson_step lesson_back; analysis/equipment: "
        "plate_power inverter_losses",
        "nameplate decomposition measured_chain inverter lesson",
        "",
    ),
    "bank": (
        "analysis/bank: bank peukert resistance rested_state sag seen_starts draw limits system_word; "
        "analysis/equipment: bank_voltage judged; analysis/ledger: loads_use payback",
        "bank bank_limits bank_voltage battery_kinds loads_use payback resistance inverter forecast",
        "",
    ),
    "wear": (
        "analysis/bank: wear rested_state; analysis/ledger: falls; analysis/site: battery_kinds",
        "wear falls battery_kinds bank_voltage bank solar",
        "",
    ),
    "pump_pulse": (
        "analysis/pump_pulse: days fill_time flow flow_trend pulse pumped quiet; analysis/stats: lower_edge",
        "flow flow_trend quiet lower_edge pump_days",
        "",
    ),
    "cables": (
        "analysis/equipment: cable_choice conductor protection short_circuit; analysis/site: conductor_tables",
        "cable_choice conductor fuse_words worked_examples",
        "",
    ),
    "starts": (
        "analysis/equipment: demand motor_start modified_wave inverter_check; analysis/site: motor_kinds; "
        "analysis/check_site: feeding; analysis/what_if: start_change",
        "starts start_change inverter",
        "not is_what_happens",
    ),
    "what_if": (
        "analysis/what_if: cables changes replay tank_runs figures load_after sizes what_if",
        "worked_examples replay measured_after changes_asked other_supply start_change",
        "",
    ),
    "answer": (
        "analysis/one_log: energy_flow starts_together from_array; analysis/cycles: taken_by_load; "
        "analysis/several_logs: newest_state",
        "energy_flow starts_together sure_from_array taken_by_load newest_state",
        "",
    ),
    "amounts": (
        "ingest/exports/amounts: numbers number_forms around changes closing_row far_readings; "
        "ingest/exports: one_kind",
        "numbers around around_by_hand quantities rows_of_other_kinds one_kind unit_columns convert",
        "not 500_lines",
    ),
    "times": (
        "ingest/exports/times: stamps instants forms parts half_days count_units; "
        "ingest/exports/delimited: time_columns; ingest/exports: date_order zone_words",
        "stamps stamps_by_marks forms_of_time half_days dialects convert",
        "not 500_lines",
    ),
    "columns": (
        "ingest/exports/delimited: dialect header choice borne_out two_readings directions remarks rows; "
        "ingest/exports/questions: columns signs times units; "
        "ingest/exports: sections keep_profile; ingest/exports/texts: decode shape block_rows",
        "header_words dialects shapes borne_out two_readings directions remarks unit_columns lines_above sections "
        "keep_profile questions convert",
        "not 500_lines",
    ),
    "ingest": (
        "ingest/live: line_reader lines; ingest/profiles: serial_part; ingest/toml: amounts bounds edit repair",
        "toml_file bounds edit site_forms line_reader serial_lines",
        "",
    ),
    "gaps": (
        "ingest/log: gap_limit pauses restarts stored by_time; ingest/exports: log_again",
        "gap_limit pauses timeline restarts stored log_again",
        "",
    ),
    "film": (
        "ingest/film: display figures stands lost_digits; ingest/film/digit_places: straighten; "
        "analysis/charge: display_delay",
        "display stands straighten display_delay",
        "",
    ),
    "film_sources": (
        "ingest/film/pictures: film_file stills stream when_taken; ingest/film: frames",
        "odd_films stream when_taken frames",
        "",
    ),
    "notes": (
        "analysis/charge: noted; analysis/cycles: noted_runs dry_runs never_back",
        "noted dry_runs dry_runs_by_hand never_back",
        "",
    ),
}  # fmt: skip


def modules_of(group):
    """Return the paths of a group's modules from the root."""
    packages = (part.split(": ") for part in GROUPS[group][0].split("; "))
    return [f"{package}/{name}.py" for package, names in packages for name in names.split()]


def tests_of(group, stated):
    """Return the paths of the files of tests for a group."""
    return (
        [str(path) for name in GROUPS[group][1].split() for path in (ROOT / "tests").rglob(f"test_{name}.py")]
        if not stated.tests
        else stated.tests
    )


@dataclass
class Passes:
    """What the tests did with the code as it is: who passes over which line of a module, how long each took, faults."""

    over: dict = field(default_factory=dict)
    took_s: dict = field(default_factory=dict)
    failed: list = field(default_factory=list)

    def tests_over(self, mutant, slowest_s):
        """Return the tests to run for a mutant, quick ones first."""
        lines = self.over.get(mutant.module, {})
        names = {name for line in mutant.lines for name in lines.get(str(line), ())}
        if "" in names:  # it is run on import: whoever reads a constant passes over no line
            names = set(self.took_s)
        names -= {"", *self.failed}
        return sorted((n for n in names if self.took_s[n] <= slowest_s), key=lambda n: (self.took_s[n], n))


class Trial:
    """A plugin of pytest that takes its place once the tests are collected: it tries the mutants and keeps outcomes."""

    def __init__(self, mutants, sources, stated):
        self.mutants, self.sources, self.stated = mutants, sources, stated
        self.outcomes = []

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session):
        """Learn what tests pass over, then try every mutant in a fork of this process."""
        items = {item.nodeid: item for item in session.items}
        for path in self.sources:
            import_module(_dotted(path))
        passes = self._learn(session)
        took_s = sum(passes.took_s.values())
        _say(f"{len(items)} tests took {took_s:.0f} s under coverage; {len(self.mutants)} changes to try")
        for name in passes.failed:
            _say(f"fails without any change, and is left out: {name}")
        waiting, running = list(self.mutants)[::-1], {}
        while waiting or running:
            while waiting and len(running) < self.stated.jobs:
                mutant = waiting.pop()
                names = passes.tests_over(mutant, self.stated.slowest)
                limit_s = round(10 + 5 * sum(passes.took_s[n] for n in names))
                running[_forked(self._try, session, mutant, [items[name] for name in names], limit_s)] = mutant
            pid, status = os.wait()
            self._keep(running.pop(pid), OUTCOMES.get(os.waitstatus_to_exitcode(status), "broke the trial"))
        return True

    def _learn(self, session):
        """Run all tests in a fork, under coverage, and return what was seen."""
        with tempfile.NamedTemporaryFile() as file:
            _, status = os.waitpid(_forked(self._watch, session, Path(file.name)), 0)
            if status:
                raise SystemExit("the tests could not be run without any change")
            return Passes(**json.loads(Path(file.name).read_text(encoding="utf-8")))

    def _watch(self, session, file):
        seen = Passes()
        cover = coverage.Coverage(
            data_file=None, config_file=False, include=[str(ROOT / path) for path in self.sources]
        )
        cover.start()
        for path in self.sources:
            module = sys.modules[_dotted(path)]
            exec(compile(self.sources[path], module.__file__, "exec"), vars(module).copy())
        for item in session.items:
            cover.switch_context(item.nodeid)
            failed, began = session.testsfailed, time.process_time()
            _run(item, None)
            seen.took_s[item.nodeid] = time.process_time() - began
            seen.failed += [item.nodeid] if session.testsfailed > failed else []
        cover.stop()
        for path in self.sources:
            seen.over[path] = cover.get_data().contexts_by_lineno(str(ROOT / path))
        file.write_text(json.dumps(vars(seen)), encoding="utf-8")
        return 0

    def _try(self, session, mutant, items, limit_s):
        """Return the key of `OUTCOMES`."""
        resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s + 1))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        try:
            put_in(mutant, self.sources[mutant.module], sys.modules[_dotted(mutant.module)], list(sys.modules.values()))
        except Exception:
            return 2
        for item, after in zip_longest(items, items[1:]):
            _run(item, after)
            if session.testsfailed:
                return 1
        return 0 if items else 3

    def _keep(self, mutant, outcome):
        self.outcomes.append((mutant, outcome))
        if outcome not in {"killed", "timed out"} or self.stated.all:
            _say(f"{outcome}: {mutant}")


def _run(item, after):
    item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)


def _dotted(path):
    return "shuntbook." + path.removesuffix(".py").replace("/", ".")


def _forked(work, *arguments):
    """Start a fork that does some work silently and ends with the status it returns; return its id."""
    sys.stdout.flush()
    if pid := os.fork():
        return pid
    status = -1
    try:
        quiet = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(quiet, stream)
        status = work(*arguments)
    finally:
        os._exit(status)


def _say(text):
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def left_out():
    """Return the changes that make no difference, as (module, line's text, before, after)."""
    listed = tomllib.loads((Path(__file__).with_name("mutants_left.toml")).read_text(encoding="utf-8"))
    return {(m, row["line"], *row["change"]) for m, rows in listed.items() for row in rows}


def chosen(group, stated, named):
    """Return the mutants to try in a group, and the sources of its modules."""
    paths = [path for path in modules_of(group) if not stated.module or path in stated.module]
    sources = {path: (ROOT / path).read_text(encoding="utf-8") for path in paths}
    equal = left_out()
    made = [m for path in paths for m in mutants(sources[path], path)]
    made = [m for m in made if (m.module, m.text, m.before, m.after) not in equal]
    if named is not None:
        made = [m for m in made if str(m) in named]
    elif stated.sample and stated.sample < len(made):
        made = sorted(random.Random(stated.seed).sample(made, stated.sample), key=lambda m: (m.module, m.line))
    return made, sources


def tried(group, stated, named=None):
    """Try a group's mutants; return how many had which outcome, and how many there are."""
    made, sources = chosen(group, stated, named)
    if not made:
        return Counter()
    trial = Trial(made, sources, stated)
    with tempfile.TemporaryDirectory() as place:
        options = [
            "-n",
            "0",
            "-s",
            "-q",
            "--no-header",
            "--no-summary",
            f"--basetemp={place}/tests",
            f"--rootdir={ROOT}",
        ]
        options += ["-p", "no:cacheprovider", "--hypothesis-profile=mutants", "-o", "tmp_path_retention_policy=none"]
        options += [
            "-W",
            "ignore::pytest.PytestAssertRewriteWarning",
        ]  # hypothesis is imported already, for its profile
        options += ["-k", "" if stated.tests else GROUPS[group][2]]
        pytest.main([*options, *tests_of(group, stated)], plugins=[trial])
    return Counter(outcome for _, outcome in trial.outcomes)


def tried_apart(*arguments):
    """Try a group in a process of its own: the next one shall meet modules that nobody has loaded."""
    with ProcessPoolExecutor(1, mp_context=get_context("fork")) as pool:
        return pool.submit(tried, *arguments).result()


def row(group, outcomes):
    """Return a group's figures as they are printed, and the share killed."""
    made = outcomes.total() - outcomes["cannot be made"] - outcomes["broke the trial"]
    killed = outcomes["killed"] + outcomes["timed out"]
    survived = made - killed
    low, high = binomtest(killed, made).proportion_ci(method="wilson") if made else (0, 1)
    figures = f"{made:6}{killed:8}{outcomes['timed out']:11}{survived:10}{outcomes['survived, no test']:9}"
    return f"{group:<12}{figures}{killed / max(made, 1):9.1%}  {low:.1%} to {high:.1%}", killed / max(made, 1)


HEADING = f"{'group':<12}{'made':>6}{'killed':>8}{'timed out':>11}{'survived':>10}{'no test':>9}{'killed':>9}  95 %"


def options():
    """Return what the command may be told."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--groups", default=",".join(GROUPS), help=f"some of {', '.join(GROUPS)}")
    parser.add_argument("--module", nargs="*", default=[], help="some modules, as paths from the root")
    parser.add_argument("--tests", nargs="*", default=[], help="other files of tests than the group's own")
    parser.add_argument("--sample", type=int, default=150, help="changes tried in each group; 0 for all")
    parser.add_argument("--seed", type=int, default=1, help="for another sample")
    parser.add_argument("--again", type=Path, help="try only what this output of an earlier run names as survivors")
    parser.add_argument("--slowest", type=float, default=1.5, help="leave out tests that take longer [s]")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--all", action="store_true", help="print every outcome, not only survivors")
    return parser


def main():
    """Try the groups asked for, print the table, and return 1 where one falls short."""
    stated = options().parse_args()
    os.nice(10)
    os.environ.setdefault("PYTHONDONTWRITEBYTECODE", "1")
    base = settings(deadline=None, derandomize=True, database=None, phases=(Phase.explicit, Phase.generate))
    settings.register_profile("mutants", base)
    lines = stated.again.read_text(encoding="utf-8").splitlines() if stated.again else None
    named = None if lines is None else {line.split(": ", 1)[1] for line in lines if line.startswith("survived")}
    groups = [g for g in stated.groups.split(",") if not stated.module or set(stated.module) & set(modules_of(g))]
    _say(f"seed {stated.seed}, {f'{stated.sample} of each group' if stated.sample else 'all'}")
    rows = [row(group, tried_apart(group, stated, named)) for group in groups]
    _say(HEADING)
    for text, _ in rows:
        _say(text)
    return int(any(share < KILLED_SHARE for _, share in rows))
