"""The answer of a log at the desk: first what was asked, then its page; a wrong sign turned; the days of all logs."""

import html
import os
import re
import shutil
from pathlib import Path

import pytest
from browsers import browser, until
from desks import address, desk, let_in, text_of
from telling import told, unwrapped

from shuntbook.cli.desk.chosen import ChosenSite
from shuntbook.cli.desk.days import LogDay, log_days, months_of
from shuntbook.cli.desk.folder import Folder
from shuntbook.cli.main import run

TOOK = "The well pump took 8.352 Ah ± 0.076 (206.1 Wh ± 1.9) in 10 runs."


@pytest.fixture(scope="module")
def wrong(demo, tmp_path_factory):
    """The open day's log as a meter would give it that counts charging as positive."""
    log = tmp_path_factory.mktemp("wrong") / "wrong.parquet"
    assert run(["convert", str(demo / "open_day.parquet"), "--reverse-sign", "--out", str(log)]) == 0
    return log


@pytest.fixture
def client(demo, seat):
    """Someone at a desk over a folder with the open day's log and the site file."""
    client = seat.client()
    for name in ("open_day.parquet", "site.toml"):
        shutil.copy(demo / name, client.folder)
    return client


def page_of(client, log="open_day.parquet", site="site.toml"):
    """The name of the page that a log's answer leads to."""
    answer = client.get(address("/report", file=log, site=site))
    assert answer.status == 303, answer.text
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert (answer.headers["X-Content-Type-Options"], answer.headers["Cache-Control"]) == ("nosniff", "no-store")
    return re.fullmatch(r"/page\?file=(.*)", answer.headers["Location"])[1]


def test_what_was_asked_comes_first(client, demo, capsys):
    """The sentence that the terminal says, before anything else."""
    answer = client.get("/answer?file=open_day.parquet")
    assert answer.status == 200
    said = unwrapped(told(capsys, "cycles", demo / "open_day.parquet", "--site", demo / "site.toml")[1])
    assert TOOK in said
    assert text_of(answer).partition("open_day.parquet")[2].lstrip().startswith(TOOK)
    assert "The well pump is healthy" in text_of(answer)
    assert "trained for them" in text_of(answer)


def test_its_page_is_an_ordinary_file_that_is_made_once(client):
    """And once more where the log is newer; the command that made it stands beside it."""
    assert page_of(client) == "open_day.html"
    page, log = client.folder / "open_day.html", client.folder / "open_day.parquet"
    before = page.stat().st_ino
    assert (page_of(client), page.stat().st_ino) == ("open_day.html", before)
    os.utime(log, ns=(page.stat().st_mtime_ns + 1,) * 2)
    assert page_of(client) == "open_day.html"
    assert page.stat().st_ino != before
    assert "# shuntbook report open_day.parquet --site site.toml --out open_day.html\n" in (
        client.folder / "written-by-desk.txt"
    ).read_text(encoding="utf-8")


def test_a_page_of_somebody_elses_stays(client):
    """One that bears the name, and one of ours that was changed since."""
    page = client.folder / "open_day.html"
    page.write_text("mine", encoding="utf-8")
    assert page_of(client) == "open_day-2.html"
    changed = client.folder / "open_day-2.html"
    changed.write_text("changed", encoding="utf-8")
    # as long as it is no older than the log it is what is shown
    assert page_of(client) == "open_day-2.html"
    os.utime(client.folder / "open_day.parquet", ns=(changed.stat().st_mtime_ns + 1,) * 2)
    assert page_of(client) == "open_day-3.html"
    assert [page.read_text(encoding="utf-8"), changed.read_text(encoding="utf-8")] == ["mine", "changed"]


@pytest.mark.night
def test_with_another_site_file_it_is_another_page(client):
    """None of the two takes the other's place."""
    pages = [page_of(client, site=site) for site in ("site.toml", "-", "site.toml")]
    assert pages == ["open_day.html", "open_day-2.html", "open_day.html"]


def test_without_a_site_file_it_says_what_one_would_add(client):
    """With the way to the form; where there is one it can be chosen, or left out."""
    assert 'value="site.toml" selected' in client.get("/answer?file=open_day.parquet").text
    assert 'value="-" selected' in client.get("/answer?file=open_day.parquet&site=-").text
    (client.folder / "site.toml").unlink()
    answer = client.get("/answer?file=open_day.parquet")
    assert 'href="/system"' in answer.text
    assert "whether bank, inverter and cables carry it" in text_of(answer)


def test_a_site_file_that_cannot_be_read_hides_no_answer(client):
    """What is wrong stands at its field, and the log is answered without it."""
    (client.folder / "site.toml").write_text("[bank]\nnominal_V = 'x'\n", encoding="utf-8")
    answer = client.get("/answer?file=open_day.parquet")
    assert re.search(r'id="wrong-site">[^<]*nominal_V', answer.text)
    assert "took" in text_of(answer)


def test_a_wrong_sign_is_asked_with_its_evidence_and_turned(client, wrong):
    """Into a new log under a free name, which is answered then; the old one stays."""
    shutil.copy(wrong, client.folder / "pump.parquet")
    (client.folder / "pump-turned.parquet").write_bytes(b"mine")
    before = (client.folder / "pump.parquet").read_bytes()
    asked = client.get("/answer?file=pump.parquet")
    assert "is not known until the log is turned" in text_of(asked)
    assert "In 77 of 77 sudden steps of the current the voltage rises with the draw" in text_of(asked)
    assert "carries it" not in text_of(asked)
    assert "<iframe" not in asked.text
    turned = client.send("/answer", file="pump.parquet", site="site.toml")
    assert TOOK in text_of(turned)
    assert (client.folder / "pump.parquet").read_bytes() == before
    assert (client.folder / "pump-turned.parquet").read_bytes() == b"mine"
    assert (client.folder / "pump-turned-2.parquet").is_file()


def test_what_is_no_file_of_the_folder_is_told(client):
    """In a sentence, and nothing is read or written."""
    for path in ("/answer", "/report", "/page"):
        for name in ("../a.parquet", "/etc/passwd", "none.parquet", ".hidden.html", "a\x00.html"):
            answer = client.get(address(path, file=name))
            assert answer.status in (200, 400)
            assert "choose another" in answer.text
    assert sorted(file.name for file in client.folder.iterdir()) == ["open_day.parquet", "site.toml"]


def test_what_is_no_log_or_no_page_is_told(client):
    """A damaged log by the command's own words; a file that is no page is not handed out as one."""
    (client.folder / "bad.parquet").write_bytes(b"PAR1 not")
    assert "bad.parquet" in text_of(client.get("/answer?file=bad.parquet"))
    assert client.get("/report?file=bad.parquet").status == 400
    assert "is no page" in client.get("/page?file=site.toml").text


def test_any_name_that_a_file_may_have_goes_through(client):
    """One with marks, a long one, one that looks like a figure or an option, letter by letter."""
    log = client.folder / "open_day.parquet"
    for name in ("a b & c 'd'.parquet", "m" * 80 + ".parquet", "4 h of pump.parquet", "-x.parquet"):
        log = log.rename(client.folder / name)
        asked = client.get(address("/answer", file=name))
        assert TOOK in text_of(asked)
        assert html.escape(address("/report", file=name, site="site.toml")) in asked.text
        assert html.escape(address("/answer", file=name, site="site.toml")) in client.get("/answer").text
    assert page_of(client, log="-x.parquet") == "-x.html"


def test_the_days_of_all_logs(client, demo, wrong):
    """Each by the day it began, with what its load took and its state, or by its name."""
    shutil.copy(demo / "week_later.parquet", client.folder)
    shutil.copy(wrong, client.folder / "wrong.parquet")
    (client.folder / "bad.parquet").write_bytes(b"PAR1 not")
    # What a slow machine leaves over is worked out when the page is loaded again.
    answer = until(lambda: "8.352" in (page := client.get("/answer")).text and ">wrong<" not in page.text and page)
    month = answer.text.partition('<table class="month">')[2].partition("</table>")[0]
    assert "<caption>June 2026</caption>" in month
    days = dict(re.findall(r'<span class="number">(\d+)</span>(.*?)</td>', month))
    assert len(days) == 30
    assert [day for day, cell in days.items() if "href" in cell] == ["13", "20"]
    assert "8.352\xa0Ah" in days["13"] and ">wrong<" not in days["20"]
    listed = text_of(answer).partition("As a list")[2]
    assert re.search(r"week_later.parquet 20 June 2026 .* Act open_day.parquet 13 June 2026 .* Healthy", listed)
    assert "bad.parquet" in listed


def test_an_empty_folder_says_where_logs_come_from(tmp_path):
    """The step that gives what is missing."""
    with desk(tmp_path) as client:
        assert 'href="/meter"' in client.get("/answer").text


def test_logs_that_take_long_are_known_by_their_days(demo, monkeypatch):
    """Where patience has ended only their beginning is read."""
    monkeypatch.setattr("shuntbook.cli.desk.days._PATIENCE_S", -1.0)
    days = log_days(Folder(demo), ChosenSite((), ""))
    assert [(day.name, day.began.day, day.took, day.state) for day in days] == [
        ("week_later.parquet", 20, "", None),
        ("open_day.parquet", 13, "", None),
    ]


def test_logs_without_dates_are_on_no_day():
    """They stand in the list alone."""
    assert months_of([LogDay("a.parquet")]) == []


HOSTILE = """<!DOCTYPE html><title>waiting</title><script>
const tries = [];
const note = (name, does) => { try { does(); tries.push(name); } catch (error) {} };
note("parent", () => parent.document.title);
note("cookie", () => document.cookie);
note("storage", () => localStorage.length);
fetch("/", {credentials: "include"}).then(() => tries.push("fetch"), () => 0).then(() => {
  document.title = `done ${tries}`; });
const form = document.createElement("form");
form.method = "post"; form.action = "/answer?file=open_day.parquet";
document.documentElement.append(form); form.submit();
</script>"""


def test_in_a_browser_the_page_runs_and_can_do_nothing_to_the_desk(client):
    """The report's own script runs within the desk; what somebody else put into it reaches neither desk nor session."""
    with browser() as driven:
        let_in(driven, client)
        answer = f"{client.origin}/answer?file=open_day.parquet"
        in_frame(driven, answer)
        until(lambda: driven.find_elements("css selector", ".took .figure"), "the report")
        # Without its script there is no such button.
        until(lambda: driven.find_elements("css selector", "body > header button"), "its script")
        (client.folder / "open_day.html").write_text(HOSTILE, encoding="utf-8")
        in_frame(driven, answer)
        until(lambda: driven.execute_script("return document.title").startswith("done"), "what somebody else put there")
        assert driven.execute_script("return document.title") == "done"
        assert sorted(path.name for path in client.folder.glob("*.parquet")) == ["open_day.parquet"]


def in_frame(driven, answer):
    """Open an answer, and look into the frame of its page."""
    driven.get(answer)
    frame = driven.find_element("css selector", "iframe.report")
    driven.execute_script("arguments[0].scrollIntoView()", frame)
    driven.switch_to.frame(frame)


def test_a_page_is_sandboxed_whoever_asks(client):
    """By its own headers, so that it is so in a tab of its own, too."""
    Path(client.folder / "a.html").write_text("<p>a", encoding="utf-8")
    answer = client.get("/page?file=a.html")
    policy = answer.headers["Content-Security-Policy"]
    assert answer.text == "<p>a"
    assert "sandbox allow-scripts" in policy
    assert "allow-same-origin" not in policy
    assert "default-src 'none'" in policy


def test_a_stretch_says_what_charge_says_of_it(client, demo, capsys):
    """In its words, with its command, and a way to hold the runs whole that its ends cut."""
    ends, site = ("--from", "10:30", "--to", "11:15"), ("--site", demo / "site.toml")
    said = unwrapped(told(capsys, "charge", demo / "open_day.parquet", *site, *ends)[1])
    answer = client.get(
        address("/answer", file="open_day.parquet", site="site.toml", **{"from": "10:30", "to": "11:15"})
    )
    shown = text_of(answer)
    sentences = re.findall(r"(?:From|A run|The well pump by) .+?\.(?= [A-Z]| drawn)", said.partition(" measured")[0])
    assert len(sentences) == 3
    for sentence in sentences:
        assert sentence in shown
    assert "shuntbook charge open_day.parquet --site site.toml --from 10:30 --to 11:15" in " ".join(shown.split())
    wider = html.unescape(re.search(r'href="([^"]+)">With whole runs', answer.text)[1])
    whole = client.get(wider)
    stake = re.search(r"it would be (.+?) out of the bank", said)[1]
    assert f"all loads took {stake} out of the bank" in text_of(whole) and "was going at" not in text_of(whole)


@pytest.mark.parametrize(
    ("ends", "field", "sentence"),
    [
        ({"from": "teatime"}, "from", "is no time such as 10:30"),
        ({"from": "10:30", "to": "10:30"}, "to", "Does not lie after"),
        ({"from": "2031-01-01T10:00"}, "from", "no reading lies in the span"),
        ({"to": "25:70"}, "to", "is no time of day"),
    ],
)
def test_an_end_that_is_none_is_told_at_its_field(client, ends, field, sentence):
    """What all of the log took stands all the same."""
    answer = client.get(address("/answer", file="open_day.parquet", **ends))
    assert sentence in re.search(rf'id="wrong-{field}">(.*?)</p>', answer.text)[1]
    assert TOOK in text_of(answer) and "The same at a terminal: shuntbook charge" not in text_of(answer)


def test_a_log_with_notes_shows_its_parts_and_takes_notes_for_ends(client):
    """As its page has them; a stretch from a note to the next is that part."""
    note = "crates washed for the visitors"
    answer = client.get("/answer?file=open_day.parquet&site=site.toml")
    row = html.unescape(re.search(rf'<tr><th scope="row">{note}</th>(.*?)</tr>', answer.text)[1]).replace("\xa0", " ")
    assert "30 min" in row and f'<option value="{note}">' in answer.text
    taken, by_itself = re.findall(r"[\d.]+ Ah ± [\d.]+", row)
    ends = {"from": note, "to": "end"}
    part = text_of(client.get(address("/answer", file="open_day.parquet", site="site.toml", **ends)))
    assert f"From 13 Jun 2026 10:25:00 to 10:55:00 all loads took {taken}" in part
    assert f"The well pump by itself: {by_itself}" in part


def test_nothing_is_asked_of_a_stretch_of_a_log_the_wrong_way_round(client, wrong):
    shutil.copy(wrong, client.folder)
    answer = client.get("/answer?file=wrong.parquet&from=10:30&to=11:15")
    assert answer.status == 200 and "all loads took" not in answer.text and 'name="from"' not in answer.text
