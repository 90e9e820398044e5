"""The figures of the code, counted by hand on a few lines."""

import code_figures
import pytest
from code_figures import comments_to_100, figures_of, oddly_commented, too_large

MODULE = '''"""A module:

# no comment, but a line of its docstring.
"""

from math import (
    pi,  # noqa: F401
)

#: The limit. [A]
LIMIT_A = 5.0  # common practice, no source


def over(current_A: float) -> bool:
    """Say whether."""
    # a draw is positive
    text = "# no comment"
    return bool(text) and current_A > LIMIT_A
'''


@pytest.fixture
def module(tmp_path, monkeypatch):
    """The figures of a file."""
    monkeypatch.setattr(code_figures, "ROOT", tmp_path)
    path = tmp_path / "over.py"
    path.write_text(MODULE, encoding="utf-8")
    return figures_of(path)


def test_a_module_is_counted(module):
    """Three lines of an import, one of a constant, three of a function; three comments for people."""
    assert (module.name, module.lines, module.code, module.without_imports, module.comments) == ("over.py", 18, 7, 4, 3)
    assert list(module.functions.values()) == [3]
    assert comments_to_100([module]) == 75


def test_what_is_over_budget_is_told(module, monkeypatch):
    """A module and a function that are too long, and too many comments, but not of a package that is hardly one."""
    assert too_large("room", [module]) == []
    assert oddly_commented("room", [module]) == []
    monkeypatch.setattr(code_figures, "SMALL", 4)
    assert oddly_commented("room", [module]) == ["room: 75.0 comment lines to 100 of code, 5 to 15 are wanted"]
    monkeypatch.setattr(code_figures, "MODULE_MAX", 6)
    monkeypatch.setattr(code_figures, "FUNCTION_MAX", 2)
    assert [line.split(" has ")[1] for line in too_large("room", [module])] == [
        "7 lines, at most 6",
        "3 lines, at most 2",
    ]
