"""The demo: the invented scenario, from exports to page."""

from __future__ import annotations

import json
import re
import shutil

from page_reading import OF_WORDS_ALONE, undrawn  # noqa: F401  (a fixture)
from telling import unwrapped

from shuntbook.cli.main import run


def _json(capsys, *words):
    capsys.readouterr()
    assert run([*words, "--json"]) in (0, 4)
    return json.loads(capsys.readouterr().out)


def test_it_writes_what_its_list_names(demo):
    """The list in the folder names every file in it."""
    listed = set((demo / "written-by-demo.txt").read_text(encoding="utf-8").split("\n")) - {""}
    there = {path.name for path in demo.iterdir()}
    assert {"page.html", "open_day.parquet", "week_later.parquet", "site.toml"} <= there <= listed


@OF_WORDS_ALONE
def test_it_says_in_a_few_lines_what_it_found(demo_and_words, tmp_path, capsys):
    """What the pump took on both days and that it short-cycles on the second; what that rests on, on request."""
    written, whole = demo_and_words
    demo = tmp_path / "demo"
    shutil.copytree(written, demo)
    assert run(["demo", "--out", str(demo)]) == 0
    brief = capsys.readouterr().out
    lines = brief.splitlines()
    assert len(lines) <= 13
    charge, cycles = (
        _json(capsys, command, str(demo / "open_day.parquet"), "--site", str(demo / "site.toml"))
        for command in ("charge", "cycles")
    )
    assert f"The well pump took {cycles['summary']['charge_Ah']:.3f} Ah ±" in lines[0]
    assert f"{charge['charge']['drawn_Ah']:.2f} Ah ±" in lines[2]
    for words in ("the sum on paper says", "paid that back by 11:0", "ACT: The well pump starts", "page.html"):
        assert words in unwrapped(brief)
    whole = unwrapped(whole)
    assert "Why: from paper to nameplate power factor −" in whole
    assert "the wash shed inverter holds" in whole
    assert "starts too often" in whole


@OF_WORDS_ALONE
def test_the_array_is_named_wherever_the_site_file_has_one(demo, tmp_path, capsys):
    """The same words from `cycles` as from `report`; without the site file it may have been a charger."""
    log, site = str(demo / "open_day.parquet"), ("--site", str(demo / "site.toml"))
    for words in (("cycles", log, *site), ("report", log, *site, "--out", str(tmp_path / "page.html"))):
        assert run([*words]) == 0
        assert "Ah straight from the array." in unwrapped(capsys.readouterr().out)
    # On the page beside the load's figure: it may be more than what the bank gave to all loads.
    html = (tmp_path / "page.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert re.search(r"in 10 runs, at least [\d.]+ Ah of it straight from the array", html)
    assert run(["cycles", log]) == 0
    assert "Ah straight from what charged the bank." in unwrapped(capsys.readouterr().out)


def test_a_note_that_only_ends_is_no_stretch_of_its_own(demo, capsys):
    """The washing ends at "end": what was drawn after that is no washing, and is told under no name."""
    assert run(["charge", str(demo / "open_day.parquet"), "--explain"]) == 0
    out = unwrapped(capsys.readouterr().out)
    assert "“crates washed for the visitors”" in out
    assert "“end”" not in out
    marked = _json(capsys, "charge", str(demo / "open_day.parquet"))["marked"]
    assert [(stretch["text"], stretch["drawn_Ah"] > 0) for stretch in marked] == [
        ("crates washed for the visitors", True)
    ]
    notes = (demo / "page.html").read_text(encoding="utf-8").split("Drawn until the next")[1].split("</table>")[0]
    assert notes.count("<tr>") == 2
    assert "unknown" not in notes  # nothing is missing of a note that begins nothing


def test_only_the_second_week_short_cycles(demo, capsys):
    """The healthy day has no finding; a week later the tank has lost its air, and --strict says so."""
    site = str(demo / "site.toml")
    assert _json(capsys, "cycles", str(demo / "open_day.parquet"), "--site", site)["findings"] == []
    found = _json(capsys, "cycles", str(demo / "week_later.parquet"), "--site", site)["findings"]
    assert [(f["code"], f["severity"]) for f in found] == [
        ("short_cycling", "act"),
        ("air_charge_lost", "act"),
    ]
    assert run(["cycles", str(demo / "week_later.parquet"), "--site", site, "--strict"]) == 4


def test_a_foreign_file_is_not_replaced(tmp_path, capsys):
    """A file that the demo did not write stops it, and stays."""
    page = tmp_path / "page.html"
    page.write_text("mine", encoding="utf-8")
    assert run(["demo", "--out", str(tmp_path)]) == 2
    assert "page.html" in capsys.readouterr().err
    assert page.read_text(encoding="utf-8") == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_report_json_has_the_contract_s_keys(demo, capsys):
    """Scripts find every part; what is not worked out is null."""
    document = _json(capsys, "report", str(demo / "open_day.parquet"), "--site", str(demo / "site.toml"))
    for key in (
        "charge",
        "cycles",
        "nameplate",
        "ledger",
        "bank",
        "inverters",
        "conductors",
        "water",
        "solar",
        "findings",
        "cautions",
    ):
        assert key in document
    assert document["nameplate"]["chain"][0]["step"] == "paper"
    assert document["cautions"]


def test_the_page_shows_the_numbers_of_the_json(demo, capsys):
    """What the page prints is what --json says."""
    page = (demo / "page.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    document = _json(capsys, "report", str(demo / "open_day.parquet"), "--site", str(demo / "site.toml"))
    assert f"{document['charge']['charge']['drawn_Ah']:.2f} Ah" in page
    assert f"{document['nameplate']['measured_energy_Wh']:.1f} Wh ± " in page
    assert f"{document['cycles']['summary']['count']} starts" in page


def test_a_notebook_opens_the_log(demo):
    """``shuntbook.open_log(path).to_pandas()`` gives a table indexed by UTC."""
    import shuntbook

    frame = shuntbook.open_log(demo / "open_day.parquet").to_pandas()
    assert list(frame.columns) == ["current_A", "voltage_V", "power_W"]
    assert str(frame.index.tz) == "UTC"
    assert frame.index.is_monotonic_increasing
