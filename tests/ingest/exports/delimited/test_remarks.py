"""What convert says it took, and what it asks to be looked at twice."""

from __future__ import annotations

from pathlib import Path

import pytest
from exporting import Outcome, convert


def export(header: str, cells: str, *, count: int = 20, stamp: str = "2026-08-02 10:00:{:02d}") -> str:
    """Return an export whose rows, a second apart, are all alike."""
    return header + "\n" + "".join(f"{stamp.format(k)},{cells}\n" for k in range(count))


def notes(done: Outcome) -> list[str]:
    """Return what was noted."""
    assert done.status == 0, done.error
    return [line.removeprefix("note: ") for line in done.said.splitlines() if line.startswith("note: ")]


def taken(done: Outcome) -> list[str]:
    """Return what was taken for what, a line a quantity, and what was not used."""
    assert done.status == 0, done.error
    words = ("current_A", "voltage_V", "power_W", "not used")
    return [line.strip() for line in done.said.splitlines() if line.strip().startswith(words)]


def converted(folder: Path, header: str, cells: str, *options: str, profile: str = "") -> Outcome:
    """Convert such an export."""
    return convert(folder, export(header, cells), options=("--zone", "UTC", "--explain", *options), profile=profile)


# --- the side --------------------------------------------------------------------------------------------------------


def test_volt_amperes_mean_behind_an_inverter(tmp_path):
    """230 V times amps are never called watts out of the bank; the column that says so is named."""
    done = converted(tmp_path, "time,V,A,VA", "230,2,460")
    assert done.log.meta.side == "ac"
    about_side, about_energy = notes(done)
    assert "column 'VA' speaks of alternating current" in about_side
    assert "--side dc" in about_side
    assert "no energy can be worked out" in about_energy
    assert "sign:" not in done.said


def test_with_watts_beside_them_there_is_energy(tmp_path):
    """Then only the side is noted."""
    assert len(notes(converted(tmp_path, "time,V,A,VA,W", "230,2,460,440"))) == 1


@pytest.mark.parametrize("how", ["by option", "by profile"])
def test_a_stated_side_is_not_questioned(tmp_path, how):
    """Neither by the columns nor by the volts."""
    options, profile = (("--side", "dc"), "") if how == "by option" else ((), 'side = "dc"\n')
    done = converted(tmp_path, "time,V,A,VA", "230,2,460", *options, profile=profile)
    assert done.log.meta.side == "dc"
    assert notes(done) == []


@pytest.mark.parametrize(
    ("header", "volts", "noted"),
    [
        ("time,Volts,Amps", "231.4", ["volts of about 230: if this meter sits behind an inverter, add --side ac"]),
        (
            "time,Voltage (mV),Amps",
            "118000",
            ["volts of about 120: if this meter sits behind an inverter, add --side ac"],
        ),
        ("time,Volts,Amps", "57.6", []),
        ("time,Voltage (mV),Amps", "25300", []),
    ],
)
def test_volts_of_the_mains_are_pointed_out(tmp_path, header, volts, noted):
    """Above 100 V, in whatever unit they come; a bank of 48 V has nothing to explain."""
    done = converted(tmp_path, header, f"{volts},2")
    assert done.log.meta.side == "dc"
    assert notes(done) == noted


def test_watts_alone_are_taken_as_at_the_bank(tmp_path):
    """It is said where nothing tells on which side they were measured, and not where something does."""
    assert notes(converted(tmp_path, "time,Watts", "450")) == [
        "watts only, taken as at the bank (side dc); behind an inverter add --side ac"
    ]
    assert notes(converted(tmp_path, "time,Watts", "450", "--side", "ac")) == []
    assert notes(converted(tmp_path, "time,Watts,Amps", "450,18")) == []


# --- averages and units ----------------------------------------------------------------------------------------------


def test_averages_suggest_the_sampling(tmp_path):
    """All of them in one note; once the sampling is stated there is none."""
    header, cells = "time,Avg current (A),Mean volts,Temp avg (C)", "2,24.5,20"
    (note,) = notes(converted(tmp_path, header, cells))
    assert note.startswith("'Avg current (A)' and 'Mean volts'")
    assert note.endswith("add --sampling mean")
    stated = converted(tmp_path, header, cells, "--sampling", "mean")
    assert notes(stated) == []
    assert stated.log.meta.sampling == "mean"


@pytest.mark.parametrize(
    ("keys", "noted"),
    [
        ('unit = "A"', ["'Strom [mA]' is taken in A, but the header says mA: check the unit in the profile"]),
        ('unit = "mA"', []),
        ("", []),  # the header's own unit holds
        ('unit = "A"\nscale = 0.001', []),  # the person has reckoned with it
    ],
)
def test_a_unit_that_is_not_the_header_s_is_pointed_out(tmp_path, keys, noted):
    """A profile may say another unit than the header, but rarely means it."""
    profile = f'side = "dc"\n[quantities.current_A]\ncolumn = "Strom [mA]"\n{keys}\n'
    done = converted(tmp_path, "Zeit,Strom [mA]", "1500", profile=profile)
    assert notes(done) == noted
    assert done["current_A"][0] == (1500.0 if noted else 1.5)


def test_units_of_a_difference_must_agree(tmp_path):
    """The column that is taken off is read in the same unit, whatever its name says."""
    profile = '[quantities.current_A]\ncolumn = "Out [A]"\nminus = "In [mA]"\n'
    (note,) = notes(converted(tmp_path, "time,Out [A],In [mA]", "2,500", profile=profile))
    assert note == "'In [mA]' is taken in A, but the header says mA: check the unit in the profile"


def test_volt_amperes_that_a_profile_takes_for_watts_are_pointed_out(tmp_path):
    """A profile decides, but it is told what the header says."""
    profile = 'side = "ac"\n[quantities.power_W]\ncolumn = "S [VA]"\n'
    (note,) = notes(converted(tmp_path, "time,S [VA]", "460", profile=profile))
    assert "is taken in W, but the header says VA" in note


# --- what was taken --------------------------------------------------------------------------------------------------


def test_everything_that_a_profile_does_to_a_column_is_said(tmp_path):
    """Minus, unit, scale, offset and sign, in the order they are worked out."""
    profile = (
        '[quantities.current_A]\ncolumn = "Out"\nminus = "In"\nunit = "mA"\n'
        'scale = 2.5\noffset = -0.5\nsign = "return_positive"\n'
    )
    done = converted(tmp_path, "time,Out,In,Note", "3000,1000,7", profile=profile)
    assert taken(done) == [
        "current_A: 'Out' less 'In' in mA, times 2.5, less 0.5, sign turned (return is positive there)",
        "not used: 'Note'",
    ]
    assert done["current_A"][0] == -((3000 - 1000) * 2.5 - 0.5) / 1000


def test_letters_of_a_direction_are_said(tmp_path):
    """With their column, which is not called unused."""
    profile = (
        '[quantities.current_A]\ncolumn = "Strom"\n'
        '[quantities.current_A.direction]\ncolumn = "Richtung"\ndraw = ["E", "D"]\nreturn = ["L"]\nnone = ["0"]\n'
    )
    done = converted(tmp_path, "Zeit,Strom,Richtung,Spannung", "3,E,25", profile=profile)
    assert taken(done) == [
        "current_A: 'Strom' in A, direction by 'Richtung' (draw 'D' or 'E', return 'L', none '0')",
        "not used: 'Spannung'",
    ]


def test_plain_columns_are_said_plainly(tmp_path):
    """Nothing is said that was not done; where all columns are used there is no line about others."""
    rows = "".join(f"2026-08-02,10:00:{k:02d},2,25\n" for k in range(20))
    done = convert(tmp_path, f"Date,Clock,Amps,Volts\n{rows}", options=("--zone", "UTC", "--explain"))
    assert taken(done) == ["current_A: 'Amps' in A", "voltage_V: 'Volts' in V"]


def test_dates_are_written_as_everywhere(tmp_path):
    """A day without a zero before it, and a short month."""
    assert "from 2 Aug 2026 10:00:00 to 10:00:19 (UTC)" in converted(tmp_path, "time,Amps", "2").said


# --- options without effect ------------------------------------------------------------------------------------------


def test_a_start_beside_dates_is_not_used(tmp_path):
    """That is said; where the time counts from a start there is nothing to say."""
    dated = converted(tmp_path, "time,Amps", "2", "--start", "2026-06-13T09:30")
    assert notes(dated) == ["the times say their dates themselves, so --start is not used"]
    assert dated.stamps[0].startswith("2026-08-02T10:00:00")
    counted = convert(
        tmp_path, export("time (s),Amps", "2", stamp="{}"), options=("--zone", "UTC", "--start", "2026-06-13T09:30")
    )
    assert notes(counted) == []
    assert counted.stamps[0].startswith("2026-06-13T09:30:00")


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize(("gap", "is_short"), [("0.5s", True), ("1s", False)])
def test_a_gap_limit_below_the_spacing_is_pointed_out(tmp_path, gap, is_short, backwards):
    """The conversion goes on, in order or not, but the person learns why nothing will be measured."""
    head, *rows = export("time,Amps", "2").splitlines(keepends=True)
    content = head + "".join(rows[::-1] if backwards else rows)
    done = convert(tmp_path, content, options=("--zone", "UTC", "--gap", gap))
    assert any("shorter than the usual spacing (1 s)" in note for note in notes(done)) == is_short
    assert done.log.meta.gap_limit_s == float(gap.removesuffix("s"))
    assert len(done.time_us) == 20


@pytest.mark.parametrize("sampling", ["mean", "held"])
def test_readings_that_stand_for_a_stretch_need_no_such_note(tmp_path, sampling):
    """An average still covers its own interval, and what is held has no gap limit (DESIGN section 5)."""
    assert notes(converted(tmp_path, "time,Amps", "2", "--gap", "0.5s", "--sampling", sampling)) == []
