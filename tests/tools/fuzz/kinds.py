"""The kinds of cases there are, and a case made from seed and number."""

from __future__ import annotations

import importlib
import random
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, cast

from .case import Case

KINDS = ("csv", "toml", "display", "log", "serial", "modbus", "page")


class Kind(Protocol):
    """What a module of cases offers."""

    make: Callable[[random.Random], Case]
    run: Callable[[Case, Path], str]


def module(kind: str) -> Kind:
    """Return what makes and runs cases of a kind."""
    return cast("Kind", importlib.import_module(f".{kind}_cases", __package__))


def case_of(kind: str, seed: int, number: int) -> Case:
    """Return a case: the same for the same seed and number, whatever was made before."""
    case = module(kind).make(random.Random(f"{kind} {seed} {number}"))
    case.name = f"{seed} {number}"
    return case
