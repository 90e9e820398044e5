"""One export converted and charged, and what to say of it: right, asked, refused, wrong and said, wrong in silence."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

from exporting import shuntbook

from .sheet import Export

Verdict: TypeAlias = Literal["right", "asked", "refused", "wrong and said", "wrong and silent", "broken"]
VERDICTS: tuple[Verdict, ...] = ("right", "asked", "refused", "wrong and said", "wrong and silent", "broken")
#: Right is within this share of the larger amount, and never nearer than this. [1], [Ah]
TOLERANCE, LEAST = 0.002, 1e-4
#: An interval that covers the truth tells of what is wrong only if it is far wider than that of any log. [1]
WIDE = 0.03
USER_ERROR = 2
MOST_QUESTIONS = 3


@dataclass(frozen=True)
class Judgement:
    """What came of an export; `sentence` is what was said, or what was found beside the truth."""

    verdict: Verdict
    sentence: str


@dataclass(frozen=True)
class _Outcome:
    status: int
    sentence: str
    document: dict[str, object]
    amounts: dict[str, float | None]


def judge(export: Export, folder: Path) -> Judgement:
    """Convert an export in `folder`, answer what it asks, and hold its charge against the truth."""
    path = folder / f"export{export.suffix}"
    path.write_bytes(export.content)
    answered: list[str] = []
    outcome, question = _run(path, options := list(export.options), export), ""
    for _ in range(MOST_QUESTIONS):
        asked = [phrase for phrase in export.answers if phrase in outcome.sentence and phrase not in answered]
        if outcome.status != USER_ERROR or not asked:
            break
        question = question or outcome.sentence
        answered += asked
        options = [*export.options, *_answers(export, answered, folder / "profile.toml")]
        outcome = _run(path, options, export)
    if outcome.status == USER_ERROR:
        return Judgement("refused", outcome.sentence + (f" (asked first: {question})" if question else ""))
    if outcome.status:
        return Judgement("broken", f"status {outcome.status}: {outcome.sentence}")
    if _right(export, outcome.amounts):
        return Judgement("asked" if question else "right", question)
    wrong: Verdict = "wrong and said" if _said(export, outcome, folder, options) else "wrong and silent"
    return Judgement(wrong, _beside_truth(export, outcome))


def _answers(export: Export, phrases: list[str], profile: Path) -> list[str]:
    """Return the options that answer what was asked by these phrases; what is no option is a profile's tables."""
    options, tables = [], []
    for phrase in phrases:
        answer = export.answers[phrase]
        if phrase.startswith("--"):
            options += [phrase, *([answer] if answer else [])]
        else:
            tables.append(answer)
    if tables:
        profile.write_text("\n".join(['name = "an answer"', *tables]), encoding="utf-8")
        options += ["--profile", str(profile)]
    return options


def _run(path: Path, options: list[str], export: Export) -> _Outcome:
    log = path.with_name("log.parquet")
    status, out, err = shuntbook("convert", str(path), *options, "--out", str(log), "--force", "--json")
    if status:
        return _Outcome(status, err.strip().replace(f"{path.parent}/", "").removeprefix("shuntbook: "), {}, {})
    document = json.loads(out)
    status, out, err = shuntbook("charge", str(log), "--json")
    if status:
        return _Outcome(status, f"charge: {err.strip()}", document, {})
    return _Outcome(0, "", document, json.loads(out)["charge" if export.truth.unit == "Ah" else "energy"] or {})


def _right(export: Export, amounts: dict[str, float | None]) -> bool:
    if export.want == "refuse":
        return False
    for truth in (export.truth, *export.also_right):
        most = max(TOLERANCE * max(truth.drawn, truth.returned), LEAST)
        drawn, returned = (amounts.get(f"{way}_{truth.unit}") or 0.0 for way in ("drawn", "returned"))
        if abs(drawn - truth.drawn) <= most and abs(returned - truth.returned) <= most:
            return True
    return False


def _said(export: Export, outcome: _Outcome, folder: Path, options: list[str]) -> bool:
    """Tell whether a person hears of it: rejects, a note that the whole file had not, an interval that is wide."""
    if export.want == "refuse":
        return False
    if outcome.document["rows_rejected"] or _covered(export, outcome.amounts):
        return True
    if export.whole is None:
        return False
    path = folder / f"whole{export.suffix}"
    path.write_bytes(export.whole)
    return bool(_notes(outcome) - _notes(_run(path, options, export)))


def _covered(export: Export, amounts: dict[str, float | None]) -> bool:
    unit = export.truth.unit
    larger = max(export.truth.drawn, export.truth.returned)
    for way, truth in (("drawn", export.truth.drawn), ("returned", export.truth.returned)):
        half = amounts.get(f"{way}_u95_{unit}") or 0.0
        error = abs((amounts.get(f"{way}_{unit}") or 0.0) - truth)
        if error > TOLERANCE * larger and not (error <= half and half > WIDE * larger):
            return False
    return True


def _notes(outcome: _Outcome) -> set[str]:
    """Return the notes without their numbers."""
    notes = outcome.document.get("notes") or []
    assert isinstance(notes, list)
    return {re.sub(r"\d+", "", str(note)) for note in notes}


def _beside_truth(export: Export, outcome: _Outcome) -> str:
    truth, unit = export.truth, export.truth.unit
    drawn, returned = outcome.amounts.get(f"drawn_{unit}"), outcome.amounts.get(f"returned_{unit}")
    document = outcome.document
    took = [f"{q['name']} from {q.get('column')!r}" for q in document["quantities"]]  # type: ignore[attr-defined]
    wanted = "a refusal is wanted" if export.want == "refuse" else f"{truth.drawn:.4f} and {truth.returned:.4f}"
    return (
        f"{_figure(drawn)} and {_figure(returned)} {unit} drawn and returned, {wanted}; took {', '.join(took)}; "
        f"{document['rows_read']} rows read, {document['rows_rejected']} rejected, {document['rows_merged']} merged; "
        f"notes {document['notes']}"
    )


def _figure(x: float | None) -> str:
    return "none" if x is None else f"{x:.4f}"
