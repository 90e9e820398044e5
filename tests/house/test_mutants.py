"""Mutation testing itself: what is changed, that a change takes hold everywhere, and that a test's failure is seen."""

import ast
import subprocess
import sys
import types

import pytest
from mutants import GROUPS, ROOT, left_out, modules_of
from mutations import mutants, put_in

SNIPPET = '''"""A module."""

LIMIT_A: float = 5.0
LIMITS_A = (LIMIT_A, 9.0)


def over(current_A: float, factor: float = 2.0) -> bool:
    """Say whether."""
    if current_A < 0:
        raise ValueError(f"{current_A + 1} A")
    return current_A * factor > LIMITS_A[0]
'''


def test_the_changes_of_a_snippet():
    """Neither docstrings, annotations nor what is said on a refusal are changed."""
    assert [(m.line, m.before, m.after) for m in mutants(SNIPPET, "a.py")] == [
        (3, "5.0", "10.0"),
        (4, "9.0", "18.0"),
        (7, "2.0", "4.0"),
        (9, "current_A < 0", "current_A <= 0"),
        (9, "0", "1"),
        (11, "current_A * factor > LIMITS_A[0]", "current_A * factor >= LIMITS_A[0]"),
        (11, "current_A * factor", "current_A / factor"),
        (11, "0", "1"),
    ]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("a == 'held'", "a == 'held?'"),
        ("a and b", "a or b"),
        ("not a", "a"),
        ("min(a, b)", "max(a, b)"),
        ("a if b else c", "a if not b else c"),
        ("a[1:]", "a[2:]"),
        ("a.any()", "a.all()"),
        ("f(a, side='left')", "f(a, side='right')"),
        ("a is None", "a is not None"),
        ("a <= b < c", "a <= b <= c"),
        ("True", "False"),
    ],
)
def test_a_change(before, after):
    """Each is one of those that its code can undergo."""
    source = f"x = {before}"
    assert f"x = {after}" in [ast.unparse(m.tree(source)) for m in mutants(source, "a.py")]


@pytest.fixture
def module(tmp_path):
    """The snippet as a loaded module, and another one that holds what it offers."""
    made, user = types.ModuleType("made"), types.ModuleType("user")
    made.__file__, made.__spec__, made.__package__ = str(tmp_path / "made.py"), None, ""
    exec(SNIPPET, made.__dict__)
    user.over, user.LIMIT_A = made.over, made.LIMIT_A
    return made, user


@pytest.mark.parametrize(
    ("number", "current_A", "over"), [(0, 3.0, False), (2, 2.0, True), (5, 2.5, True), (6, 3.0, False)]
)
def test_a_change_takes_hold_for_those_who_hold_the_function(module, number, current_A, over):
    """2 x 3 A are over 5 A, not over 10 A; 4 x 2 A are over 5 A; 2 x 2.5 A are at 5 A; 3 A / 2 are below it."""
    made, user = module
    assert user.over(current_A) is not over
    put_in(mutants(SNIPPET, "a.py")[number], SNIPPET, made, [made, user])
    assert user.over(current_A) is over
    assert user.LIMIT_A is made.LIMIT_A


def test_a_failing_test_is_seen(tmp_path):
    """With one test for one line of a module, changes of that line are killed and those of other lines are not."""
    test = tmp_path / "test_one.py"
    test.write_text(
        "from shuntbook.analysis.bank.peukert import cold_multiplier\n"
        "def test_one():\n    assert cold_multiplier(27.0) == 1.0\n    assert cold_multiplier(0.0) > 1.3\n",
        encoding="utf-8",
    )
    command = [sys.executable, "tests/tools", "mutants", "--module", "analysis/bank/peukert.py", "--tests", str(test)]
    done = subprocess.run([*command, "--sample", "0", "--all"], capture_output=True, text=True, check=False, cwd=ROOT)
    lines = done.stdout.splitlines()
    assert done.returncode == 1, done.stdout + done.stderr
    assert any(
        line.startswith("killed") and line.endswith("temperature_degC * 1.8  ->  temperature_degC / 1.8")
        for line in lines
    )
    assert any(line.startswith("survived, no test") and "exponent" in line for line in lines)


def test_what_is_left_out_is_there():
    """Each change listed as making no difference is one that would be made."""
    listed = left_out()
    made = set()
    for path in {module for module, *_ in listed}:
        made |= {
            (m.module, m.text, m.before, m.after) for m in mutants((ROOT / path).read_text(encoding="utf-8"), path)
        }
    assert listed - made == set()


@pytest.mark.parametrize("group", GROUPS)
def test_a_group_names_what_is_there(group):
    """A module or a file of tests that was renamed would silently be changed, or run, no more."""
    assert [path for path in modules_of(group) if not (ROOT / path).is_file()] == []
    assert [name for name in GROUPS[group][1].split() if not any((ROOT / "tests").rglob(f"test_{name}.py"))] == []
