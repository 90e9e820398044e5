"""A profile writes itself, the next export needs no option by it, and one that no longer fits says where."""

from __future__ import annotations

import tomllib

import pytest
from exporting import convert, shuntbook


def table(header, row, *, count=40):
    """An export of a header and rows."""
    return "\n".join([header, *(row(k) for k in range(count))]) + "\n"


def kept(folder, content, *options):
    """Convert and keep the profile; return what was made of it, and the profile's path and content."""
    path = folder / "meter.toml"
    path.unlink(missing_ok=True)
    done = convert(folder, content, options=(*options, "--keep-profile", str(path)))
    assert done.status == 0, done.error
    return done, path, tomllib.loads(path.read_text(encoding="utf-8"))


EXPORTS = {
    "answers": (
        table("Time,Current,Volts", lambda k: f'05/06/2026 10:00:{k:02d},"1,25{k % 10}",12'),
        ("--zone", "Europe/London", "--dates", "d/m/y", "--decimal", "comma", "--reverse-sign", "--side", "dc"),
    ),
    "milli, comma": (
        table("Time;Current [mA];Voltage (V)", lambda k: f"2026-06-13 10:00:{k:02d};{k * 50},5;25,1"),
        ("--zone", "UTC", "--sampling", "mean", "--gap", "30s"),
    ),
    "date and clock": (
        table("Date,Clock,Amps", lambda k: f"13/06/2026,10:00:{k:02d},{k}.5"),
        ("--zone", "Asia/Kolkata", "--reverse-sign"),
    ),
    "units in the cells": (table("Time,Current", lambda k: f"{1_781_000_000 + k},{k}.5 mA"), ()),
    "elapsed": (table("Elapsed (min),Amps,Watts", lambda k: f"{k},{k % 7}.5,{k % 7 * 12}"), ()),
    "names that come twice": (table('Time,Value,"Current ""main"" (A)",Note,Note', lambda k: f"{k},7,{k}.5,,"), ()),
    "behind an inverter": (
        table("Time,AC Volts,AC Power (kW)", lambda k: f"2026-06-13T10:00:{k:02d}Z,230,0.{k:02d}"),
        (),
    ),
}


@pytest.mark.parametrize("name", EXPORTS)
def test_the_next_export_needs_no_option(tmp_path, name):
    """By the kept profile alone all readings, and what they stand for, are the same."""
    content, options = EXPORTS[name]
    done, path, _ = kept(tmp_path, content, *options)
    again = convert(tmp_path, content, options=("--profile", str(path)))
    assert again.status == 0, again.error
    assert again.log.quantities == done.log.quantities
    assert again.time_us.tolist() == done.time_us.tolist()
    for quantity in done.log.quantities:
        assert again[quantity].tolist() == done[quantity].tolist()
    for item in ("side", "sampling", "gap_limit_s", "undated"):
        assert getattr(again.log.meta, item) == getattr(done.log.meta, item)
    assert not again.log.meta.zone_assumed
    assert f"next time add --profile {path}" in done.said


def test_what_was_answered_stands_in_it(tmp_path):
    """The order of dates, the decimal mark, the zone, the sign."""
    content, options = EXPORTS["answers"]
    _, _, profile = kept(tmp_path, content, *options)
    assert profile["zone"] == "Europe/London"
    assert profile["file"]["decimal"] == "comma"
    assert profile["time"] == {"column": "Time", "style": "d/m/y"}
    assert profile["quantities"]["current_A"] == {"column": "Current", "unit": "A", "sign": "return_positive"}


def test_a_unit_that_the_header_says_is_read_there_again(tmp_path):
    """Were it written down, an export in another unit would be read by the old one."""
    _, path, profile = kept(tmp_path, *EXPORTS["milli, comma"][:1], "--zone", "UTC")
    assert "unit" not in profile["quantities"]["current_A"]
    renamed = EXPORTS["milli, comma"][0].replace("Current [mA]", "Current [A]")
    assert "the header has" in convert(tmp_path, renamed, options=("--profile", str(path))).error


def test_a_profile_is_carried_on(tmp_path):
    """Scale, offset, two columns and letters of direction, and a sign turned twice is as it was."""
    content = table("t,Out,In,Way,I", lambda k: f"{1_781_000_000 + k},{k},{40 - k},{'DC'[k % 2]},{k}.5")
    (tmp_path / "old.toml").write_text(
        "name = 'shed'\ncounter = 'moved'\n[time]\ncolumn = 't'\nstyle = 'epoch s'\n"
        "[quantities.current_A]\ncolumn = 'Out'\nminus = 'In'\nunit = 'mA'\nscale = 2.0\noffset = 0.5\n"
        "sign = 'return_positive'\n[quantities.power_W]\ncolumn = 'I'\n"
        "[quantities.power_W.direction]\ncolumn = 'Way'\ndraw = ['D']\nreturn = ['C']\n",
        encoding="utf-8",
    )
    done, path, profile = kept(tmp_path, content, "--profile", str(tmp_path / "old.toml"), "--reverse-sign")
    assert (profile["name"], profile["counter"]) == ("shed", "moved")
    assert "sign" not in profile["quantities"]["current_A"]
    again = convert(tmp_path, content, options=("--profile", str(path)))
    for quantity in ("current_A", "power_W"):
        assert again[quantity].tolist() == done[quantity].tolist()


def test_nothing_is_overwritten(tmp_path):
    """Not a profile of the same name, unless it is insisted on; the export, the log and the profile read by never."""
    content, options = EXPORTS["elapsed"]
    mine = tmp_path / "mine.toml"
    mine.write_text("# mine\n", encoding="utf-8")
    refused = convert(tmp_path, content, options=(*options, "--keep-profile", str(mine)))
    assert "--keep-profile" in refused.error
    assert "exists already" in refused.error
    assert not refused.log_path.exists()
    assert mine.read_text(encoding="utf-8") == "# mine\n"
    assert convert(tmp_path, content, options=(*options, "--keep-profile", str(mine), "--force")).status == 0
    assert tomllib.loads(mine.read_text(encoding="utf-8"))["time"]["style"] == "elapsed min"
    by_itself = convert(tmp_path, content, options=("--profile", str(mine), "--keep-profile", str(mine), "--force"))
    assert "is the profile it is read by" in by_itself.error
    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    export.write_text(content, encoding="utf-8")
    for place, word in ((export, "is the export itself"), (log, "is where the log")):
        status, _, error = shuntbook("convert", str(export), "--out", str(log), "--force", "--keep-profile", str(place))
        assert status == 2
        assert word in error
    assert export.read_text(encoding="utf-8") == content


def test_what_no_profile_can_say_is_told(tmp_path):
    """All of it would be returned by letters, and a profile has at least one letter for what is drawn."""
    content = table("t,I,Way", lambda k: f"{1_781_000_000 + k},{k}.5,D")
    old = "[quantities.current_A]\ncolumn = 'I'\n[quantities.current_A.direction]\ncolumn = 'Way'\ndraw = ['D']\n"
    options = ("--reverse-sign", "--keep-profile", str(tmp_path / "new.toml"))
    done = convert(tmp_path, content, options=options, profile=old)
    assert "no profile can say" in done.error
    assert not done.log_path.exists()


def test_notes_have_no_columns_to_keep(tmp_path):
    """The profile for them comes along."""
    options = ("--profile", "hand", "--start", "2026-06-13", "--keep-profile", str(tmp_path / "a.toml"))
    done = convert(tmp_path, "10:02 900 W\n10:04 off\n", options=options)
    assert "has no columns that a profile could name" in done.error
    assert not (tmp_path / "a.toml").exists()


def test_each_line_that_no_longer_fits_is_named(tmp_path):
    """Two columns were renamed: both lines are told with file and line, not the first alone."""
    content, options = EXPORTS["date and clock"]
    _, path, _ = kept(tmp_path, content, *options)
    lines = path.read_text(encoding="utf-8").splitlines()
    renamed = content.replace("Date,Clock,Amps", "Day,Clock,Bank amps")
    done = convert(tmp_path, renamed, options=("--profile", str(path)))
    first, second = done.error.strip().splitlines()
    date, amps = (1 + lines.index(line) for line in ('date = "Date"', 'column = "Amps"'))
    assert f"{path}:{date}: " in first
    assert "the header has 'Day', 'Clock', 'Bank amps'" in first
    assert second == f"{path}:{amps}: nor does quantities.current_A.column = 'Amps' fit"


def test_a_style_of_times_that_no_longer_fits_is_named_with_its_line(tmp_path):
    """The meter's firmware writes seconds now."""
    content, options = EXPORTS["answers"]
    _, path, _ = kept(tmp_path, content, *options)
    changed = table("Time,Current,Volts", lambda k: f'{k},"1,25{k % 10}",12')
    line = 1 + path.read_text(encoding="utf-8").splitlines().index('style = "d/m/y"')
    assert f"{path}:{line}: " in convert(tmp_path, changed, options=("--profile", str(path))).error
