"""A little of `python tests/tools exports`: some files of every style come out right, asked, refused or said wrong."""

import importlib
import subprocess
import sys

import numpy as np
import pytest
from exports.damage import DAMAGES
from exports.judging import Judgement, judge
from exports.known_wrong import KNOWN_WRONG
from exports.readings import Truth, gap_limit_s, readings, trapezoid
from exports.sheet import STYLES, Export, export, plain
from exports.tally import EVERY, Case, Tally, cases_of, judged, keep
from places import TOOLS

SEED = 16
#: How many files of a style must not be wrong, by day and by night.
FEW = [1, pytest.param(6, marks=pytest.mark.night)]
#: Among how many files of a style known to be wrong a wrong one must be.
AMONG = 6


def silently_wrong(style, count):
    """What is said of those files of a style that are wrong in silence, or end in a fault of ours."""
    for number in range(count):
        judgement = judged(Case(style, SEED, number))
        if judgement.verdict in ("wrong and silent", "broken"):
            yield f"{style} {number}: {judgement.verdict}: {judgement.sentence}"


@pytest.mark.parametrize("few", FEW)
@pytest.mark.parametrize("style", sorted(EVERY.keys() - KNOWN_WRONG.keys()))
def test_no_style_is_wrong_in_silence(style, few):
    """Right, asked, refused, or its rejects said."""
    assert list(silently_wrong(style, few)) == []


@pytest.mark.parametrize("style", sorted(KNOWN_WRONG))
def test_what_is_known_to_be_wrong_is_so_still(style):
    """A style that has come right leaves the table."""
    assert next(silently_wrong(style, AMONG), None), f"{style} is right now: take it out of KNOWN_WRONG"


def test_the_table_names_styles_that_exist():
    """None that was renamed or taken out."""
    assert KNOWN_WRONG.keys() <= EVERY.keys()
    assert STYLES.keys().isdisjoint(DAMAGES)


def test_a_trapezoid_by_hand():
    """Split at zero, and a gap left out."""
    t_s, amps = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0]), np.array([3.0, 3.0, -3.0, -3.0, 3.6, 3.6])
    truth = trapezoid(t_s, amps)
    cut = 10 * 3.6 / 6.6
    assert truth.drawn == pytest.approx((30 + 7.5 + cut * 1.8 + 36) / 3600)
    assert truth.returned == pytest.approx((7.5 + 30 + (10 - cut) * 1.5) / 3600)
    assert gap_limit_s(np.array([0.0, 1.0, 2.0])) == 10
    assert trapezoid(np.array([0.0, 5.0, 10.0, 900.0]), np.full(4, 36.0), limit_s=25).drawn == pytest.approx(0.1)


@pytest.fixture
def log():
    """What a meter read."""
    return readings(np.random.default_rng(5), zone="UTC")


def test_right_wrong_and_refused_are_told_apart(log, tmp_path):
    """The same file beside its truth, beside another one, and where it should have been refused."""
    whole = export(log, plain(log))
    assert judge(whole, tmp_path).verdict == "right"
    for wrong in (export(log, plain(log), truth=Truth(1.0, 2.0)), export(log, plain(log), want="refuse")):
        judgement = judge(wrong, tmp_path)
        assert judgement.verdict == "wrong and silent"
        assert "took current_A from 'Current (A)'" in judgement.sentence
    other = export(log, plain(log), truth=Truth(1.0, 2.0), also_right=(log.truth,))
    assert judge(other, tmp_path).verdict == "right"


def test_a_question_is_answered_and_rejects_are_heard(log, tmp_path):
    """An option that is named is given; a row that was rejected excuses what it spoils."""
    rows = "".join(f"0{day}/06/2026 10:00,1.5\n" for day in range(1, 5))
    asked = Export(("Time,Current (A)\n" + rows).encode(), Truth(0.0, 0.0), ("--zone", "UTC"), {"--dates": "d/m/y"})
    asked.options += ("--gap", "48h")
    asked.truth = Truth(1.5 * 72, 0.0)
    judgement = judge(asked, tmp_path)
    assert judgement.verdict == "asked"
    assert "--dates" in judgement.sentence
    content = plain(log).content([*plain(log).lines(), "2026-06-13 10:00:00,rubbish,25.0"])
    assert judge(Export(content, Truth(1.0, 2.0), ("--zone", "UTC")), tmp_path).verdict == "wrong and said"
    refused = judge(Export(b"nothing at all\n", Truth(1.0, 2.0)), tmp_path)
    assert refused.verdict == "refused"


def test_files_are_the_same_each_time_and_are_kept(tmp_path):
    """By style, seed and number; the wrong ones with what was said of them."""
    first, second = cases_of(["date_t_clock", "pauses"], 3, 7)[::2]
    assert (first.name, second.name) == ("date_t_clock_7_0", "date_t_clock_7_1")
    assert first.export().content == first.export().content != second.export().content
    tally = Tally()
    tally.add(first, judged(first))
    assert (tally.whole["right"], tally.worth_reading) == (1, [])
    keep([(first, judged(first))], tmp_path)
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".csv", ".txt"]
    assert list(tally.rows())[-1].split()[:2] == ["all", "1"]


@pytest.fixture
def command(monkeypatch, capsys):
    """The command, in this process, with the options it is given."""
    command = importlib.import_module("exports.__main__")

    def run(*options):
        monkeypatch.setattr(sys, "argv", ["exports", *options])
        return command.main(), capsys.readouterr().out

    return run


def test_the_command_counts_by_style_in_processes_of_its_own(tmp_path):
    """And has nothing to keep where all is right."""
    options = ["--count", "2", "--style", "pauses", "--keep", str(tmp_path)]
    done = subprocess.run([sys.executable, str(TOOLS), "exports", *options], capture_output=True, text=True, check=True)
    assert "2 files in" in done.stdout
    assert list(tmp_path.iterdir()) == []


def test_the_command_prints_and_keeps_what_is_wrong_and_ends_with_1(command, monkeypatch, tmp_path):
    """What is wrong in silence, and refusals where they are wanted too."""
    verdicts = {"pauses": "wrong and silent", "header_again": "refused"}

    def tally_of(cases, *, processes):
        tally = Tally()
        for case in cases:
            tally.add(case, Judgement(verdicts[case.style], "so it is"))
        return tally

    monkeypatch.setattr("exports.__main__.tally_of", tally_of)
    options = ("--count", "2", "--style", "pauses", "--style", "header_again", "--keep", str(tmp_path))
    status, text = command(*options)
    assert (status, len(list(tmp_path.iterdir()))) == (1, 2)
    assert "pauses_1_0: wrong and silent: so it is" in text
    assert "refused: so it is" not in text
    assert "header_again_1_0: refused: so it is" in command(*options, "--refused")[1]
    monkeypatch.setitem(verdicts, "pauses", "right")
    assert command(*options)[0] == 0
