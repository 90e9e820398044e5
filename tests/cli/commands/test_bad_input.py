"""What a person can get wrong: status 2, one plain sentence with a way out, and nothing written or harmed."""

from __future__ import annotations

import gzip
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from exporting import convert, shuntbook

from shuntbook.cli.main import run

GOOD = "Time,Current (A),Voltage (V)\n" + "".join(f"2026-06-13 10:00:{k:02d},{k}.5,12.5\n" for k in range(40))
LOCAL = ("--zone", "UTC")


def wrote(name: str, content: str | bytes) -> Callable[[Path], list[str]]:
    """Return what makes an export in a folder and gives its path."""

    def make(folder: Path) -> list[str]:
        path = folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return [str(path)]

    return make


def with_profile(profile: str) -> Callable[[Path], list[str]]:
    """Return what makes a good export and a profile."""

    def make(folder: Path) -> list[str]:
        (folder / "p.toml").write_text(profile, encoding="utf-8")
        return [*wrote("good.csv", GOOD)(folder), "--profile", str(folder / "p.toml")]

    return make


def good(*more: str) -> Callable[[Path], list[str]]:
    """Return what makes a good export, with more arguments."""
    return lambda folder: [*wrote("good.csv", GOOD)(folder), *more]


def a_folder(folder: Path) -> list[str]:
    """Make a folder where a file belongs."""
    (folder / "exports").mkdir()
    return [str(folder / "exports")]


TABLE = "Time,Current ({}),Voltage (V)\n2026-06-13 10:00:00,1,12\n2026-06-13 10:00:01,1,12\n"
AMBIGUOUS = "Time,Current (A)\n" + "".join(f"05/06/2026 10:00:{k:02d},1\n" for k in range(9))

#: What is wrong, how to make it, and words that the sentence must hold: the place, and the way out.
CONVERT = {
    "no such file": (lambda folder: [str(folder / "none.csv")], ["none.csv", "there is no such file"]),
    "empty": (wrote("empty.csv", ""), ["empty.csv", "is empty"]),
    "empty inside gzip": (wrote("empty.gz", gzip.compress(b"")), ["empty.gz", "is empty"]),
    "only line ends": (wrote("blank.csv", "\n\r\n\n"), ["blank.csv", "no table of readings"]),
    "binary": (wrote("noise.csv", bytes(range(256)) * 64), ["noise.csv", "binary data", "CSV"]),
    "a picture": (wrote("a.csv", b"\x89PNG\r\n\x1a\n" + bytes(99)), ["a.csv", "binary data"]),
    "a spreadsheet": (wrote("a.csv", b"PK\x03\x04" + bytes(99)), ["a.csv", "spreadsheet", "as CSV"]),
    "a log": (wrote("a.csv", b"PAR1" + bytes(99)), ["a.csv", "is a log already"]),
    "damaged gzip": (wrote("a.gz", gzip.compress(GOOD.encode())[:-20]), ["a.gz", "damaged or cut short"]),
    "a folder": (a_folder, ["exports", "is a folder", "name the export file"]),
    "prose": (wrote("a.txt", "Dear all,\nthe pump is fine.\n"), ["a.txt", "no table of readings"]),
    "header only": (wrote("a.csv", "Time,Current (A)\n"), ["a.csv", "no table of readings"]),
    "no header": (wrote("a.csv", GOOD.split("\n", 1)[1]), ["a.csv", "no header", "--profile"]),
    "no quantity": (
        wrote("a.csv", GOOD.replace("Current (A)", "x").replace("Voltage (V)", "y")),
        ["line 1", "'x', 'y'", "profile"],
    ),
    "no time": (
        wrote("a.csv", "Current,Voltage\n" + "1,12\n2,12.5\n" * 9),
        ["none of the columns 'Current', 'Voltage' holds times", "profile"],
    ),
    "names without end": (
        wrote("a.csv", ",".join(f"{k} {'x' * 4000}" for k in range(30)) + "\n" + ("1," * 29 + "1\n") * 9),
        ["nothing says which column is the current", "x…', '1 xxx", " and 22 more "],
    ),
    "readings without end": (
        wrote("a.csv", f"Time,Current {'x' * 4000},Current y\n" + "2026-06-13 10:00:00,1,2\n" * 9),
        ["columns 'Current xxx", "x…' and 'Current y' could both be current_A"],
    ),
    "unknown unit": (
        wrote("a.csv", TABLE.replace("({})", "[fur]")),
        ["a.csv, line 1, column 'Current [fur]'", "'fur' is not known", "units of current are A"],
    ),
    "contradictory unit": (
        wrote("a.csv", TABLE.format("V")),
        ["column 'Current (V)'", "unit of voltage, not of current"],
    ),
    "ambiguous dates": (wrote("a.csv", AMBIGUOUS), ["'05/06/2026 10:00:00'", "--dates d/m/y or --dates m/d/y"]),
    "volt-amperes alone": (
        wrote("a.csv", TABLE.replace("Current ({}),Voltage (V)", "Power (VA),Pump")),
        ["a.csv, line 1: column 'Power (VA)' is apparent power", "VA is not W", "active power in W"],
    ),
    "vars alone": (
        wrote("a.csv", TABLE.replace("Current ({}),Voltage (V)", "Reactive power,Pump")),
        ["column 'Reactive power' is reactive power", "var is not W"],
    ),
    "two ways of a current with signs": (
        wrote("a.csv", TABLE.replace("Current ({}),Voltage (V)", "Discharge (A),Charge (A)").replace(",12", ",-12")),
        ["'Discharge (A)' and 'Charge (A)'", "below nothing"],
    ),
    "two currents": (
        wrote("a.csv", TABLE.format("A").replace("Voltage (V)", "Amps")),
        ["'Current (A)' and 'Amps'", "profile"],
    ),
    "ambiguous decimals": (
        wrote("a.csv", "Time;Current (mA)\n2026-06-13 10:00;1,250\n2026-06-13 10:01;1,250\n"),
        ["column 'Current (mA)'", "--decimal comma"],
    ),
    "profile missing": (good("--profile", "nowhere.toml"), ["--profile", "no file nowhere.toml"]),
    "profile is no TOML": (with_profile("just words\n"), ["p.toml:1", "not valid TOML"]),
    "profile with half a bracket": (with_profile("[time\ncolumn = 'Time'\n"), ["p.toml:1", "write [time]"]),
    "profile with an unknown key": (
        with_profile("[file]\ndelimitr = 'comma'\n"),
        ["p.toml:2", "file.delimitr", "did you mean delimiter?"],
    ),
    "profile with a wrong type": (
        with_profile("[file]\nheader_line = 'one'\n"),
        ["p.toml:2", "file.header_line", "must be a whole number"],
    ),
    "profile with a wrong zone": (
        with_profile("zone = 'Mars/Base'\n"),
        ["the profile's zone", "'Mars/Base'", "Europe/London"],
    ),
    "profile with a wrong gap": (with_profile("gap = 'long'\n"), ["the profile's gap", "150s"]),
    "profile column not there": (
        with_profile('[quantities.current_A]\ncolumn = "Strom"\n'),
        ["quantities.current_A.column is 'Strom'", "'Current (A)'"],
    ),
    "profile with a quote left open": (
        with_profile('name = "bench\nside = "dc"\n'),
        ["p.toml:1", "opened but not closed", "the same quote"],
    ),
    "profile with another delimiter": (
        with_profile('[file]\ndelimiter = "bar"\n'),
        ["good.csv", 'the profile says delimiter = "bar"', "look comma-separated", "leave it out"],
    ),
    "a site file for a profile": (
        with_profile('name = "Marrowbrook"\n[bank]\nnominal_V = 24\n[[loads]]\nname = "fridge"\n'),
        ["p.toml: this looks like a site file (it has bank, loads)", "not a source profile"],
    ),
    "profile unit of something else": (
        with_profile('[quantities.current_A]\ncolumn = 2\nunit = "psi"\n'),
        ["column 'Current (A)'", "unit of pressure"],
    ),
    "the same export twice": (
        lambda folder: [*good()(folder), str(folder / ".." / folder.name / "good.csv")],
        ["good.csv: is given twice", "name each export once"],
    ),
    "standard input twice": (good("-", "-"), ["-: is given twice"]),
    "a copy of the export": (
        lambda folder: [*good()(folder), *wrote("copy.csv", GOOD)(folder)],
        ["copy.csv: is given twice", "good.csv holds the same", "leave one of them out"],
    ),
    "wrong zone": (good("--zone", "Mars/Base"), ["--zone", "'Mars/Base'", "Europe/London"]),
    "wrong start": (good("--start", "noon"), ["--start", "2026-06-13T09:30"]),
    "wrong gap": (good("--gap", "-5s"), ["--gap", "150s"]),
    "wrong option": (good("--delimiter", ","), ["--delimiter", "--help"]),
    "wrong choice": (good("--dates", "y/d/m"), ["--dates", "d/m/y"]),
}


def one_sentence(error: str, words: list[str]) -> None:
    """Check that an error is one line in plain words."""
    assert error.startswith("shuntbook: ")
    assert error.endswith("\n")
    assert error.count("\n") == 1
    assert "Traceback" not in error
    assert "Error" not in error
    assert len(error) < 1500
    for word in words:
        assert word in error


def snapshot(folder: Path) -> dict[Path, bytes | None]:
    """Return everything in a folder, to the byte."""
    return {path: path.read_bytes() if path.is_file() else None for path in sorted(folder.rglob("*"))}


@pytest.mark.parametrize("fault", CONVERT)
def test_convert_refuses_in_one_sentence_and_writes_nothing(tmp_path, monkeypatch, fault):
    """Place and way out are named; the folder is as it was."""
    monkeypatch.chdir(tmp_path)
    make, words = CONVERT[fault]
    arguments = make(tmp_path)
    before = snapshot(tmp_path)
    zone = () if "zone" in fault else LOCAL
    status, out, error = shuntbook("convert", *arguments, "--out", str(tmp_path / "log.parquet"), *zone)
    assert (status, out) == (2, "")
    one_sentence(error, words)
    assert snapshot(tmp_path) == before


def test_all_rows_bad_writes_the_rejects_alone(tmp_path):
    """They are what helps to see why."""
    done = convert(tmp_path, "Time,Amps\n" + "".join(f"2026-13-{k + 40} 10:00:00,1\n" for k in range(9)))
    assert done.status == 2
    one_sentence(
        done.error, ["none of its 9 rows could be read", "line 2", "found '2026-13-40 10:00:00'", "rejects.csv"]
    )
    assert not done.log_path.exists()
    assert done.reject_lines == list(range(2, 11))


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("there.parquet", ["--out", "exists already", "--force"]),
        ("folder", ["--out", "is a folder"]),
        ("missing/log.parquet", ["--out", "there is no folder", "make it first"]),
        # file systems take names of up to 255 bytes (from memory): that of its rejects, or it itself, is too long
        ("x" * 250, ["x" * 250 + ".rejects.csv", "cannot be written", "choose another place or name"]),
        ("x" * 300, ["--out", "x" * 300, "cannot be written", "choose another place or name"]),
    ],
)
def test_a_place_where_no_log_can_be(tmp_path, place, words):
    """What is there is not harmed."""
    (tmp_path / "good.csv").write_text(GOOD)
    (tmp_path / "there.parquet").write_text("mine")
    (tmp_path / "folder").mkdir()
    before = snapshot(tmp_path)
    status, out, error = shuntbook("convert", str(tmp_path / "good.csv"), "--out", str(tmp_path / place), *LOCAL)
    assert (status, out) == (2, "")
    one_sentence(error, words)
    assert snapshot(tmp_path) == before


#: What `charge` may be handed instead of a log.
CHARGE = {
    "no such log": (lambda folder: [str(folder / "none.parquet")], ["there is no such log"]),
    "empty": (wrote("a.parquet", ""), ["is not a log", "shuntbook convert"]),
    "an export": (wrote("a.csv", GOOD), ["is not a log", "shuntbook convert"]),
    "binary": (wrote("a.parquet", bytes(range(256)) * 64), ["is not a log"]),
    "a folder without logs": (a_folder, ["holds no log"]),
    "cut short": (
        lambda folder: wrote("a.parquet", convert(folder, GOOD).log_path.read_bytes()[:-30])(folder),
        ["damaged or cut short"],
    ),
    "its first bytes": (
        lambda folder: wrote("a.parquet", convert(folder, GOOD).log_path.read_bytes()[:3])(folder),
        ["damaged or cut short"],
    ),
    "its end alone": (
        lambda folder: wrote("a.parquet", convert(folder, GOOD).log_path.read_bytes()[500:])(folder),
        ["damaged or cut short"],
    ),
}


OPEN_EACH = """
import sys
from pathlib import Path
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.journal.opening import open_log

whole, path = Path(sys.argv[1]).read_bytes(), Path(sys.argv[2])
for at in range(len(whole) - 8 - int.from_bytes(whole[-8:-4], "little"), len(whole)):
    path.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << at % 8]) + whole[at + 1 :])
    try:
        open_log(path)
    except InputError as error:
        assert str(error).isprintable(), error
"""


def test_no_damaged_byte_of_a_logs_end_ends_the_process(tmp_path):
    """A bit flipped in each of them: Arrow would end the process where it is asked for the statistics of some."""
    log = convert(tmp_path, GOOD).log_path
    command = [sys.executable, "-c", OPEN_EACH, str(log), str(tmp_path / "b.parquet")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_log_with_a_column_twice_is_refused(tmp_path):
    """Which of them would be meant is not guessed."""
    stamps = pa.array([0, 1_000_000], pa.timestamp("us", tz="UTC"))
    for names in (["time", "time", "current_A"], ["time", "current_A", "current_A"]):
        columns = [stamps if name == "time" else pa.array([1.0, 2.0]) for name in names]
        pq.write_table(pa.table(columns, names=names), tmp_path / "a.parquet")
        status, _, error = shuntbook("charge", str(tmp_path / "a.parquet"))
        assert status == 2
        one_sentence(error, ["more than one column", names[1]])


def test_a_log_of_times_that_cannot_be_is_refused(tmp_path):
    """A damaged reading in the year 148,000 is no time to be shown."""
    for command, years in (("charge", [0, 1_000_000, 1 << 62]), ("look", [-(1 << 62), 0, 1 << 62])):
        stamps = pa.array(years, pa.timestamp("us", tz="UTC"))
        table = pa.table([stamps, pa.array([1.0, 2.0, 3.0])], names=["time", "current_A"])
        pq.write_table(table, tmp_path / "a.parquet")
        status, out, error = shuntbook(command, str(tmp_path / "a.parquet"))
        assert (status, out) == (2, "")
        one_sentence(error, ["a.parquet", "in no year from 1 to 9999", "convert its source again"])


@pytest.mark.parametrize("fault", CHARGE)
def test_charge_refuses_what_is_no_log(tmp_path, fault):
    """In one sentence that says how to come by one."""
    make, words = CHARGE[fault]
    arguments = make(tmp_path)
    before = snapshot(tmp_path)
    status, out, error = shuntbook("charge", *arguments)
    assert (status, out) == (2, "")
    one_sentence(error, words)
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--from", "breakfast"), ["--from", "'breakfast'", "10:30"]),
        (("--from", "10:00:30", "--to", "10:00:10"), ["--to", "does not lie after --from"]),
        (("--from", "23:00"), ["no reading lies in the span"]),
        (("--site", "nowhere.toml"), ["nowhere.toml", "there is no such file"]),
    ],
)
def test_charge_refuses_spans_and_sites_that_are_none(tmp_path, options, words):
    """And says how to write them."""
    log = convert(tmp_path, GOOD).log_path
    status, out, error = shuntbook("charge", str(log), *options)
    assert (status, out) == (2, "")
    one_sentence(error, words)


def test_a_typo_in_a_site_file(tmp_path):
    """The line, the key and the nearest known one."""
    site = tmp_path / "site.toml"
    site.write_text('name = "Marrowbrook"\n[bank]\nnominal_V = 24\ncapacty_Ah = 420\n')
    before = snapshot(tmp_path)
    status, out, error = shuntbook("check-site", str(site))
    assert (status, out) == (2, "")
    assert error.startswith(f"shuntbook: {site}:")
    assert "site.toml:4" in error
    assert "capacty_Ah" in error
    assert "did you mean capacity_Ah?" in error
    assert "Traceback" not in error
    assert snapshot(tmp_path) == before


def test_a_log_never_replaces_the_profile_it_is_read_by(tmp_path, capsys):
    """Not even with --force: the profile stays as it is."""
    export, profile = tmp_path / "a.csv", tmp_path / "shunt.toml"
    export.write_text("time,current [A]\n2026-06-13T10:00:00Z,1.5\n2026-06-13T10:00:01Z,1.5\n", encoding="utf-8")
    profile.write_text('[quantities.current_A]\ncolumn = "current [A]"\n', encoding="utf-8")
    before = profile.read_bytes()
    assert run(["convert", str(export), "--profile", str(profile), "--out", str(profile), "--force"]) == 2
    assert "is the profile" in capsys.readouterr().err
    assert profile.read_bytes() == before
