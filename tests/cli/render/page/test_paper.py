"""The report as a PDF: whole, in one piece with the page, its text inside its sheets and its fonts inside the file."""

import io
import os
import re
import shutil
import subprocess
import sys
from functools import partial

import numpy as np
import pytest

from shuntbook.cli.main import run
from shuntbook.cli.render.page import paper
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.wording.numbers import PLUS_MINUS_MEANS
from shuntbook.ingest.errors import InputError

pytestmark = pytest.mark.xdist_group("paper")  # the PDF is dear, and made once in one process


def _library():
    """Skip without WeasyPrint and its Pango; with ``SHUNTBOOK_PDF_REQUIRED=1`` fail."""
    try:
        paper.refuse_without_library()
    except InputError as missing:
        _without(str(missing))


def _without(reason):
    """Skip a test for want of something, or fail it where that was promised."""
    if os.environ.get("SHUNTBOOK_PDF_REQUIRED"):
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="module")
def made(demo, tmp_path_factory):
    """The PDF of one log, as the command makes it, and the page's first numbers."""
    _library()
    out = tmp_path_factory.mktemp("paper") / "day.pdf"
    assert run(["report", str(demo / "week_later.parquet"), "--site", str(demo / "site.toml"), "--pdf", str(out)]) == 0
    return out


@pytest.fixture(scope="module")
def sheets(made):
    """Its sheets, by a reader of somebody else's making."""
    pypdf = pytest.importorskip("pypdf")
    return pypdf.PdfReader(io.BytesIO(made.read_bytes())).pages


def test_pdf_holds_the_page_s_text(demo, sheets):
    """The answer and the tiles, short tables, the cautions, and the place in the document on every sheet."""
    text = _squeezed("".join(sheet.extract_text() for sheet in sheets))  # a line may end within a word, at a hyphen
    page = (demo / "page.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    first = page.split('class="glances"')[1].split("</section>")[0]  # what asks for action is told of first: this log
    numbers = re.findall(r'<b class="figure">([^<]+)</b>|<b>(\d[^<]*)</b>', first)
    numbers = [figure or tile for figure, tile in numbers]
    assert len(numbers) >= 3
    assert all(_squeezed(number) in text for number in numbers)
    for words in (
        "What went out and what came back",
        PLUS_MINUS_MEANS,
        "A battery bank delivers thousands of amps",
    ):
        assert _squeezed(words) in text
    assert len(sheets) <= 10
    assert all(f"{place} / {len(sheets)}" in sheet.extract_text() for place, sheet in enumerate(sheets, start=1))


def _squeezed(text):
    return re.sub(r"\s+", "", text)


def test_nothing_stands_outside_its_sheet(sheets):
    """Every piece of text begins inside its A4 sheet's edges."""
    for sheet in sheets:
        width, height = float(sheet.mediabox.width), float(sheet.mediabox.height)
        assert (width, height) == pytest.approx((595.3, 841.9), abs=0.5)  # A4, ISO 216: 210 x 297 mm
        places = []
        sheet.extract_text(visitor_text=partial(_placed, places))
        assert places
        assert all(0 < x < width - 20 and 0 < y < height for x, y in places)


def _placed(places, text, cm, tm, *_):
    """Note where a piece of text begins: the text's matrix, then the sheet's (PDF 32000, 8.3.3).

    Text of a chart comes with an empty matrix of the sheet: this reader does not tell where a chart stands.
    """
    if text.strip() and cm[3] < 0:
        places.append((tm[4] * cm[0] + tm[5] * cm[2] + cm[4], tm[4] * cm[1] + tm[5] * cm[3] + cm[5]))


def test_margins_are_white(made, tmp_path):
    """Drawn as pixels no sheet has anything in its outer 10 mm at either side: no chart and no table runs off it."""
    drawing = shutil.which("pdftoppm")
    if drawing is None:
        _without("there is no pdftoppm (Debian: poppler-utils) here")
    subprocess.run([drawing, "-r", "50.8", "-gray", made, tmp_path / "sheet"], check=True)
    drawn = sorted(tmp_path.glob("sheet*.pgm"))
    assert len(drawn) >= 3
    for path in drawn:
        (width, height), pixels = _pgm(path.read_bytes())
        assert (width, height) == pytest.approx((420, 594), abs=1)  # 2 pixels a millimetre
        assert pixels.min() < 100
        assert min(pixels[:, :20].min(), pixels[:, -20:].min()) == 255


def _pgm(content):
    """Read a picture in grey (Netpbm, PGM): its size and its pixels, row by row."""
    magic, size, _, pixels = content.split(b"\n", 3)
    assert magic == b"P5"
    width, height = map(int, size.split())
    return (width, height), np.frombuffer(pixels, dtype=np.uint8).reshape(height, width)


def test_fonts_are_inside(sheets):
    """Every font's outlines are in the file, so that it looks alike everywhere."""
    fonts = [font.get_object() for sheet in sheets for font in sheet["/Resources"]["/Font"].get_object().values()]
    assert fonts
    for font in fonts:
        parts = [part.get_object() for part in font.get("/DescendantFonts", [font])]
        described = [part["/FontDescriptor"].get_object() for part in parts]
        assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(one) for one in described)


def test_charts_have_the_page_s_colours():
    """A drawing outside a browser knows no variables: each is a colour by then, and the small drawings are gone."""
    from report_scenes import make_report

    drawn = "".join(re.findall(r"<svg.*?</svg>", paper._for_paper(render(make_report())), re.DOTALL))
    assert "var(" not in drawn
    assert "#0072b2" in drawn
    assert drawn.count("<svg") == len(re.findall(r'<div class="wide">', render(make_report())))


def test_same_page_same_bytes():
    """Nothing in the file depends on when it was made."""
    _library()
    from report_scenes import make_log, make_report

    page = render(make_report(make_log(plate=None, close_up=None, findings=())))
    assert paper.to_pdf(page) == paper.to_pdf(page)


def test_places_are_kept_safe(demo, made, tmp_path, capsys):
    """No file is replaced unasked, no input ever, and page and PDF are two files."""
    log, site = str(demo / "open_day.parquet"), str(demo / "site.toml")
    before = made.read_bytes()
    assert run(["report", log, "--pdf", str(made)]) == 2
    assert "--force" in capsys.readouterr().err
    assert made.read_bytes() == before
    assert run(["report", log, "--site", site, "--pdf", site, "--force"]) == 2
    assert "--pdf" in capsys.readouterr().err
    both = str(tmp_path / "one")
    assert run(["report", log, "--pdf", both, "--out", both]) == 2
    assert "both name" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_without_the_library_one_sentence_says_what_to_do(demo, tmp_path, capsys, monkeypatch):
    """Without WeasyPrint, or without the system's Pango, the command ends with status 2 and nothing is written."""
    log, out = str(demo / "open_day.parquet"), tmp_path / "day.pdf"
    monkeypatch.setattr(paper, "find_spec", lambda _: None)
    assert run(["report", log, "--pdf", str(out)]) == 2
    assert "shuntbook[pdf]" in capsys.readouterr().err
    monkeypatch.setattr(paper, "find_spec", lambda _: True)
    monkeypatch.setitem(sys.modules, "weasyprint", _NoPango())
    assert run(["report", log, "--pdf", str(out)]) == 2
    told = capsys.readouterr().err
    assert "libpango-1.0-0" in told
    assert "print it from a browser" in told
    assert told.count("\n") == 1
    assert not out.exists()


class _NoPango:
    """Stands for a library whose system part is missing: WeasyPrint then raises OSError as it is imported."""

    @property
    def HTML(self):
        raise OSError("cannot load library 'pango-1.0-0'\nmore of it")
