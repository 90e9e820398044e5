"""Tables of a report: what JSON holds, to the last digit, in files that spreadsheets open and run nothing of."""

import csv
import io
import json
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from telling import told

from shuntbook.cli.render.documents.csv_tables import FILES, KINDS
from shuntbook.cli.render.documents.csv_text import BYTE_ORDER_MARK, csv_text, harmless

LIST = "written-by-shuntbook.txt"
# OWASP, "CSV Injection" (from memory): = + - @ tab CR, and their full-width forms in some languages.
DANGEROUS = "=+-@\uff1d\uff0b\uff0d\uff20"
NASTY = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", '"=1', "'=1", '" =1', "\uff1d1", "\u201c=1", "\ufeff=1"]


def plain(text):
    """A text as it was before it was made harmless, as the README says: without the apostrophe put before it."""
    return text[1:] if text.startswith("'") and harmless(text[1:]) == text else text


def rows_of(path):
    """A table as a spreadsheet's reader gives it: a row a dict of texts."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def value(text):
    """A cell as JSON would hold it."""
    if text in ("", "true", "false"):
        return {"": None, "true": True, "false": False}[text]
    try:
        return float(text)
    except ValueError:
        return plain(text)


@pytest.fixture(scope="module")
def tables(demo, tmp_path_factory):
    """The demo's tables, and the JSON of the same report."""
    out = tmp_path_factory.mktemp("tables") / "tables"
    logs = [str(demo / name) for name in ("open_day.parquet", "week_later.parquet")]
    site = ["--site", str(demo / "site.toml")]
    with pytest.MonkeyPatch.context() as patch:
        said = io.StringIO()
        patch.setattr("sys.stdout", said)
        from shuntbook.cli.main import run

        assert run(["report", *logs, *site, "--csv", str(out), "--json"]) == 0
    return out, json.loads(said.getvalue())


def test_every_kind_is_a_file_with_a_log_column(tables):
    """All kinds are there, whatever the logs hold, and the list of what was written beside them."""
    out, _ = tables
    assert {path.name for path in out.iterdir()} == {*FILES, LIST}
    for kind in KINDS:
        with (out / f"{kind}.csv").open(encoding="utf-8-sig", newline="") as file:
            assert next(csv.reader(file))[0] == "log"


def test_cycles_equal_json_to_the_last_digit(tables):
    """Every key of a cycle is a column, and reading it back gives the very same number."""
    out, document = tables
    wanted = [(log["charge"]["log"]["name"], cycle) for log in document["logs"] for cycle in log["cycles"]["cycles"]]
    rows = rows_of(out / "cycles.csv")
    assert len(rows) == len(wanted) > 100
    for row, (name, cycle) in zip(rows, wanted, strict=True):
        told = {key: row[f"{key}_utc"] if key in ("start", "stop") else value(row[key]) for key in cycle}
        assert (row["log"], told) == (name, cycle)


def _whole(log):
    charge = log["charge"]
    return [charge["charge"] | {k: v for k, v in charge["energy"].items() if "_Wh" in k}]


def _ledger(lines):
    return lambda log: [
        {
            **{k: line[k] for k in ("length_s", "measured_s", "highest_A", "sustained_W", "starts")},
            **line["charge"],
            **line["energy"],
            "state_at_end_pct": line["state_at_end_pct"]["value"],
            "state_at_end_low_pct": line["state_at_end_pct"]["low"],
            "start_utc": line["start"],
            "stop_utc": line["stop"],
            "full_cycles": line["wear"]["full_cycles"]["value"],
            "full_cycles_high": line["wear"]["full_cycles"]["high"],
            "depth_pct": line["wear"]["depth_pct"],
            "life_low_pct": line["wear"]["life_pct"]["low"],
            "life_cost": line["wear"]["cost"]["value"],
            "currency": line["wear"]["currency"],
        }
        for line in log["ledger"][lines]
    ]


def _steps(log):
    """The steps to amp-hours and those back, in one table."""
    directions = (("to Ah", "steps"), ("from Ah", "steps_back"))
    return [step | {"direction": word} for word, key in directions for step in log["nameplate"][key]]


@pytest.mark.parametrize(
    ("kind", "items"),
    [
        ("charge", _whole),
        ("budget", lambda log: log["charge"]["uncertainty"]),
        ("findings", lambda log: [f | {"cycles": len(f["cycles"])} for f in log["findings"]]),
        ("checks", lambda log: log["cycles"]["checks"]),
        ("days", _ledger("days")),
        ("demos", _ledger("demos")),
        ("marked", lambda log: [{k: v for k, v in m.items() if k not in ("start", "stop")} for m in log["marked"]]),
        ("nameplate", lambda log: log["nameplate"]["chain"]),
        ("reasons", lambda log: log["nameplate"]["paper_to_estimate"]["parts"]),
        ("paper_steps", _steps),
    ],
)
def test_tables_equal_json(tables, kind, items):
    """What stands in JSON stands in the table, in the same order, with all digits; unknown is an empty cell."""
    out, document = tables
    rows = rows_of(out / f"{kind}.csv")
    if kind == "reasons":
        rows = [row for row in rows if row["between"] == "paper_to_estimate"]
    wanted = [item for log in document["logs"] for item in items(log)]
    assert len(rows) == len(wanted) > 0
    for row, item in zip(rows, wanted, strict=True):
        cells = {key: value(row[key]) for key in item if key in row}
        assert cells == {key: None if item[key] == "" else item[key] for key in cells}
        assert len(cells) >= len(item) - 1  # a reason's sentence repeats its other cells


def test_pandas_opens_them_unasked(tables):
    """pandas takes numbers for numbers, the first column's name without the mark before it, and both times."""
    out, document = tables
    frame = pd.read_csv(out / "cycles.csv", parse_dates=["start_utc", "start_local"])
    cycles = [cycle for log in document["logs"] for cycle in log["cycles"]["cycles"]]
    assert frame.columns[0] == "log"
    # An older pandas may lose the last of 16 digits, unasked.
    assert frame["charge_Ah"].tolist() == pytest.approx([cycle["charge_Ah"] for cycle in cycles], rel=1e-15)
    assert frame["base_drift_A"].min() < 0
    local = frame["start_utc"].dt.tz_convert("Europe/London").dt.tz_localize(None)
    assert (local - frame["start_local"]).abs().max() <= pd.Timedelta(microseconds=500)


def test_form_is_that_of_rfc_4180(tables):
    """Lines end in CR LF, all have as many cells as the head; the file begins with the mark that spreadsheets need."""
    out, _ = tables
    content = (out / "findings.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbflog,code,")
    assert content.count(b"\r\n") == content.count(b"\n") == 3
    assert {len(row) for row in csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True)} == {
        len(KINDS["findings"].head)
    }


# ---- Times ----------------------------------------------------------------------------------------------------------


def _log(tmp_path, rows, *more):
    """A log of a few readings, converted from CSV."""
    export, log = tmp_path / "meter.csv", tmp_path / "meter.parquet"
    export.write_text("\n".join(["time,current [A],voltage [V]", *rows]) + "\n", encoding="utf-8")
    from shuntbook.cli.main import run

    assert run(["convert", str(export), "--out", str(log), *more]) == 0
    return log


def test_an_hour_passed_twice_is_told_by_its_offset(tmp_path, capsys):
    """On 25 October 2026 London's clocks go from 01:59:59 BST back to 01:00 GMT (Directive 2000/84/EC, from memory)."""
    rows = [f"2026-10-25T{h:02d}:{m:02d}:00Z,5.0,25.0" for h in (0, 1) for m in range(60)]
    log = _log(tmp_path, rows, "--zone", "Europe/London")
    status, _, _ = told(capsys, "report", log, "--csv", tmp_path / "t")
    (row,) = rows_of(tmp_path / "t" / "charge.csv")
    assert status == 0
    assert (row["start_local"], float(row["start_offset_h"])) == ("2026-10-25 01:00:00", 1.0)
    assert (row["stop_local"], float(row["stop_offset_h"])) == ("2026-10-25 01:59:00", 0.0)
    assert (row["start_utc"], row["stop_utc"]) == ("2026-10-25T00:00:00Z", "2026-10-25T01:59:00Z")
    assert (row["zone"], float(row["stop_elapsed_s"])) == ("Europe/London", 7140.0)
    stop = datetime.fromisoformat(row["stop_utc"]).astimezone(ZoneInfo(row["zone"]))
    assert stop.replace(tzinfo=None) == datetime.fromisoformat(row["stop_local"])


def test_a_log_without_dates_has_only_the_time_since_its_start(tmp_path, capsys):
    """No calendar figure is made up: those cells are empty."""
    export, log = tmp_path / "meter.csv", tmp_path / "meter.parquet"
    export.write_text("seconds,current [A]\n" + "".join(f"{s},5.0\n" for s in range(120)), encoding="utf-8")
    assert told(capsys, "convert", export, "--out", log)[0] == 0
    assert told(capsys, "report", log, "--csv", tmp_path / "t")[0] == 0
    (row,) = rows_of(tmp_path / "t" / "charge.csv")
    assert [row[name] for name in ("zone", "start_utc", "start_local", "start_offset_h", "stop_utc")] == [""] * 5
    assert (float(row["start_elapsed_s"]), float(row["stop_elapsed_s"])) == (0.0, 119.0)


# ---- Nothing that a spreadsheet would run ----------------------------------------------------------------------------


def cells_of(text, delimiter):
    """Cells as a spreadsheet that parts them at `delimiter` would find them."""
    return [cell for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) for cell in row]


def runs(cell):
    """Whether a spreadsheet might run a cell: a number is none, and quotes and blanks may be skipped before a sign."""
    try:
        float(cell)
    except ValueError:
        bare = cell.strip(" \t\r\n\"'\u201c\u201d\ufeff\u200b")
        return bare[:1] in tuple(DANGEROUS) and not cell.lstrip().startswith("'")
    return False


texts = st.text(st.sampled_from(DANGEROUS + ";,\t\r\n\"' \u201c\ufeff\u200bA1"), max_size=8) | st.text()


@example(["a;=1"], -1.0)
@example(["a\t=1", 'b";"=1'], 0.0)
@example(["a\n=1"], 0.0)
@given(st.lists(texts, min_size=1, max_size=3), st.floats(allow_nan=False, allow_infinity=False))
def test_no_text_runs_wherever_cells_are_parted(cells, number):
    """At commas, semicolons or tabs, no cell of a table starts as a formula does."""
    table = csv_text(["log", "number", *map(str, range(len(cells)))], [["pump", number, *cells]])
    for delimiter in ",;\t":
        assert not [cell for cell in cells_of(table.removeprefix(BYTE_ORDER_MARK), delimiter) if runs(cell)]


@given(texts)
def test_what_was_put_before_a_text_can_be_taken_away(text):
    """Apostrophes are added and nothing else; a text that needs none is left as it is."""
    made = harmless(text)
    assert made.replace("'", "") == text.encode("utf-8", "backslashreplace").decode().replace("'", "")
    assert made == text or len(made) > len(text)


@pytest.mark.parametrize("text", NASTY)
def test_known_ways_are_marked(text):
    """Signs, full-width signs, after blanks, quotes and a byte order mark: an apostrophe stands first in the cell."""
    assert harmless(text).startswith("'")
    assert harmless(text).replace("'", "") == text.replace("'", "")


@pytest.mark.parametrize("text", ["pump", "2 - 3", "a=b", "5 °C", "crates, -5 outside", "", "one; two", "«pump»"])
def test_ordinary_texts_are_left_alone(text):
    """A sign inside a text starts no formula, nor does a comma: cells with commas stand in quotation marks."""
    assert harmless(text) == text


def test_a_negative_number_stays_a_number():
    """Only texts are marked; what is not finite, or unknown, is an empty cell."""
    table = csv_text(["log", "a", "b", "c", "d"], [["-x", -1.5, None, float("nan"), True]])
    assert table == f"{BYTE_ORDER_MARK}log,a,b,c,d\r\n'-x,-1.5,,,true\r\n"


def test_hostile_names_and_notes_come_out_marked(demo, tmp_path, capsys):
    """A log called like a formula is harmless in every table that names it."""
    log = tmp_path / "=HYPERLINK(1).parquet"
    log.write_bytes((demo / "week_later.parquet").read_bytes())
    assert told(capsys, "report", log, "--csv", tmp_path / "t")[0] == 0
    rows = [row for kind in KINDS for row in rows_of(tmp_path / "t" / f"{kind}.csv")]
    assert {row["log"] for row in rows} == {"'=HYPERLINK(1).parquet"}


# ---- The folder ------------------------------------------------------------------------------------------------------


@pytest.fixture
def small(tmp_path):
    """A log of two minutes, and a function that writes its tables into a folder."""
    return _log(tmp_path, [f"2026-06-13T10:{m:02d}:{s:02d}Z,5,25" for m in (0, 1) for s in range(60)])


def _sums(folder):
    return {path.name: sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


def test_own_tables_are_replaced_and_others_left(small, tmp_path, capsys):
    """Run again, the same bytes; a file of another name stays."""
    folder = tmp_path / "t"
    assert told(capsys, "report", small, "--csv", folder)[0] == 0
    (folder / "mine.txt").write_text("mine", encoding="utf-8")
    before = _sums(folder)
    assert told(capsys, "report", small, "--csv", folder)[0] == 0
    assert _sums(folder) == before
    listed = dict(line.split("  ")[::-1] for line in (folder / LIST).read_text(encoding="utf-8").splitlines())
    assert listed == {name: total for name, total in before.items() if name.endswith(".csv")}


@pytest.mark.parametrize("name", ["cycles.csv", "days.csv", LIST])
def test_what_was_changed_or_is_not_ours_is_kept(small, tmp_path, capsys, name):
    """A table that somebody worked on is not replaced without --force, nor is any other."""
    folder = tmp_path / "t"
    assert told(capsys, "report", small, "--csv", folder)[0] == 0
    (folder / name).write_text("mine", encoding="utf-8")
    before = _sums(folder)
    status, out, err = told(capsys, "report", small, "--csv", folder)
    assert (status, out, _sums(folder)) == (2, "", before)
    assert "choose another folder or add --force" in err and len(err.splitlines()) == 1
    assert told(capsys, "report", small, "--csv", folder, "--force")[0] == 0
    assert (folder / name).read_text(encoding="utf-8") != "mine"


def test_places_where_no_folder_can_be_are_refused(small, tmp_path, capsys):
    """A file, a place without a parent, the page's own name, a folder in a table's place: one sentence, status 2."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    (tmp_path / "t" / "cycles.csv").mkdir(parents=True)
    for words, said in (
        (["--csv", tmp_path / "file"], "is a file; name a folder"),
        (["--csv", tmp_path / "no" / "t"], "there is no folder"),
        (["--csv", tmp_path / "x", "--out", tmp_path / "x"], "is the page itself"),
        (["--csv", tmp_path / "t", "--force"], "is a folder where a file is to be"),
        ([], "--csv DIR"),
    ):
        status, out, err = told(capsys, "report", small, *words)
        assert (status, out) == (2, "") and said in err and len(err.splitlines()) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "meter.csv", "meter.parquet", "t"]


def test_a_new_folder_is_whole_or_absent(small, tmp_path, capsys, monkeypatch):
    """If writing ends half-way, nothing of it is left."""
    from shuntbook.ingest.safe_files import own_folder

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(own_folder, "write_text", full)
    status, _, err = told(capsys, "report", small, "--csv", tmp_path / "t")
    assert status == 3 and "t" in err
    assert {path.name for path in tmp_path.iterdir()} == {"meter.csv", "meter.parquet"}


def test_a_link_is_not_followed(small, tmp_path, capsys):
    """A table's name that points elsewhere is somebody's own."""
    (tmp_path / "t").mkdir()
    target = tmp_path / "elsewhere"
    target.write_text("mine", encoding="utf-8")
    Path(tmp_path / "t" / "days.csv").symlink_to(target)
    assert told(capsys, "report", small, "--csv", tmp_path / "t")[0] == 2
    assert told(capsys, "report", small, "--csv", tmp_path / "t", "--force")[0] == 0
    assert target.read_text(encoding="utf-8") == "mine"
