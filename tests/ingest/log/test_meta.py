"""Metadata that a foreign or damaged file may hold: out of all bounds it is one sentence, in every command."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from exporting import convert, shuntbook
from places import SAMPLES

from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log.meta import METADATA_KEY, TEXT_MOST, LogMeta, meta_from

ROWS = "\n".join(f"2026-06-13T10:{k // 60:02}:{k % 60:02}Z,{40 if k % 60 < 20 else 2},25" for k in range(600))
EXPORT = f"time,current [A],voltage [V]\n{ROWS}\n"
#: What no log says of itself: more than can be counted in 64 bits, parts of nothing, halves of letters, and no end.
WRONG = [
    *[("usual_interval_s", x) for x in (1e200, 2e13, -1.0, 5e-324, float("nan"), float("inf"), 10**400, True, "1")],
    *[("gap_limit_s", x) for x in (1e200, 0, 1e-300, float("-inf"))],
    ("other_gap_limit_s", 1e15),
    *[(name, x) for name in ("rows_read", "rows_kept", "rows_rejected", "rows_merged") for x in (-1, 10**16, 1.5)],
    *[
        (name, x)
        for name in ("title", "meter", "profile", "tool_version", "capture_id")
        for x in ("\ud800", "x" * 2_000_000, 5)
    ],
    *[("zone", x) for x in ("\udcff", "right/UTC", "localtime", "a/" * 50_000, "..", "")],
    *[("markers", [[0, x]]) for x in ("\udfff", "x" * 2_000_000, None)],
    ("markers", [[10**18, "x"]]),
    *[(name, [x]) for name in ("said", "moved") for x in ("\ud83d", "x" * 2_000_000, {})],
    *[("source", [{"name": x}]) for x in ("\ud800", "x" * 2_000_000, ["a"], {"a": {}})],
    ("source", [{"\ud800": "x"}]),
    ("clock_steps", [{"at_us": 0, "step_s": 1e300}]),
]


def _log_with(place: Path, whole: Path, name: str, value: object) -> Path:
    """Write a log whose metadata says something else under a name."""
    table = pq.read_table(whole)
    notes = json.loads(pq.read_metadata(whole).metadata[METADATA_KEY]) | {name: value}
    pq.write_table(table.replace_schema_metadata({METADATA_KEY: json.dumps(notes).encode()}), place)
    return place


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return a log that is in order."""
    done = convert(tmp_path_factory.mktemp("whole"), EXPORT)
    assert done.status == 0, done.error
    return done.log.path


@pytest.mark.parametrize(("name", "value"), WRONG, ids=lambda x: repr(x)[:20])
def test_what_is_out_of_all_bounds_is_told_by_its_name(name, value):
    """The file and the item, in a sentence of a readable length."""
    notes = {"format": "1.0", name: value}
    with pytest.raises(InputError) as refused:
        meta_from(Path("a.parquet"), json.dumps(notes).encode())
    sentence = str(refused.value)
    assert sentence.startswith("a.parquet: the log's notes (metadata) are damaged")
    assert name in sentence or value == 10**400  # no number of JSON, so the whole of it
    assert len(sentence) < 200


@pytest.mark.parametrize(
    ("name", "value"), [("usual_interval_s", 1e200), ("meter", "\ud800"), ("rows_kept", -5), ("said", ["x" * 10**6])]
)
def test_every_command_refuses_it_in_one_sentence(whole, tmp_path, capsys, monkeypatch, name, value):
    """Status 2 and one line of standard error; nothing on standard output, nothing left behind."""
    monkeypatch.chdir(tmp_path)
    _log_with(tmp_path / "bad.parquet", whole, name, value)
    site = str(SAMPLES / "site.toml")
    for words in (
        ["look", "bad.parquet"],
        ["charge", "bad.parquet"],
        ["cycles", "bad.parquet", "--site", site],
        ["report", "bad.parquet", "--site", site, "--out", "a.html"],
        ["report", str(whole), "bad.parquet", "--json"],
        ["compare", str(whole), "bad.parquet"],
        ["forecast", "--site", site, "--load", "well pump", "--for", "15m", "--measured", "bad.parquet"],
        ["convert", "bad.parquet", "--out", "b.parquet", "--reverse-sign"],
        ["capture", "replay:bad.parquet?speed=max", "--out", "c.parquet", "--quiet"],
    ):
        status = run(words)
        out, err = capsys.readouterr()
        assert (status, out, err.count("\n")) == (2, "", 1), (words, err)
        assert "bad.parquet: the log's notes (metadata) are damaged" in err
    assert [path.name for path in tmp_path.iterdir()] == ["bad.parquet"]


def test_a_fleet_with_such_logs_tells_each_and_reads_the_others(whole, tmp_path, monkeypatch):
    """One damaged log is one line of the summary, whatever is wrong with it and whoever asks for its meter first."""
    monkeypatch.chdir(tmp_path)
    Path("logs").mkdir()
    Path("sites").mkdir()
    Path("logs/whole.parquet").write_bytes(whole.read_bytes())
    few = dict(WRONG)
    for k, (name, value) in enumerate(few.items()):
        _log_with(Path(f"logs/bad{k}.parquet"), whole, name, value)
    status, out, err = shuntbook("fleet", "logs", "--site-dir", "sites", "--workers", "1", "--json")
    assert status == 0, err
    rows = {row["log"]: row for row in json.loads(out)["ranking"]}
    assert rows.pop("whole.parquet")["status"] == "read"
    assert {row["status"] for row in rows.values()} == {"not read"}
    assert len(rows) == len(few)
    assert pq.read_table("fleet.parquet").num_rows == len(few) + 1


#: How a kept row may be damaged, by day and by night.
DAMAGES = [
    ({"summary": {"log": 1}}, {"of": None}),
    pytest.param(({"summary": []}, {"summary": None}, {"log": []}), marks=pytest.mark.night),
]


@pytest.mark.parametrize("damages", DAMAGES)
def test_a_kept_row_that_was_damaged_is_read_again(whole, damages, tmp_path, monkeypatch):
    """What stands beside a summary is no reason for the next run to end."""
    monkeypatch.chdir(tmp_path)
    Path("whole.parquet").write_bytes(whole.read_bytes())
    assert shuntbook("fleet", ".", "--out", "f.parquet", "--workers", "1")[0] == 0
    rows = Path("f.parquet.rows")
    title, row = rows.read_text(encoding="ascii").splitlines()
    for damaged in damages:
        rows.write_text(f"{title}\n{json.dumps(json.loads(row) | damaged)}\n{'[' * 100_000}\n", encoding="ascii")
        status, out, err = shuntbook("fleet", ".", "--out", "f.parquet", "--workers", "1")
        assert status == 0, err
        assert "1 log read" in out


def test_what_is_written_can_be_read_again():
    """Texts longer than are read are cut where they are written, and bytes of a name that are no text are marked."""
    meta = LogMeta(meter="m" * (TEXT_MOST + 1), source=[{"name": "a\udcff.csv"}], markers=[(5, "n" * (TEXT_MOST + 1))])
    again = meta_from(Path("a.parquet"), meta.to_json())
    assert again.meter == "m" * TEXT_MOST
    assert again.markers == [(5, "n" * TEXT_MOST)]
    assert again.source == [{"name": "a?.csv"}]
