"""Which way is positive, asked with what the readings say: the volts of a bank fall when more is drawn."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from shuntbook.cli.opening.sign_seen import sign_seen
from shuntbook.ingest.errors import Question
from shuntbook.ingest.exports.choices import Choices, ColumnChoice, profile_of, stated_of


def _export(folder: Path, *, sign: float = 1.0, volts: bool = True, newest_first: bool = False, word: str = "") -> str:
    """Write the runs of a pump, 20 s on and 40 s off, at a bank of 0.02 ohm."""
    rows = []
    for k in range(1200):
        amps = 30.0 + 0.1 * (k % 3) if k % 60 >= 40 else 1.0 + 0.1 * (k % 2)
        of_volts = f",{25.5 - 0.02 * amps:.3f}" if volts else ""
        rows.append(f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{sign * amps:.1f}{of_volts}")
    header = f"Time,{word}Current (A)" + (",Voltage (V)" if volts else "")
    path = folder / "export.csv"
    path.write_text("\n".join([header, *(rows[::-1] if newest_first else rows)]) + "\n", encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("newest_first", [False, True])
def test_charging_is_seen_asked_and_its_answer_turns_it(tmp_path, newest_first):
    export = _export(tmp_path, sign=-1.0, newest_first=newest_first)
    seen = sign_seen([export], stated_of(Choices()))
    assert seen.question.evidence == "The volts rise when the amps rise, each time: charging."
    assert seen.question.what == "Is positive charging or drawing?"
    assert [choice.label for choice in seen.question.choices] == ["positive is charging", "positive is drawing"]
    assert seen.asked
    assert seen.likely == seen.question.choices[0]
    after = sign_seen([export], stated_of(Choices().with_choice(seen.likely)))
    assert (after.asked, after.agrees, after.is_settled) == (False, True, True)
    # What stands in the file stays what it is.
    assert after.question.evidence == seen.question.evidence
    assert after.likely.label == seen.likely.label


def test_steps_that_contradict_the_others_are_told_as_a_share(tmp_path):
    """One in ten goes the other way, as of a charger that switches: the share of the others is said, and no count."""
    path = Path(_export(tmp_path, sign=-1.0))
    header, *rows = path.read_text(encoding="utf-8").splitlines()
    for k in range(540, 660):  # two of twenty runs, and the rests before them
        time, amps, _ = rows[k].split(",")
        rows[k] = f"{time},{amps},{25.5 + 0.02 * float(amps) * -1:.3f}"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    evidence = sign_seen([str(path)], stated_of(Choices())).question.evidence
    assert re.fullmatch(r"The volts rise when the amps rise, in (8|9)\d % of the steps: charging\.", evidence)


def test_a_bank_s_draw_needs_no_question(tmp_path):
    seen = sign_seen([_export(tmp_path)], stated_of(Choices()))
    assert "The volts fall when the amps rise" in seen.question.evidence
    assert (seen.asked, seen.agrees, seen.likely.label) == (False, True, "positive is drawing")


def test_an_answer_that_the_readings_contradict_is_told(tmp_path):
    """Nobody is asked twice, but the page can say that the volts speak against it."""
    choices = Choices(columns={2: ColumnChoice("current_A", sign="return_positive")})
    seen = sign_seen([_export(tmp_path)], stated_of(choices))
    assert (seen.asked, seen.agrees, seen.is_settled) == (False, False, True)
    assert seen.likely.label == "positive is drawing"


def test_without_evidence_it_is_said_and_asked(tmp_path):
    seen = sign_seen([_export(tmp_path, volts=False)], stated_of(Choices()))
    assert "do not say" in seen.question.evidence
    assert (seen.asked, seen.agrees, seen.likely) == (True, None, None)
    answered = Choices().with_choice(seen.question.choices[1])
    assert not sign_seen([_export(tmp_path, volts=False)], stated_of(answered)).asked


def test_that_draw_is_positive_is_kept_where_it_was_answered(tmp_path):
    """The volts do not say it, so the next export of the meter would be asked again."""
    export = _export(tmp_path, volts=False)
    choices = Choices().with_choice(sign_seen([export], stated_of(Choices())).question.choices[1])
    (tmp_path / "kept.toml").write_text(profile_of([export], choices), encoding="utf-8")
    assert not sign_seen([export], stated_of(Choices(profile=str(tmp_path / "kept.toml")))).asked


def test_an_answer_is_kept_in_the_profile(tmp_path):
    export = _export(tmp_path, sign=-1.0)
    choices = Choices().with_choice(sign_seen([export], stated_of(Choices())).question.choices[0])
    (tmp_path / "kept.toml").write_text(profile_of([export], choices), encoding="utf-8")
    kept = sign_seen([export], stated_of(Choices(profile=str(tmp_path / "kept.toml"))))
    assert (kept.asked, kept.agrees) == (False, True)


def test_what_has_no_sign_to_be_known_has_no_question(tmp_path):
    assert sign_seen([_export(tmp_path)], stated_of(Choices(side="ac"))) is None
    notes = tmp_path / "notes.txt"
    notes.write_text("2026-06-13\n10:02 900 W\n10:04 off\n", encoding="utf-8")
    assert sign_seen([str(notes)], stated_of(Choices(profile="hand"))) is None


def test_what_else_is_open_goes_first(tmp_path):
    with pytest.raises(Question, match="--reverse-sign"):
        sign_seen([_export(tmp_path, word="Charging ")], stated_of(Choices()))
