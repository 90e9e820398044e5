"""Every question about an export has choices, and each of them, applied, answers it."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from shuntbook.ingest.errors import Question
from shuntbook.ingest.exports.choices import Choices, profile_of, stated_of
from shuntbook.ingest.exports.intake import take_in
from shuntbook.ingest.exports.preview import preview
from shuntbook.ingest.profiles.model import load_profile


def _rows(header: str, row: str, count: int = 40, **columns: list[str]) -> str:
    """Return an export of a row each second; ``{t}`` is its time, ``{k}`` its number, others by name."""
    lines = [
        row.format(
            t=f"2026-06-13 10:{k // 60:02d}:{k % 60:02d}", k=k, **{name: x[k % len(x)] for name, x in columns.items()}
        )
        for k in range(count)
    ]
    return "\n".join([header, *lines]) + "\n"


_SWINGS = [f"{12.9 - 0.02 * (k % 7):.2f}" for k in range(14)]
_AMPS = [f"{1 + 10 * (k % 7):.2f}" for k in range(14)]
_EXPORTS = {
    "order of a date": _rows("Time,Current (A)", "05/06/2026 10:00:{k:02d},{a}", a=_AMPS),
    "unit of a count": _rows("Time,Current (A)", "{k}.0000,{a}", a=_AMPS),
    "clock in bare digits": _rows("Time (s),Current (A)", "1030{k:02d},{a}", a=_AMPS),
    "two numbers of a clock": _rows("Time,Current (A)", "10:{k:02d},{a}", a=_AMPS),
    "whose clock": _rows("Time,Current (A)", "{t} CST,{a}", a=_AMPS),
    "decimal mark": _rows("Time;P (W)", "{t};{w}", w=["1,250", "1,375", "1,125"]),
    "amps or milliamps": _rows("Time,Current", "{t},{a}", a=["2750.5", "3110.2", "12.0"]),
    "amps of no bank": _rows("Time,Current (A),Voltage (V)", "{t},{a},{v}", a=["2750", "3110"], v=_SWINGS),
    "volts or millivolts": _rows("Time,Current (A),Voltage", "{t},{a},{v}", a=_AMPS, v=["12900", "12850"]),
    "a factor in the name": _rows("Time,Current (0.1 A)", "{t},{a}", a=_AMPS),
    "watts a thousand times": _rows(
        "Time,Current (A),Voltage (V),Power (W)",
        "{t},{a},{v},{w}",
        a=["10.0", "20.0"],
        v=["12.5", "12.4"],
        w=["0.125", "0.248"],
    ),
    "each other's names": _rows("Time,Current (A),Voltage (V)", "{t},{a},{v}", a=["12.9", "12.8"], v=["1.0", "40.0"]),
    "charging by its name": _rows("Time,Charging current (A)", "{t},{a}", a=_AMPS),
    "said above": "Charging is positive\n\n" + _rows("Time,Current (A)", "{t},{a}", a=[*_AMPS, "-3.00"]),
    "a unit said above": "Current in mA\n\n" + _rows("Time,Current", "{t},{a}", a=_AMPS),
    "two currents": _rows("Time,Current 1 (A),Current 2 (A)", "{t},{a},{b}", a=_AMPS, b=_AMPS),
    "no name at all": _rows("Time,Foo,Bar", "{t},{a},{b}", a=_AMPS, b=_SWINGS),
    "watts with a sign": _rows(
        "Time,Current (A),Voltage (V),Power (W)",
        "{t},{a},{v},{w}",
        a=["10.0", "20.0"],
        v=["12.5", "12.4"],
        w=["125", "-248"],
    ),
    "watts of the other sign": _rows(
        "Time,Current (A),Voltage (V),Power (W)",
        "{t},{a},{v},{w}",
        a=["10.0", "-20.0"],
        v=["12.5", "12.4"],
        w=["-125", "248"],
    ),
    "state of charge": _rows(
        "Time,Current (A),State of charge (%)",
        "{t},{a},{s}",
        a=["10.0", "10.5", "-10.0", "-10.2"],
        s=["50.0", "50.5", "51.0", "50.5"],
        count=48,
    ),
    "words of a way": _rows("Time,Current (A),Direction", "{t},{a},{d}", a=_AMPS, d=["x", "y"]),
    "a letter alone": _rows("Time,I", "{t},{a}", a=_AMPS),
    "two ways with signs": _rows(
        "Time,Discharge current (A),Charge current (A)", "{t},{a},{b}", a=["10.0", "-20.0"], b=["0.0", "1.0"]
    ),
    "held or not": "Time,Current (A)\n"
    + "".join(
        f"{datetime(2026, 6, 13) + at * timedelta(seconds=1):%Y-%m-%d %H:%M:%S},{31.5 * (k % 2)}\n"
        for k, at in enumerate(np.cumsum(np.tile([7, 60, 240, 15, 600, 90], 14)))
    ),
}


@pytest.fixture(params=_EXPORTS, ids=lambda name: name.replace(" ", "_"))
def export(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    path = tmp_path / "export.csv"
    path.write_text(_EXPORTS[request.param], encoding="utf-8")
    return str(path)


def _asked(export: str, choices: Choices) -> Question | None:
    seen = preview([export], stated_of(choices))
    assert seen.error is None, seen.error
    return seen.question


def test_each_choice_answers_its_question(export):
    """The question is asked with its evidence and its choices, and none of these leaves it open."""
    question = _asked(export, Choices())
    assert question is not None
    assert question.what.endswith("?") or question.what.endswith("meant?")
    assert question.evidence
    assert question.choices
    assert len({choice.label for choice in question.choices}) == len(question.choices)
    for choice in question.choices:
        if None in choice.sets.values():
            continue
        after = _asked(export, Choices().with_choice(choice))
        assert after is None or after.what != question.what, choice.label


def test_what_was_chosen_is_kept(export, tmp_path):
    """A profile made of the answers reads the export as the choices did, and asks nothing."""
    choices = Choices()
    for _ in range(4):
        question = _asked(export, choices)
        if question is None:
            break
        choices = choices.with_choice(question.choices[0])
    assert _asked(export, choices) is None
    seen = preview([export], stated_of(choices))
    assert seen.readings
    (tmp_path / "kept.toml").write_text(profile_of([export], choices), encoding="utf-8")
    again = preview([export], stated_of(Choices(profile=str(tmp_path / "kept.toml"), zone=choices.zone)))
    assert again.question is None
    assert again.readings == seen.readings


def test_a_question_is_raised_as_the_one_sentence(export):
    """Where nobody can be shown choices, the question is an error like any other, with both readings named."""
    question = _asked(export, Choices())
    if "--sampling" in str(question):
        return  # asked by `convert`, after the last row
    with pytest.raises(Question) as caught:
        list(take_in([export], stated_of(Choices())).export.batches())
    assert str(caught.value) == str(question)
    assert "\n" not in str(question)


def test_a_choice_leaves_what_else_is_open_to_be_asked(tmp_path):
    """To say the unit of the volts says nothing of the amps."""
    path = tmp_path / "export.csv"
    text = _rows("Time,Current,Voltage", "{t},{a},{v}", a=["2750.5", "3110.2", "12.0"], v=["12900", "12850"])
    path.write_text(text, encoding="utf-8")
    first = _asked(str(path), Choices())
    answered = Choices().with_choice(first.choices[1])
    second = _asked(str(path), answered)
    assert {first.what, second.what} == {
        "In which unit is 'Current', the current?",
        "In which unit is 'Voltage', the voltage?",
    }
    assert _asked(str(path), answered.with_choice(second.choices[1])) is None


def test_words_of_a_way_are_taken_as_they_are_written(tmp_path):
    """A profile compares letter by letter, so small letters would fit no row."""
    path = tmp_path / "export.csv"
    path.write_text(_rows("Time,Current (A),Direction", "{t},{a},{d}", a=_AMPS, d=["Left", "Right"]), encoding="utf-8")
    question = _asked(str(path), Choices())
    assert question.choices[0].label == "'Left' is drawing, 'Right' charging"
    seen = preview([str(path)], stated_of(Choices().with_choice(question.choices[0])))
    assert [reading.values["current_A"] for reading in seen.readings[:2]] == [1.0, -11.0]
    assert not seen.rejects


def test_a_profile_is_believed_as_before(tmp_path):
    """A profile that a person wrote is asked nothing, though it names one column alone."""
    path, profile = tmp_path / "export.csv", tmp_path / "own.toml"
    path.write_text(_EXPORTS["amps or milliamps"], encoding="utf-8")
    profile.write_text('[quantities.current_A]\ncolumn = "Current"\n', encoding="utf-8")
    seen = preview([str(path)], stated_of(Choices(profile=str(profile))))
    assert seen.question is None
    assert seen.readings[0].values == {"current_A": 2750.5}
    assert load_profile(str(profile)).quantities["current_A"].unit is None
    assert np.isfinite(seen.readings[0].time_us)
