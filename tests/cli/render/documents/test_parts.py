"""How results become JSON: every name in the tables is one, and what is missing or unknown keeps its keys."""

from __future__ import annotations

import ast
import io
import json
import math
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import cache

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from places import ROOT
from syntax import OF_ALL_MODULES, tree

from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.cli.render.documents.parts import KEYS, document_of, named, or_why, print_json

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters(exclude_categories=["C", "Z"])),
    lambda inner: st.lists(inner) | st.dictionaries(st.text("abc"), inner) | st.lists(inner).map(tuple),
    max_leaves=12,
)
MISSING = Missing("runtime", ("bank.capacity_Ah",))


@dataclass(frozen=True)
class Part:
    """A part of a result, known or not."""

    start_us: int | None
    figure: Within | Missing
    text: str = ""


@dataclass(frozen=True)
class Whole:
    """A result with a part, several, or none."""

    part: Part | None
    parts: tuple[Part, ...] = ()


@cache
def attributes() -> dict[str, set[str]]:
    """Return the fields and properties of every class of the analysis, by its name."""
    return {
        node.name: {
            each.target.id if isinstance(each, ast.AnnAssign) else each.name
            for each in node.body
            if (isinstance(each, ast.AnnAssign) and isinstance(each.target, ast.Name))
            or (isinstance(each, ast.FunctionDef) and "property" in map(ast.unparse, each.decorator_list))
        }
        for path in (ROOT / "analysis").rglob("*.py")
        for node in tree(path).body
        if isinstance(node, ast.ClassDef)
    }


@OF_ALL_MODULES
@pytest.mark.parametrize("name", KEYS)
def test_every_name_in_the_tables_is_an_attribute(name):
    """A class or field that is renamed is renamed there, too: whoever never meets it would not see the mistake."""
    first = {word.rpartition("=")[2].lstrip("*").partition(":")[0].partition(".")[0] for word in KEYS[name].split()}
    assert first <= attributes()[name]


def test_what_is_not_named_is_written_field_by_field():
    """Instants lose their ending, and all that is nested comes along."""
    whole = Whole(Part(0, Within(1.0, 0.5, 2.0)), (Part(None, MISSING),))
    assert document_of(whole) == {
        "part": {"start": "1970-01-01T00:00:00Z", "figure": {"value": 1.0, "low": 0.5, "high": 2.0}, "text": ""},
        "parts": [{"start": None, "figure": {"value": None, **why()}, "text": ""}],
    }


def why() -> dict[str, object]:
    """Return what is written of the missing figure."""
    return {"why_not": MISSING.sentence, "add": ["bank.capacity_Ah"]}


@pytest.mark.parametrize(
    ("words", "document"),
    [
        ("low=part.figure.low", {"low": None}),
        ("start=part.start_us", {"start": "1970-01-01T00:00:00Z"}),
        ("each=parts.figure:why", {"each": [MISSING.sentence, None]}),
        ("figure=part.figure:or_why", {"figure": why()}),
        ("figure=part.figure:known why=part.figure:why", {"figure": None, "why": MISSING.sentence}),
        ("note=part.text:text", {"note": None}),
        ("*part", {"start": "1970-01-01T00:00:00Z", "figure": {"value": None, **why()}, "text": ""}),
        (
            "figure=part.figure:figure",
            {"figure": {"value": None, "low": None, "high": None, "why_not": MISSING.sentence}},
        ),
    ],
)
def test_words_lead_through_what_is_missing_or_many(words, document):
    """Of a missing figure there is no end, only the reason; of several parts each is asked."""
    whole = Whole(Part(0, MISSING), (Part(0, MISSING), Part(0, Within(1.0, 0.5, 2.0))))
    assert named(whole, words) == document
    assert named(Whole(None), "start=part.start_us") == {"start": None}


def test_a_known_result_says_that_nothing_is_missing():
    """So a script asks one key, whatever there is."""
    assert or_why(Within(1.0, 0.5, 2.0)) == {"why_not": None, "value": 1.0, "low": 0.5, "high": 2.0}
    assert or_why(MISSING) == why()


def finite(value):
    """Return a value with null for what is not a finite number."""
    if isinstance(value, dict):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


@examples(17, 50)
@given(st.dictionaries(st.text("abc"), VALUES, max_size=3))
def test_a_document_in_pieces_is_the_same_text(document):
    """As if it had been written at once, by the standard library."""
    out = io.StringIO()
    with redirect_stdout(out):
        print_json(document)
    assert out.getvalue() == json.dumps(finite(document), indent=2, ensure_ascii=False) + "\n"


def test_no_long_document_is_ever_one_text(monkeypatch):
    """What is written at once does not grow with the document."""
    longest = {}
    for count in (10_000, 100_000):
        out = io.StringIO()
        lengths = []
        monkeypatch.setattr(out, "write", lambda text, lengths=lengths: lengths.append(len(text)))
        with redirect_stdout(out):
            print_json({"days": [{"drawn_Ah": 0.25}] * count})
        longest[count] = max(lengths)
        assert sum(lengths) > 10 * count
    assert longest[100_000] < 1.1 * longest[10_000]
