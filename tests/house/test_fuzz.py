"""A little of `python tests/tools fuzz`: some cases of each kind keep the law, and it notices what breaks it."""

import subprocess
import sys
from pathlib import Path

import pytest
from fuzz import law
from fuzz.case import Case, load
from fuzz.kinds import KINDS, case_of
from fuzz.law import Fault, run_commands
from fuzz.workers import run_case
from places import TOOLS

CASES = {"csv": 12, "toml": 6, "display": 3, "log": 5, "serial": 5, "modbus": 5, "page": 12}


@pytest.mark.parametrize("kind", KINDS)
def test_cases_keep_the_law(kind):
    """A result, or one plain sentence; nothing harmed, nothing made up."""
    for number in range(CASES[kind]):
        run_case(case_of(kind, 1000, number), alarm=False)


@pytest.mark.parametrize("kind", KINDS)
def test_a_case_comes_from_its_seed_and_number_and_can_be_kept(kind, tmp_path):
    """The same each time, and the same again from its file."""
    case = case_of(kind, 7, 3)
    assert case == case_of(kind, 7, 3)
    assert case != case_of(kind, 8, 3)
    kept = load(case.save(tmp_path))
    assert (kept.files, kept.calls, kept.chunks) == (case.files, case.calls, case.chunks)


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        ((1, "", "shuntbook: a fault of ours\n"), "status 1"),
        ((2, "", "shuntbook: one.\nshuntbook: two.\n"), "no plain sentence"),
        ((2, "", "shuntbook: KeyError: 'x'\n"), "no plain sentence"),
        ((2, "half", "shuntbook: no.\n"), "on stdout"),
        ((0, '{"a": NaN}', ""), "NaN in JSON"),
        ((0, "{}", "note: \x1b[31m\n"), "control characters"),
        ((0, "{} {}", ""), "no JSON document"),
    ],
)
def test_the_law_notices_what_breaks_it(monkeypatch, tmp_path, outcome, words):
    """A traceback, two sentences, an exception's name, numbers that JSON has not, and more."""
    monkeypatch.setattr(law, "shuntbook", lambda *arguments: outcome)
    with pytest.raises(Fault, match=words):
        run_commands(Case("csv", calls=[["convert", "--json"]]), tmp_path)


def test_the_law_notices_files_that_are_harmed_or_left(monkeypatch, tmp_path):
    """An input that is not what it was, and a file that nobody asked for."""
    for name, words in (("a.csv", "changed or removed"), (".a.part", "left")):
        monkeypatch.setattr(law, "shuntbook", lambda *_, name=name: (Path(name).write_text("x"), (0, "", ""))[1])
        with pytest.raises(Fault, match=words):
            run_commands(Case("csv", files={"a.csv": b"mine"}, calls=[["convert"]]), tmp_path)
        (tmp_path / name).unlink()


def test_a_row_that_was_not_damaged_must_come_out_as_it_went_in(tmp_path):
    """Readings that the log has otherwise are noticed."""
    case = next(
        case for n in range(50) if (case := case_of("csv", 5, n)).known.get("rows") and not case.known["touched"]
    )
    run_case(case, alarm=False)
    case.known["rows"][3][1] += 1.0
    with pytest.raises(Fault, match="1 changed by 0 damaged"):
        run_case(case, alarm=False)


def test_the_command_runs_cases_in_processes_of_their_own(tmp_path):
    """And says how they ended; nothing was found, so nothing is kept."""
    command = [
        sys.executable,
        str(TOOLS),
        "fuzz",
        "--kind",
        "csv",
        "--cases",
        "4",
        "--seed",
        "5",
        "--keep",
        str(tmp_path),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "csv: 4 cases in" in done.stdout
    assert "0 faults" in done.stdout
    assert list(tmp_path.iterdir()) == []
