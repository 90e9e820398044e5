"""The modules of the house as trees of their syntax: each parsed and walked once a process, however many laws ask."""

import ast
from functools import cache
from pathlib import Path

import pytest

#: Tests that walk all of the house share one process, and so what was parsed.
OF_ALL_MODULES = pytest.mark.xdist_group("syntax")


@cache
def tree(path: Path) -> ast.Module:
    """Return what a module says; whoever asks leaves it as it is."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Return everything in a module, however deep."""
    return tuple(ast.walk(tree(path)))
