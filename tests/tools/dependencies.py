"""Print what shuntbook needs to run, with version and licence.

``python tests/tools dependencies``: a row a package, those that only an extra needs marked. Versions are those of
constraints.txt, licences what the installed packages say of themselves.
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from places import ROOT

UNSTATED = "see its own licence file"
_WORDS = {"Apache Software License": "Apache-2.0", "BSD License": "BSD", "MIT License": "MIT"}


def pinned() -> dict[str, str]:
    """Return the versions of constraints.txt by name."""
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(name): version for name, version in pairs}


def needed() -> dict[str, str]:
    """Return every package that is needed to run, by name: "" if always, else the extras that need it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = dict.fromkeys(_closure(project["dependencies"]), "")
    for extra in ("film", "fleet", "pdf"):
        for name in _closure(project["optional-dependencies"][extra]):
            extras.setdefault(name, f"extra {extra}")
    return extras


def _closure(wanted: list[str]) -> list[str]:
    names: set[str] = set()
    waiting = [(Requirement(text), "") for text in wanted]
    while waiting:
        requirement, extra = waiting.pop()
        name = canonicalize_name(requirement.name)
        if requirement.marker is not None and not requirement.marker.evaluate({"extra": extra}):
            continue
        if name in names and not requirement.extras:
            continue
        try:
            needs = [Requirement(text) for text in distribution(name).requires or []]
        except PackageNotFoundError:
            continue  # of another system
        names.add(name)
        waiting += [(need, extra) for need in needs for extra in ("", *requirement.extras)]
    return sorted(names)


def licence(name: str) -> str:
    """Return what a package says of its licence: an expression, else a classifier, else a short text."""
    about = distribution(name).metadata
    if expression := about.get("License-Expression"):
        return str(expression)
    kinds = [line.split(" :: ")[-1] for line in about.get_all("Classifier") or [] if line.startswith("License ::")]
    text = ", ".join(_WORDS.get(kind, kind) for kind in kinds if kind != "OSI Approved")
    short = re.sub(r"\s+", " ", str(about.get("License") or "")).strip()
    return text or (short if 0 < len(short) < 40 else UNSTATED)


def rows() -> list[str]:
    """Return the table's lines."""
    versions = pinned()
    lines = ["| package | version | licence | |", "| --- | --- | --- | --- |"]
    return [*lines, *(f"| {n} | {versions.get(n, '?')} | {licence(n)} | {of} |" for n, of in sorted(needed().items()))]


def main() -> None:
    """Print the table."""
    print("\n".join(rows()))
