"""The forecast as a form, and two logs side by side: the terminal's answers, and mistakes at their fields."""

import re
import shutil
from urllib.parse import urlencode

import pytest
from desks import address, desk, text_of
from telling import told, unwrapped


@pytest.fixture(scope="module")
def client(demo, tmp_path_factory):
    """Someone at a desk over the demo's logs and site file."""
    folder = tmp_path_factory.mktemp("desk")
    for name in ("open_day.parquet", "week_later.parquet", "site.toml"):
        shutil.copy(demo / name, folder)
    with desk(folder) as client:
        client.folder = folder
        yield client


def lines_of(capsys, *words):
    """The lines that a command prints, each as one text; the last ones say how to see more."""
    status, out, _ = told(capsys, *words)
    assert status == 0
    return unwrapped(out)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"how_long": "2h"}, ("--for", "2h")),
        ({"until": "full", "how_long": ""}, ("--for", "full")),
        ({"how_long": "1h30m", "sun": "2,5"}, ("--for", "1h30m", "--sun", "2.5")),
    ],
)
def test_the_forecast_is_the_commands(client, demo, capsys, fields, words):
    """Word by word; and the command stands below it."""
    page = text_of(client.get(address("/forecast", load="well pump", **fields)))
    told_all = lines_of(capsys, "forecast", "--site", demo / "site.toml", "--load", "well pump", *words)
    for sentence in ("The system carries it", "Out of the bank in"):
        line = re.search(rf"{sentence}[^.]*\.\d?[^.]*\.?", told_all)[0]
        assert line[:60] in page
    assert "Bank and mains can kill" in page
    assert (
        f"shuntbook forecast --site site.toml --load 'well pump' --for {fields.get('until') or fields['how_long']}"
        in page
    )


def test_the_trade_s_terms_stand_once_beside_plain_words(client):
    """Where each is first met, as on the terminal; the answer's fold is read after it."""
    page = text_of(client.get(address("/forecast", load="well pump", how_long="2h")))
    assert page.count("starting (locked-rotor)") == page.count("running (continuous)") == 1
    assert page.count("'well pump' starting") > 1


def test_measured_it_is_by_the_loads_own_runs(client):
    """And says so."""
    page = text_of(client.get(address("/forecast", load="well pump", how_long="2h", measured="open_day.parquet")))
    assert "by its runs in open_day.parquet" in page
    assert "--measured open_day.parquet" in page


@pytest.mark.parametrize(
    ("fields", "at", "words"),
    [
        ({"how_long": "15"}, "how_long", "has no unit"),
        ({"how_long": ""}, "how_long", "not a length of time"),
        ({"how_long": "2h", "sun": "much"}, "sun", "no number of hours"),
        ({"load": "mill", "how_long": "2h"}, "load", "mill"),
        ({"load": "fridge", "until": "full"}, "until", "fills no tank"),
        ({"how_long": "2h", "measured": "none.parquet"}, "measured", "no longer in the folder"),
        ({"how_long": "2h", "site": "none.toml"}, "site", "no longer in the folder"),
    ],
)
def test_each_mistake_stands_at_its_field(client, fields, at, words):
    """Tied to it, with what was typed kept, and no answer above it."""
    page = client.get(address("/forecast", **{"load": "well pump", **fields}))
    assert re.findall(r'id="wrong-(\w+)">', page.text) == [at]
    assert words in text_of(page)
    assert re.search(rf'id="{at}"[^>]*aria-invalid="true" aria-describedby="wrong-{at}', page.text)
    assert "--for" not in text_of(page)
    assert 'class="reply"' not in page.text
    if "sun" in fields:
        assert 'value="much"' in page.text


def test_two_mistakes_are_told_at_once(client):
    """Each at its field."""
    page = client.get(address("/forecast", load="well pump", how_long="15", sun="x"))
    assert re.findall(r'id="wrong-(\w+)">', page.text) == ["how_long", "sun"]


def what_if(client, *changes, **fields):
    """The page of a day of the pump, measured, with changes and their figures."""
    of_day = {"load": "well pump", "how_long": "1d", "measured": "week_later.parquet", **fields}
    pairs = [pair for change, figure in changes for pair in (("change", change), ("figure", figure))]
    return client.get(f"/forecast?{urlencode([*of_day.items(), *pairs])}")


def test_what_if_is_the_commands(client, demo, capsys):
    """The sentence that matters first, then before, after and the difference in a table; several changes at once."""
    page = what_if(client, ("tank", "300 L"), ("soft", ""), ("", ""), ("strings", "3"))
    words = ["--site", demo / "site.toml", "--load", "well pump", "--for", "1d"]
    changes = ["--with", "tank 300 L", "--with", "soft start", "--with", "bank 3 strings"]
    out = lines_of(capsys, "forecast", *words, "--measured", demo / "week_later.parquet", *changes, "--explain")
    text = text_of(page)
    assert (first := re.search(r"Runs of [^.]*\.", out)[0]) in text
    assert text.index(first) < text.index("difference") < text.index("Then")
    assert re.search(r'<th scope="row">starts in the busiest hour</th><td>47</td><td>\d+</td>', page.text)
    assert "--with 'tank 300 L' --with 'soft start' --with 'bank 3 strings'" in text
    # Chosen and typed stay in the form, with a row more to choose in.
    assert page.text.count('name="change"') == 4
    assert 'value="tank" selected' in page.text and 'value="300 L"' in page.text


@pytest.mark.parametrize(
    ("change", "at", "words"),
    [
        (("tank", "300"), "figure-1", "'300' is not understood; type it like 300 L or 80 gal"),
        (("tank", ""), "figure-1", "Type the figure, such as 300 L or 80 gal"),
        (("soft", "3 s"), "figure-1", "the change has no figure"),
        (("", "300 L"), "change-1", "Choose from the list"),
        (("windmill", "300 W"), "change-1", "Choose from the list"),
    ],
)
def test_what_is_wrong_with_a_change_stands_at_its_field(client, change, at, words):
    """Beside the other mistakes of the form; without it there is no answer, which would be that of another change."""
    page = what_if(client, change, ("precharge", "38 psi"), sun="much")
    assert sorted(re.findall(r'id="wrong-([\w-]+)">', page.text)) == sorted([at, "sun"])
    assert words in text_of(page)
    assert re.search(rf'id="{at}"[^>]*aria-invalid="true" aria-describedby="wrong-{at}', page.text)
    assert 'class="reply"' not in page.text
    assert 'value="38 psi"' in page.text


def test_the_comparison_is_the_commands(client, demo, capsys):
    """Its first sentence, its table, its reasons in a fold."""
    page = client.get(address("/compare", before="open_day.parquet", after="week_later.parquet"))
    logs = (demo / "open_day.parquet", demo / "week_later.parquet")
    out = lines_of(capsys, "compare", *logs, "--site", demo / "site.toml", "--explain")
    first = re.match(r"[^.]*\.", out)[0]
    assert first in text_of(page)
    assert '<th scope="row">starts an hour</th>' in page.text
    assert text_of(page).index("More: every figure") > text_of(page).index(first)
    assert "difference, with its 95 % interval" in text_of(page).partition("More: every figure")[2]


@pytest.mark.parametrize(
    ("fields", "at"),
    [
        ({"before": "none.parquet", "after": "open_day.parquet"}, "before"),
        ({"before": "open_day.parquet", "after": "none.parquet"}, "after"),
    ],
)
def test_a_log_that_is_not_there_is_told_at_its_field(client, fields, at):
    """And nothing is compared."""
    page = client.get(address("/compare", **fields))
    assert re.findall(r'id="wrong-(\w+)">', page.text) == [at]
    assert 'class="reply"' not in page.text


@pytest.mark.parametrize(("path", "way"), [("/forecast", "/system"), ("/compare", "/")])
def test_without_what_it_needs_a_step_says_which_gives_it(tmp_path, path, way):
    """An empty folder has no form to fill in."""
    with desk(tmp_path) as client:
        page = client.get(path)
        assert page.status == 200
        assert "<form" not in page.text
        assert f'href="{way}"' in page.text.partition("<main")[2]


def test_one_log_that_is_named_is_chosen_with_another_beside_it(client):
    """As the answer of a log leads there: nothing is wrong yet, and nothing compared."""
    page = client.get(address("/compare", after="open_day.parquet"))
    assert 'value="open_day.parquet" selected' in page.text.partition('id="after"')[2]
    assert 'value="week_later.parquet" selected' in page.text.partition('id="after"')[0]
    assert "wrong-" not in page.text and 'class="reply"' not in page.text
