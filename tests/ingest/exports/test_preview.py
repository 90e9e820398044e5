"""An export's beginning, as it is shown to whoever chooses: what each column is taken for, and what comes out."""

from __future__ import annotations

import random
from datetime import datetime
from pathlib import Path

import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.choices import (
    ChoiceError,
    Choices,
    ColumnChoice,
    options_of,
    profile_of,
    stated_of,
    units_of,
)
from shuntbook.ingest.exports.preview import preview
from shuntbook.ingest.exports.texts.decode import Source

_TEXT = "Meter 7\n\nTime,Current (mA),Voltage (V),Foo\n" + "".join(
    f"2026-06-13 10:00:{k:02d},{1500 + 100 * k},{12.9 - 0.01 * k:.2f},{k % 3}.5\n" for k in range(30)
)


@pytest.fixture
def export(tmp_path: Path) -> str:
    path = tmp_path / "export.csv"
    path.write_text(_TEXT, encoding="utf-8")
    return str(path)


def _seen(export, **chosen):
    return preview([export], stated_of(Choices(**{"zone": "Europe/London", **chosen})))


def test_what_each_column_is_taken_for_and_what_comes_out(export):
    """Cells around the header, columns with the reason, readings with time and zone."""
    seen = _seen(export)
    assert [(line.number, line.kind) for line in seen.lines[:3]] == [(1, "above"), (3, "header"), (4, "row")]
    assert seen.lines[2].cells == ("2026-06-13 10:00:00", "1500", "12.90", "0.5")
    assert len([line for line in seen.lines if line.kind == "row"]) == 12
    assert [column.use for column in seen.columns] == ["time", "quantity", "quantity", "not used"]
    amps = seen.columns[1]
    assert (amps.quantity, amps.unit, amps.factor, amps.sign) == ("current_A", "mA", 1.0, "draw_positive")
    assert amps.reason == "current_A: 'Current (mA)' in mA"
    assert amps.reason in seen.described
    assert seen.readings[0].time == "2026-06-13 10:00:00 BST"
    assert seen.readings[0].values == {"current_A": 1.5, "voltage_V": 12.9}
    assert (seen.question, seen.error, seen.zone_assumed) == (None, None, False)


def test_a_choice_is_seen_at_once(export):
    """Quantity, unit, sign and "not used" of a column change what comes out, and the others stay recognised."""
    turned = _seen(export, columns={2: ColumnChoice("current_A", unit="A", sign="return_positive")})
    assert turned.readings[1].values == {"current_A": -1600.0, "voltage_V": 12.89}
    assert turned.columns[1].sign == "return_positive"
    warm = _seen(export, columns={3: ColumnChoice(None), 4: ColumnChoice("temperature_degC")})
    assert warm.readings[1].values == {"current_A": 1.6, "temperature_degC": 1.5}
    assert [column.use for column in warm.columns] == ["time", "quantity", "not used", "quantity"]
    assert _seen(export, reverse_sign=True).readings[1].values["current_A"] == -1.6


def test_choices_make_a_profile_that_reads_the_same(export, tmp_path):
    """All columns stand in it, chosen or recognised, so that `convert` needs nothing else."""
    choices = Choices(columns={4: ColumnChoice("temperature_degC")}, zone="Europe/London", reverse_sign=True)
    kept = tmp_path / "kept.toml"
    kept.write_text(profile_of([export], choices), encoding="utf-8")
    again = preview([export], stated_of(Choices(profile=str(kept))))
    assert again.readings == preview([export], stated_of(choices)).readings
    assert options_of(choices, profile="kept.toml") == ["--profile", "kept.toml", "--zone", "Europe/London"]
    assert options_of(Choices(start=datetime(2026, 6, 13, 9, 30), gap_s=150.0, reverse_sign=True)) == [
        *("--start", "2026-06-13T09:30:00", "--gap", "150s", "--reverse-sign")
    ]


@pytest.mark.parametrize(
    ("columns", "at", "why"),
    [
        ({2: ColumnChoice("current_A", unit="V")}, 2, "is a unit of voltage, not of current"),
        ({2: ColumnChoice("current_A"), 4: ColumnChoice("current_A")}, 4, "column 2 is chosen as current_A, too"),
        ({3: ColumnChoice("voltage_V", sign="return_positive")}, 3, "has no sign"),
        ({4: ColumnChoice("colour")}, 4, "is no quantity"),
        ({2: ColumnChoice("current_A", scale=0.0)}, 2, "not 0"),
    ],
)
def test_a_choice_that_cannot_be_is_told_at_its_column(columns, at, why):
    with pytest.raises(ChoiceError, match=why) as caught:
        stated_of(Choices(columns=columns))
    assert caught.value.column == at


def test_a_column_of_words_that_is_chosen_is_told_at_its_column(tmp_path):
    path = tmp_path / "words.csv"
    path.write_text(_TEXT.replace("0.5\n", "warm\n"), encoding="utf-8")
    seen = _seen(str(path), columns={4: ColumnChoice("temperature_degC")})
    assert "expected a number" in seen.columns[3].trouble
    assert seen.rejects


def test_units_begin_with_the_quantity_s_own():
    assert units_of("current_A")[:2] == ("A", "uA")
    assert units_of("state_of_charge_pct") == ("%", "1")


def test_what_is_open_is_shown_with_what_is_known(tmp_path):
    """Where the dates are asked about, the other columns are told all the same."""
    path = tmp_path / "open.csv"
    path.write_text("Time,Current (A)\n" + "".join(f"05/06/2026 10:00:{k:02d},{k}.5\n" for k in range(20)))
    seen = _seen(str(path))
    assert seen.question is not None
    assert seen.error is None
    assert [column.use for column in seen.columns] == ["time", "quantity"]
    assert not seen.readings
    answered = preview([str(path)], stated_of(Choices(zone="UTC").with_choice(seen.question.choices[0])))
    assert answered.readings[0].time == "2026-06-05 10:00:00 UTC"


def test_a_clock_of_twelve_hours_is_shown_as_it_is_settled(tmp_path):
    """Only the last row shows what the hours after twelve are: they are shown so, as they will be read."""
    path = tmp_path / "halves.csv"
    steps = range(6 * 12 + 3, 6 * 18)
    rows = [f"2026-06-13 {(k // 6 - 1) % 12 + 1:02d}:{k % 6}0:00,{k % 7}.5" for k in steps]
    path.write_text("\n".join(["Time,Current (A)", *rows, ""]), encoding="utf-8")
    seen = _seen(str(path), zone="UTC")
    assert [reading.time[11:16] for reading in seen.readings[:5]] == ["12:30", "12:40", "12:50", "13:00", "13:10"]


def test_notes_and_a_count_from_the_start(tmp_path):
    notes, counted = tmp_path / "notes.txt", tmp_path / "counted.csv"
    notes.write_text("2026-06-13\n10:02 900 W\n10:04 off\n", encoding="utf-8")
    seen = _seen(str(notes), profile="hand")
    assert [reading.values["power_W"] for reading in seen.readings] == [900.0, 0.0]
    counted.write_text("Elapsed (s),Current (A)\n" + "".join(f"{k},{k}.5\n" for k in range(20)), encoding="utf-8")
    assert _seen(str(counted)).undated
    assert _seen(str(counted)).readings[2].time == "0:00:02"
    assert _seen(str(counted), start=datetime(2026, 6, 13, 9)).readings[2].time == "2026-06-13 09:00:02 BST"


def test_notes_are_asked_about_before_anybody_names_them(tmp_path):
    """A file of notes without the profile for them is no table: it is asked, and the answer reads it."""
    notes = tmp_path / "notes.txt"
    notes.write_text("2026-06-13\n10:02 900 W\n10:04 off\n10:30 pump on\n10:31 300 W\n10:40 end\n", encoding="utf-8")
    seen = _seen(str(notes))
    assert seen.question.what == "Are these notes, a line each?"
    choices = Choices(zone="UTC").with_choice(seen.question.choices[0])
    assert preview([str(notes)], stated_of(choices)).readings[0].values == {"power_W": 900.0}
    notes.write_text("a page of words\nand of more words\n", encoding="utf-8")
    assert _seen(str(notes)).question is None


def test_words_of_a_way_go_into_the_profile_as_they_are_written(tmp_path):
    """A profile compares letter by letter: what was recognised in small letters is written as it stands."""
    path, kept = tmp_path / "ways.csv", tmp_path / "kept.toml"
    rows = [f"2026-06-13 10:00:{k:02d},{k}.5,{'Charge' if k % 3 else 'Discharge'}\n" for k in range(40)]
    path.write_text("Time,Current (A),Direction\n" + "".join(rows), encoding="utf-8")
    choices = Choices(columns={2: ColumnChoice("current_A", unit="mA")}, zone="UTC")
    kept.write_text(profile_of([str(path)], choices), encoding="utf-8")
    again = preview([str(path)], stated_of(Choices(profile=str(kept), zone="UTC")))
    assert [reading.values["current_A"] for reading in again.readings[:2]] == [0.0005, -0.0015]
    assert not again.rejects


def test_no_more_than_the_beginning_is_read(export, monkeypatch):
    """Of a file of any length a sample is read: its end is never come to."""
    with Path(export).open("a", encoding="utf-8") as file:
        file.write("2026-06-13 10:01:00,1500,12.00,1\n" * 1_000_000)
    sizes, chunks = [], Source.chunks

    def counted(source):
        for chunk in chunks(source):
            sizes.append(len(chunk))
            yield chunk

    monkeypatch.setattr(Source, "chunks", counted)
    seen = _seen(export)
    assert seen.readings
    assert seen.error is None
    assert 0 < sum(sizes) < 12 << 20 < Path(export).stat().st_size / 2


def test_a_damaged_file_has_one_sentence(tmp_path):
    """Whatever the bytes are, there is a preview; an error is one line."""
    chance = random.Random(7)
    path = tmp_path / "damaged.csv"
    heads = [b"", b"\0" * 500, b"PK\x03\x04" + chance.randbytes(200), b"\xd0\xcf\x11\xe0" * 300, b"\x1f\x8b\x08junk"]
    for k in range(60):
        damaged = bytearray(_TEXT.encode() if k >= len(heads) else heads[k])
        for _ in range(min(k, len(damaged))):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        path.write_bytes(damaged)
        for profile in (None, "hand"):
            seen = preview([str(path)], stated_of(Choices(profile=profile)))
            assert seen.error is None or "\n" not in seen.error
    assert preview([str(tmp_path / "none.csv")], stated_of(Choices())).error.endswith("there is no such file")
    with pytest.raises(InputError):
        stated_of(Choices(profile="nobody's.toml"))
