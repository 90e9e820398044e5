"""A report on one sheet: one of A4 and one of Letter, whatever the logs bring along, with the answer and cautions."""

import io
from dataclasses import replace
from itertools import product

import pytest
from hostile_page import LONG, hostile_report
from page_reading import Reader
from report_scenes import make_later, make_log, make_report, make_site, with_facts, with_parts

from shuntbook.analysis.cautions import BANK, CODES, MAINS, TANK
from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.health.finding import Check, Finding
from shuntbook.analysis.health.tank import AIR_FIRST_STEP
from shuntbook.analysis.site.water import Water
from shuntbook.cli.main import run
from shuntbook.cli.render.page import page as page_module
from shuntbook.cli.render.page import paper
from shuntbook.cli.render.page.page import render_one_page
from shuntbook.cli.render.wording.how_it_runs import highest_start, usual_draw
from shuntbook.ingest.errors import InputError

# A PDF is dear, and a sheet that is too full is laid out several times.
pytestmark = [pytest.mark.xdist_group("paper"), pytest.mark.timeout(900)]
#: Sheets in points (ISO 216; ANSI).
SHEETS = {"A4": (595, 842), "Letter": (612, 792)}


def _reports():
    """Two logs, one without a run, hostile ones, many findings, and a site whose conductors fail."""
    many = tuple(
        Finding("draw_drift", "act", f"The pump draws {LONG[:90]}", "", "", "", "", LONG[:300], plain=LONG[:300])
        for _ in range(9)
    )
    none = make_log(cycles=Cycles((), CycleSummary(0, None, None, None, None), "current_A"), close_up=None, findings=())
    long_name = make_site().model_copy(update={"name": "the wash shed of the market garden at Marrowbrook " * 4})
    return {
        "two": make_report(make_log(), make_later()),
        "no runs": make_report(none, site=None),
        "hostile": hostile_report(),
        "many findings": make_report(
            make_log("a" * 200, findings=many), make_log("b" * 200, findings=many), site=long_name
        ),
    }


def _sound(page):
    """What a page says: balanced, with each id once, with nothing that fetches and without a script."""
    reader = Reader(page)
    assert reader.open == reader.wrong == []
    assert len(reader.ids) == len(set(reader.ids))
    assert "script" not in reader.tags
    return reader.said


#: By day each size once; the others by night, above all sheets that are far too full, which are laid out many times.
BY_DAY = [("no runs", "A4"), ("no runs", "Letter")]


@pytest.mark.parametrize(
    ("name", "sheet"),
    [
        each if each in BY_DAY else pytest.param(*each, marks=pytest.mark.night)
        for each in product(("two", "no runs", "hostile", "many findings"), SHEETS)
    ],
)
def test_one_sheet_of_either_size(name, sheet, monkeypatch):
    """Made into a PDF, it is one sheet of A4, and one of Letter; unsafe conductors at its top change nothing."""
    try:
        paper.refuse_without_library()
    except InputError as missing:
        pytest.skip(str(missing))
    pypdf = pytest.importorskip("pypdf")
    fails = f"Conductor '{LONG[:60]}' fails. {'The fuse is larger than the cable may carry. ' * 6}"
    monkeypatch.setattr(
        page_module.site_sentences, "unsafe", lambda _: [fails] * 5 + ["A licensed electrician decides."]
    )
    page = render_one_page(_reports()[name])
    assert "A licensed electrician decides." in page
    if sheet == "Letter":
        page = page.replace("size: A4; margin: 9mm 12mm 27mm", "size: Letter; margin: 9mm 15mm")
    sheets = pypdf.PdfReader(io.BytesIO(paper.to_pdf(page))).pages
    assert len(sheets) == 1
    assert (float(sheets[0].mediabox.width), float(sheets[0].mediabox.height)) == pytest.approx(SHEETS[sheet], abs=1)


def test_it_holds_answer_figures_cautions_place_and_date():
    """What is to be handed out is all there, and leads nowhere; the tank's caution where something was found."""
    said = _sound(render_one_page(make_report(make_log(), make_later()))).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "Marrowbrook",
        "9 Jun 2026",
        "▲ Act",
        "The pump short-cycles.",
        "Charge drawn",
        BANK,
        MAINS,
        TANK,
        CODES,
    ):
        assert words in said
    assert TANK not in _sound(render_one_page(make_report(make_log())))
    assert "href" not in render_one_page(make_report(make_later()))


def test_command_writes_both_and_says_where_it_goes(demo, tmp_path, capsys):
    """`--one-page` lays out --out and --pdf; alone it says what is missing, and the long page stays the default."""
    log = str(demo / "week_later.parquet")
    assert run(["report", log, "--one-page"]) == 2
    assert "--out PAGE.html" in capsys.readouterr().err
    short, long = tmp_path / "short.html", tmp_path / "long.html"
    assert run(["report", log, "--one-page", "--out", str(short)]) == 0
    assert run(["report", log, "--out", str(long)]) == 0
    assert 'class="one-page"' in short.read_text(encoding="utf-8")
    assert 'class="one-page"' not in long.read_text(encoding="utf-8")


def test_it_says_what_each_part_took():
    """Part, how long, what the bank gave and what the load took; of two logs each by its name; none without notes."""
    noted = with_facts(with_parts(make_log(), 90, 1190, 2000), title="Open day at the shed")
    said = _sound(render_one_page(make_report(noted))).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "Open day at the shed",
        "first crate",
        "18 min 20 s",
        "1.000 Ah ± 0.016 (25.0 Wh ± 0.4)",
        "in 5 runs",
    ):
        assert words in said
    assert "What each part took: Open day at the shed" in _sound(render_one_page(make_report(noted, make_later())))
    assert "What each part took" not in _sound(render_one_page(make_report(make_log())))


def test_findings_have_room_and_plates_stand_beside_them():
    """What it may be and what to check first, each finding by itself; the plates of the pump and of what it runs on."""
    (grave,) = (finding for finding in make_later().findings if finding.severity == "act")
    told = replace(grave, evidence="9 of 9 too short", causes="A tank without air.", check_first="Have it checked.")
    other = replace(told, code="leak_down", severity="watch", plain="It starts though nobody draws water.")
    ill = replace(make_later(), findings=(other, told))
    water = {"load": "well pump", "tank_volume_gal": 44, "cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38}
    site = make_site().model_copy(update={"water": Water.model_validate(water)})
    said = _sound(render_one_page(make_report(ill, site=site))).replace("\N{NO-BREAK SPACE}", " ")
    for words in ("Seen: 9 of 9 too short.", "What it may be: A tank without air.", "Watch: It starts though nobody"):
        assert words in said
    # What both ask to be checked stands once.
    assert said.count("Have it checked.") == 1
    given = "pre-charge given as 262 kPa, not measured here; while it has that, it gives"
    for words in ("0.5 hp", given, "starts at 276 kPa", "Bank: 24 V, 420 Ah"):
        assert words in said
    assert "Findings" not in said
    assert "What was found" not in _sound(render_one_page(make_report(make_log())))


def test_an_installer_reads_what_the_load_draws_what_is_in_order_and_finds_room_for_the_air():
    """Running draw, highest start, starts in the busiest hour; what all loads took by that name; and what was passed.

    Room to write the pressures down stands where the air is to be checked, and nowhere else.
    """
    passed = tuple(Check(code, "passed", "", "", "") for code in ("leak_down", "charge_wrong_sign"))
    log = replace(make_log(), checks=(*passed, Check("draw_drift", "not judged", "", "", "")))
    said = _sound(render_one_page(make_report(log))).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        f"Draws while it runs {usual_draw(log.cycles)}",
        f"Draws at its highest start {highest_start(log.cycles)}",
        "Out of the bank, all loads 13.3 Ah (332 Wh)",
        "Checked, and nothing found: water leaking away. Not judged: running draw over days.",
    ):
        assert words in said
    assert "Measured by the installer" not in said
    air = replace(make_later().findings[0], severity="watch", first_step=AIR_FIRST_STEP)
    assert "Measured by the installer: air of the empty tank" in _sound(
        render_one_page(make_report(replace(log, findings=(air,))))
    )


def test_a_visitor_is_asked_for_nothing():
    """What is not known for want of a site file stands on the owner's long page alone."""
    bare = make_report(make_log(), site=None)
    assert "needs a site file" not in _sound(render_one_page(bare))
    assert "needs a site file" in page_module.render(bare)
