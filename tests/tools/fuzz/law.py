"""The law for a command: a result, or one plain sentence and status 2 or 3; nothing harmed, nothing left behind."""

from __future__ import annotations

import hashlib
import json
import os
import re
import traceback
import warnings
from contextlib import chdir
from math import isfinite
from pathlib import Path
from typing import Any
from unittest import mock

from exporting import shuntbook
from terminals import obeyed

from .case import Case

#: A sentence that is longer is not read. [characters]
SENTENCE_MOST = 1500
_PROGRAMMERS = re.compile(r"Traceback|\b[A-Z]\w*(?:Error|Exception|Warning)\b|\bNone\b|<class |0x[0-9a-f]{6,}|pydantic")


class Fault(AssertionError):  # noqa: N818 - what is looked for, told by its name
    """A case that breaks the law."""


def run_commands(case: Case, folder: Path) -> list[dict[str, Any]]:
    """Run a case's commands in a folder; return what each gave.

    Raises
    ------
    Fault
        With the command and what is wrong.
    """
    case.write_files(folder)
    results = []
    with chdir(folder), mock.patch.dict(os.environ, {"SHUNTBOOK_DEBUG": "1", "TZ": "UTC"}):
        for arguments in case.calls:
            before = snapshot(Path())
            results.append(_run(arguments))
            results[-1]["new"] = _files_kept(arguments, results[-1]["status"], before, case.known)
    return results


def _run(arguments: list[str]) -> dict[str, Any]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            status, out, err = shuntbook(*arguments)
    except Exception:
        raise Fault(f"{' '.join(arguments)}\n{traceback.format_exc()}") from None
    transcript = f"{' '.join(arguments)}: status {status}\n{out[:2000]}\n{err[:2000]}"
    if status not in (0, 2, 3):
        raise Fault(transcript)
    if status:
        _one_sentence(err, transcript)
        if out and not _is_question(out, arguments):
            raise Fault(f"says something on stdout although it failed: {transcript}")
    for text in (out, err):
        if strange := obeyed(text.encode(errors="surrogatepass")):
            raise Fault(f"prints control characters {sorted(map(ord, strange))}: {transcript!r}")
    document = _document(out, transcript) if status == 0 and "--json" in arguments else None
    return {"status": status, "out": out, "err": err, "document": document}


def _is_question(out: str, arguments: list[str]) -> bool:
    """Tell whether it is what `convert` asks, for a program that can answer it: the one result of what came to none."""
    try:
        return "--json" in arguments and json.loads(out).keys() == {"question"}
    except ValueError:
        return False


def _one_sentence(err: str, transcript: str) -> None:
    lines = [line for line in err.splitlines() if line and not line.startswith("note: ")]
    wrong = (
        not any(line.startswith("shuntbook: ") for line in lines)
        or (len(lines) > 1 and not all(re.match(r"(shuntbook: )?[\w./-]+\.toml(:\d+)?: ", line) for line in lines))
        or any(len(line) > SENTENCE_MOST for line in lines)
        or _PROGRAMMERS.search(err)
    )
    if wrong:
        raise Fault(f"no plain sentence: {transcript}")


def _document(out: str, transcript: str) -> Any:
    def refuse(word: str) -> None:
        raise Fault(f"{word} in JSON: {transcript}")

    try:
        document = json.loads(out, parse_constant=refuse)
    except ValueError as error:
        raise Fault(f"no JSON document ({error}): {transcript}") from None
    _finite(document, transcript)
    return document


def _finite(node: Any, transcript: str) -> None:
    if isinstance(node, float) and not isfinite(node):
        raise Fault(f"not finite: {transcript}")
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        _finite(inner, transcript)


def snapshot(folder: Path) -> dict[str, str]:
    """Return a digest of each file under a folder, hidden ones too."""
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
        for path in folder.rglob("*")
    }


def _files_kept(arguments: list[str], status: int, before: dict[str, str], known: dict[str, Any]) -> set[str]:
    """Check that inputs are as they were; return the names of what is new."""
    after, may_change = snapshot(Path()), set(known.get("may_change", ()))
    harmed = {name for name, digest in before.items() if after.get(name) != digest} - may_change
    if harmed:
        raise Fault(f"{' '.join(arguments)}: changed or removed {sorted(harmed)}, status {status}")
    new = after.keys() - before.keys()
    allowed = set(known.get("may_write", ())) if status == 0 else set(known.get("may_leave", ()))
    if stray := new - allowed - may_change:
        raise Fault(f"{' '.join(arguments)}: left {sorted(stray)} behind, status {status}")
    return new
