"""The card: what stands on it, that nothing leaves it or covers anything else, and that it is the same each time."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import replace
from itertools import combinations, product

import pytest
from matplotlib.colors import to_hex
from matplotlib.font_manager import findfont, get_font
from matplotlib.text import Text
from PIL import Image
from places import ROOT
from report_scenes import make_later, make_log, make_report, make_site, with_facts
from telling import told

from shuntbook.cli.assembling.report import report_of
from shuntbook.cli.opening.prepared_log import open_site
from shuntbook.cli.render.card import card as cards
from shuntbook.cli.render.card import signs
from shuntbook.cli.render.still_charts import svg
from shuntbook.cli.render.wording.answer import load_took
from shuntbook.cli.render.wording.numbers import uncapital
from shuntbook.cli.render.wording.verdict import verdict_on

PIXELS = {"wide": (1200, 630), "square": (1080, 1080)}
SIZES = pytest.mark.parametrize("size", PIXELS)
HOSTILE = "<b>Mighty</b> & \"old\" $x_{1}$ 'pump' \u202e \u05d0\u05d1\u05d2 ЖЖЖ %s {0} " + "W" * 60 + " and so on" * 5


def with_total(log, charge=8.35):
    """The log with what its load took."""
    summary = replace(log.cycles.summary, charge_Ah=charge, charge_u95_Ah=0.08, energy_Wh=206.0, energy_u95_Wh=4.0)
    return replace(log, cycles=replace(log.cycles, summary=summary, load="well pump"))


def without_runs(log):
    """The log with no run in it."""
    summary = replace(log.cycles.summary, count=0)
    return replace(log, cycles=replace(log.cycles, cycles=(), summary=summary))


def hostile():
    """A place and a load with names that nobody should have."""
    site = make_site()
    later = with_total(make_later(), 1234.56)
    named = replace(later, cycles=replace(later.cycles, load=HOSTILE[:150]))
    worst = replace(named.findings[1], title=f"The {HOSTILE} short-cycles", plain="")
    return make_report(
        with_total(make_log()), replace(named, findings=(worst,)), site=site.model_copy(update={"name": HOSTILE[:190]})
    )


REPORTS = {
    "one log": lambda: make_report(with_total(make_log())),
    "two logs": lambda: make_report(with_total(make_log()), with_total(make_later())),
    "five logs": lambda: make_report(*(with_total(make_log(f"day {k}")) for k in range(5))),
    "no runs": lambda: make_report(
        replace(
            make_log(),
            cycles=replace(make_log().cycles, cycles=(), summary=replace(make_log().cycles.summary, count=0)),
        )
    ),
    "no site": lambda: make_report(with_total(make_log("a name " * 30)), site=None),
    "no date": lambda: make_report(with_total(with_facts(make_log(), undated=True)), site=None),
    "hostile": hostile,
}
#: Those that fill a card most: by day they stand on either, the others on the wide one.
FULL = {"two logs", "hostile"}


def sign_of_another_font():
    """Give a sign that the library's own font lacks and another, which comes with it, has."""
    own, other = (set(get_font(findfont(name)).get_charmap()) for name in ("DejaVu Sans", "STIXGeneral"))
    return chr(min(other - own - set(range(0xE000, 0xF900))))


def abroad(name):
    """A site, a load and two logs, all of this name."""
    logs = [with_total(make) for make in (make_log(name), make_later())]
    logs = [replace(log, cycles=replace(log.cycles, load=name)) for log in logs]
    return make_report(*logs, site=make_site().model_copy(update={"name": name}))


@pytest.fixture
def own_fonts(monkeypatch):
    """The fonts that come with the library, whatever else this machine has."""
    monkeypatch.setattr(signs, "_installed", lambda: ("STIXGeneral",))
    signs._family.cache_clear()
    yield
    signs._family.cache_clear()


@SIZES
@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Brunnen 井戸 2", "Brunnen … 2"),
        (f"well {sign_of_another_font()}", f"well {sign_of_another_font()}"),
        ("Żółta Σ ЖЖ", "Żółta Σ ЖЖ"),
    ],
)
@pytest.mark.usefixtures("own_fonts")
def test_no_sign_is_set_as_a_box(size, name, shown):
    """By another font that is installed and has it, else left out with an ellipsis; never as a box."""
    with warnings.catch_warnings(record=True) as told_of, cards.drawn(abroad(name), size) as sheet:
        warnings.simplefilter("always")
        written = [text for text, _ in texts(sheet)]
        sheet.figure.savefig(io.BytesIO(), format="png")
    assert not [w for w in told_of if "missing from font" in str(w.message)]
    assert sum(shown in text for text in written) >= 2, written  # of place, load and row


def test_a_sign_is_sought_in_every_font_but_those_of_no_letters():
    """The library's own comes first, then whichever of this machine's has it; the box of a box is none."""
    assert signs.families("Żółta pompa") == ("DejaVu Sans",)
    assert signs.families(f"a {sign_of_another_font()}")[0] == "DejaVu Sans"
    assert len(signs.families(f"a {sign_of_another_font()}")) == 2
    assert not [name for name in signs._installed() if "Last Resort" in name]


def beyond(axis):
    """The labels of ticks outside an axis's limits, which are not drawn."""
    low, high = sorted(axis.get_view_interval())
    return [text for tick in axis.get_major_ticks() if not low <= tick.get_loc() <= high for text in tick.findobj(Text)]


def texts(sheet):
    """Every text on the sheet that shows: its words and its box, in pixels from the lower left corner."""
    sheet.figure.draw_without_rendering()
    unseen = {id(text) for axes in sheet.figure.axes for axis in (axes.xaxis, axes.yaxis) for text in beyond(axis)}
    shown = [text for text in sheet.figure.findobj(Text) if text.get_text().strip() and id(text) not in unseen]
    return [(text.get_text(), text.get_window_extent()) for text in shown]


@pytest.mark.parametrize(
    ("name", "size"),
    [
        pytest.param(name, size, marks=[] if size == "wide" or name in FULL else pytest.mark.night)
        for name, size in product(REPORTS, PIXELS)
    ],
)
def test_no_text_leaves_the_card_or_covers_another(size, name):
    """Whatever a place or a load is called: measured on the card itself."""
    width, height = PIXELS[size]
    with cards.drawn(REPORTS[name](), size) as sheet:
        boxes = texts(sheet)
    assert boxes
    for text, box in boxes:
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= width, text
        assert box.y1 <= height, text
    for (one, a), (other, b) in combinations(boxes, 2):
        across, up = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        # The room that a line of type has above and below its letters may meet that of the next.
        assert across <= 1 or up <= 6, (one, other)


@SIZES
def test_the_same_report_gives_the_same_bytes(size):
    """Of the right size, and without date or version."""
    content = cards.card(REPORTS["two logs"](), size)
    assert content == cards.card(REPORTS["two logs"](), size)
    with Image.open(io.BytesIO(content)) as image:
        assert image.size == PIXELS[size]
        assert set(image.info) <= {"dpi"}
        assert to_hex([x / 255 for x in image.convert("RGB").getpixel((2, 2))]) == svg.LIGHT[svg.PAPER]


def test_its_colours_are_those_of_the_light_page():
    """They stand in the style sheet once more; and what is drawn for the page afterwards has the page's again."""
    css = (ROOT / "cli/render/page/templates/page.css").read_text(encoding="utf-8")
    first = dict(re.findall(r"--(\w+): (#[0-9a-f]+);", css[: css.index("prefers-color-scheme: dark")]))
    assert {
        colour: (first[name] + first[name][1:])[:7] for colour, name in ((c, v[6:-1]) for c, v in svg.VARIABLES.items())
    } == svg.LIGHT
    to_hex(svg.DRAW)
    with svg.real_colours(svg.LIGHT):
        assert to_hex(svg.DRAW) == svg.LIGHT[svg.DRAW], "also where the page was drawn before"
    cards.card(REPORTS["one log"](), "wide")
    assert to_hex(svg.DRAW) == svg.DRAW


@SIZES
def test_it_holds_the_answer(size):
    """What the load took as all else says it, what the bank gave, how many runs, place and date."""
    report = REPORTS["one log"]()
    with cards.drawn(report, size) as sheet:
        words = [text.replace("\N{NO-BREAK SPACE}", " ") for text, _ in texts(sheet)]
    assert load_took(report.logs[0]).charge in words
    assert "The well pump took" in words
    assert "206 Wh ± 4 in 15 runs" in words
    assert "Out of the bank, all loads: 13.3 Ah (332 Wh)." in words
    assert {"Marrowbrook", "9 Jun 2026"} < set(words)


def test_two_logs_stand_beside_each_other_with_the_verdict_on_the_worse(demo):
    """Each with its own day, and the verdict as the page gives it, with the day that it is of."""
    report = report_of([demo / "open_day.parquet", demo / "week_later.parquet"], open_site(demo / "site.toml"), None)
    with cards.drawn(report, "wide") as sheet:
        words = [text for text, _ in texts(sheet)]
    assert "act" in words
    assert f"20 Jun: {uncapital(verdict_on(report.logs[1]).sentence)}" in " ".join(words)
    assert {"13 Jun: the well pump took", "20 Jun: the well pump took"} < set(words)


@SIZES
def test_a_log_without_runs_shows_its_readings(size):
    """There is a line to look at, in the colour of what is drawn, and the bank's figure in its own words."""
    content = cards.card(REPORTS["no runs"](), size)
    with Image.open(io.BytesIO(content)) as image:
        lower = image.convert("RGB").crop((0, PIXELS[size][1] // 2, *PIXELS[size]))
        colours = {to_hex([x / 255 for x in colour]) for _, colour in lower.getcolors(1 << 20)}
    assert svg.LIGHT[svg.DRAW] in colours
    with cards.drawn(REPORTS["no runs"](), size) as sheet:
        assert any(text.startswith("Out of the bank, all loads: 13.3") for text, _ in texts(sheet))


def test_each_state_has_a_shape_of_its_own():
    """Colour alone says nothing."""
    shapes = [shape for shape, _ in cards._SIGNS.values()]
    assert len(set(shapes)) == len(shapes)


def test_the_command_writes_the_card_alone(demo, capsys, tmp_path):
    """No page with it; what stands there stays, and an option without a card is refused."""
    out = tmp_path / "card.png"
    words = ("report", demo / "open_day.parquet", "--site", demo / "site.toml", "--card", out)
    assert told(capsys, *words, "--card-size", "square")[::2] == (0, "")
    assert [path.name for path in tmp_path.iterdir()] == ["card.png"]
    with Image.open(out) as image:
        assert image.size == (1080, 1080)
    status, _, err = told(capsys, *words)
    assert (status, f"--card: {out} exists already" in err) == (2, True)
    assert told(capsys, *words, "--force")[0] == 0
    status, _, err = told(capsys, "report", demo / "open_day.parquet", "--json", "--card-size", "wide")
    assert (status, "--card-size goes with --card" in err) == (2, True)
