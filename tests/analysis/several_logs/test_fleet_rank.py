"""Which log of a fleet to look after first: the rule, and that nothing else decides."""

import random
import re

import pytest
from fleet_summaries import ORDER, found, log
from places import ROOT

from shuntbook.analysis.several_logs.fleet import URGENCY, counts_of, ranked
from shuntbook.cli.fleet.words import gist_of, in_short, state_of


def test_act_comes_before_watch_before_what_could_not_be_read_before_the_rest():
    """The groups stand in this order, whatever is in them, and are counted."""
    by_group = [summary.log for summary in ranked(ORDER)]
    assert [name[0] for name in by_group[5:]] == ["u", "t", "b", "c", "a", "d"]
    counts = counts_of(ORDER)
    assert (counts.logs, counts.act, counts.watch, counts.not_read, counts.unfinished, counts.sound) == (
        11,
        5,
        2,
        2,
        1,
        2,
    )


def test_urgency_then_number_then_starts_decide_within_a_group():
    """A dry pump before short runs; two findings before one; one with a watch beside it; then the most starts."""
    assert [summary.log for summary in ranked(ORDER)][:5] == [
        "z-dry",
        "y-short-twice",
        "w-short",
        "v-short",
        "x-short-often",
    ]


def test_a_log_whose_runs_could_not_be_judged_is_not_sound():
    """Where `cycles` says "not judged", so does the fleet: in its count, its table and what is said of the log."""
    open_log = log("b-slow", not_judged=("short_cycling", "leak_down", "prime_lost"))
    watched = log("c-low", found("low_voltage", "watch"), not_judged=("short_cycling",), worst="low_voltage was seen")
    some = log("d-tank", not_judged=("leak_down",))
    counts = counts_of([open_log, watched, some, log("a-sound")])
    assert (counts.watch, counts.not_judged, counts.sound) == (1, 1, 2)
    assert in_short(counts) == "4 logs: 1 to watch, 1 not judged, 2 with nothing to act on or to watch"
    assert [state_of(each) for each in (open_log, watched, some)] == ["not judged", "watch", "-"]
    assert gist_of(open_log) == "not judged: length of runs, number of starts; water leaking away and 1 more"
    assert gist_of(watched) == "low_voltage was seen; not judged: length of runs, number of starts"
    assert gist_of(some) == "not judged: water leaking away"


def test_a_note_does_not_lend_urgency():
    """What only limits a log is no reason to go there first."""
    noted = log("a", found("prime_lost", "note"), found("standing_draw", "watch"))
    assert ranked([noted, log("b", found("leak_down", "watch"))])[0].log == "b"


@pytest.mark.parametrize("seed", range(5))
def test_order_of_arrival_does_not_matter(seed):
    """Workers end in any order; the ranking is the same, and alike logs stand by name."""
    alike = [log(f"same-{k:02d}", found("leak_down", "watch")) for k in range(12)]
    shuffled = random.Random(seed).sample(ORDER + alike, len(ORDER + alike))
    assert ranked(shuffled) == ranked(ORDER + alike)
    assert [s.log for s in ranked(shuffled) if s.log.startswith("same")] == [s.log for s in alike]


def test_every_finding_has_its_urgency():
    """No code that a rule can give is missing from the list, and none stands there twice."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "analysis").rglob("*.py")))
    codes = set(re.findall(r'\bRule\(\s*"(\w+)"', text))
    assert len(codes) > 10
    assert codes == set(URGENCY)
    assert len(URGENCY) == len(set(URGENCY))
