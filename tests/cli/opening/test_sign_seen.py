"""Which way is positive, asked with what the readings say: the volts of a bank fall when more is drawn."""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from exporting import shuntbook

from shuntbook.cli.opening import sign_seen as seeing
from shuntbook.cli.opening.sign_seen import sign_seen, sign_watched
from shuntbook.ingest.errors import Question
from shuntbook.ingest.exports.choices import Choices, ColumnChoice, profile_of, stated_of
from shuntbook.ingest.exports.delimited.rows import RowBatch
from shuntbook.ingest.exports.intake import take_in
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.log import Readings


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


# --- the same asked by convert ----------------------------------------------------------------------------------------

DRAWS = """
[quantities.current_A]
column = "Current (A)"
sign = "draw_positive"
[quantities.voltage_V]
column = "Voltage (V)"
"""


def _converted(folder: Path, export: str, *words: str) -> tuple[int, str, str]:
    log = str(folder / "log.parquet")
    return shuntbook("convert", export, "--out", log, "--zone", "UTC", "--force", *words)


def _amps(folder: Path) -> float:
    """Return the mean of all amps of the log."""
    parts = [part.quantities["current_A"] for part in open_log(folder / "log.parquet").scan()]
    return float(sum(part.sum() for part in parts) / sum(map(len, parts)))


@pytest.mark.parametrize("newest_first", [False, True])
def test_convert_asks_before_it_writes_where_the_volts_speak_against_it(tmp_path, newest_first):
    """With the evidence and what settles either answer; nothing stands there afterwards."""
    export = _export(tmp_path, sign=-1.0, newest_first=newest_first)
    evidence = sign_seen([export], stated_of(Choices())).question.evidence
    status, said, error = _converted(tmp_path, export)
    assert (status, said) == (2, "")
    assert evidence.removeprefix("The").removesuffix(": charging.") in error
    assert "'Current (A)' seems to count charging as positive: add --reverse-sign; or" in error
    assert "--reverse-sign" in error and 'sign = "draw_positive"' in error
    status, said, _ = _converted(tmp_path, export, "--json")
    asked = json.loads(said)["question"]
    assert status == 2
    assert (asked["what"], asked["evidence"]) == ("Is positive charging or drawing?", evidence)
    assert [choice["label"] for choice in asked["choices"]] == ["positive is charging", "positive is drawing"]
    assert [file.name for file in tmp_path.iterdir()] == ["export.csv"]


def test_a_question_of_the_sign_leaves_no_rows_behind(tmp_path):
    """A last line that was cut short is no reason for it; a refusal for such rows names where they are."""
    export = _export(tmp_path, sign=-1.0)
    with Path(export).open("a", encoding="utf-8") as file:
        file.write("2026-06-1")
    assert _converted(tmp_path, export)[0] == 2
    assert [file.name for file in tmp_path.iterdir()] == ["export.csv"]
    with Path(export).open("a", encoding="utf-8") as file:
        file.write("\n" + "never,1,x\n" * 2000)
    status, _, error = _converted(tmp_path, export, "--reverse-sign")
    assert status == 2
    assert [file.name for file in tmp_path.iterdir() if file.name in error] == ["export.csv", *_rejects(tmp_path)]


def _rejects(folder: Path) -> list[str]:
    """Return the names of what holds rows that could not be read, which must be there."""
    names = [file.name for file in folder.iterdir() if file.name.endswith(".rejects.csv")]
    assert names
    return names


def test_either_answer_is_taken_by_convert(tmp_path):
    """Also the one that the volts speak against: who says it knows it."""
    export, profile = _export(tmp_path, sign=-1.0), tmp_path / "profile.toml"
    assert _converted(tmp_path, export, "--reverse-sign")[0] == 0
    right_A = _amps(tmp_path)
    assert right_A > 5
    profile.write_text(DRAWS, encoding="utf-8")
    status, said, _ = _converted(tmp_path, export, "--profile", str(profile))
    # Nobody has to be warned of a sign that was stated.
    assert (status, said.partition(" ")[0]) == (0, "drawn")
    assert _amps(tmp_path) == pytest.approx(-right_A)
    profile.write_text(DRAWS.replace("draw_positive", "return_positive"), encoding="utf-8")
    assert _converted(tmp_path, export, "--profile", str(profile))[0] == 0
    assert _amps(tmp_path) == pytest.approx(right_A)


def test_of_a_column_for_each_way_no_sign_is_spoken_of(tmp_path):
    """What goes out and what comes back have their names."""
    path = tmp_path / "export.csv"
    rows = [f"2026-06-13 10:00:{k:02d},{30 if k % 20 > 9 else 0},{2 if k % 20 <= 9 else 0},25.1" for k in range(60)]
    header = "Time,Discharge current (A),Charge current (A),Voltage (V)"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    status, said, _ = _converted(tmp_path, str(path))
    assert (status, said.partition(" ")[0]) == (0, "drawn")


def test_a_profile_that_says_nothing_of_the_sign_is_asked_of(tmp_path):
    """It may be of a meter that was wired the other way; that draw is positive is then said in it."""
    export, profile = _export(tmp_path, sign=-1.0), tmp_path / "profile.toml"
    profile.write_text(DRAWS.replace('sign = "draw_positive"', ""), encoding="utf-8")
    status, _, error = _converted(tmp_path, export, "--profile", str(profile))
    assert status == 2
    assert error.strip().endswith('say sign = "draw_positive" for current_A in the profile')


@pytest.mark.parametrize("how", [{}, {"volts": False}, {"sign": -1.0, "volts": False}])
def test_convert_asks_nothing_where_the_volts_agree_or_there_are_none(tmp_path, how):
    status, said, _ = _converted(tmp_path, _export(tmp_path, **how))
    assert status == 0
    assert said.startswith("by this sign drawn ")


def test_behind_an_inverter_the_volts_are_no_evidence(tmp_path):
    assert _converted(tmp_path, _export(tmp_path, sign=-1.0), "--side", "ac")[0] == 0


def test_a_handful_of_readings_is_no_evidence_against_a_sign(tmp_path):
    """Two runs tell it; of one, start and stop may have moved the volts by chance."""
    export = Path(_export(tmp_path, sign=-1.0))
    rows = export.read_text(encoding="utf-8").splitlines()
    for minutes, status in ((1, 0), (3, 2)):
        export.write_text("\n".join(rows[: 1 + 60 * minutes]) + "\n", encoding="utf-8")
        assert _converted(tmp_path, str(export))[0] == status


def test_where_the_beginning_is_quiet_later_readings_tell(tmp_path, monkeypatch):
    """As long as readings say nothing the next are looked at; once they agree, no more."""
    monkeypatch.setattr(seeing, "MOST_READINGS", 200)
    stated = stated_of(Choices(zone="UTC"))
    intake = take_in([_export(tmp_path, sign=-1.0)], stated)
    [whole] = [batch.readings for batch in intake.export.batches()]
    amps, volts = whole.quantities["current_A"], whole.quantities["voltage_V"]

    def batches(*factors: float) -> Iterator[RowBatch]:
        """Yield the readings fifty at a time; of each 300 the amps with this factor."""
        for k in range(0, 300 * len(factors), 50):
            part = slice(k % 1200, k % 1200 + 50)
            columns = {"current_A": factors[k // 300] * amps[part], "voltage_V": volts[part]}
            yield RowBatch(Readings(whole.time_us[part] + k * 10**6, columns))

    through = sign_watched(intake, stated)
    assert len(list(through(batches(0, 0, 0)))) == 18
    assert len(list(through(batches(0, -1, 1)))) == 18
    passed = through(batches(0, 0, 1))
    assert len(list(itertools.islice(passed, 12))) == 12
    with pytest.raises(Question, match="the volts rise"):
        list(passed)


@pytest.mark.parametrize("profile", ['[time]\ncolumn = "Time"\n', DRAWS.replace('sign = "draw_positive"', "")])
def test_an_answer_beside_a_profile_settles_it(tmp_path, profile):
    """Whether the profile names the columns or leaves them to be recognised."""
    export, file = _export(tmp_path, sign=-1.0), tmp_path / "meter.toml"
    file.write_text(profile, encoding="utf-8")
    choices = Choices(profile=str(file))
    seen = sign_seen([export], stated_of(choices))
    assert (seen.asked, seen.agrees) == (True, False)
    answered = choices.with_choice(seen.question.choices[1])
    after = sign_seen([export], stated_of(answered))
    assert (after.asked, after.agrees, after.is_settled) == (False, False, True)
    file.write_text(profile_of([export], answered), encoding="utf-8")
    assert _converted(tmp_path, export, "--profile", str(file))[0] == 0
