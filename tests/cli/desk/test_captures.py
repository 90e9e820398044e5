"""Captures from the desk: begun, followed, spoken to and ended by its forms; they outlive it and are found again."""

from __future__ import annotations

import os
import signal
import threading
import time

import pytest
from desks import address, desk, text_of
from places import SAMPLES

from shuntbook.cli.capture.running import running_captures
from shuntbook.cli.capture.state_file import find_capture
from shuntbook.cli.main import run
from shuntbook.ingest.journal.opening import open_log

pytestmark = pytest.mark.xdist_group("captures")  # they have clocks to keep

WEEK = f"replay:{SAMPLES / 'week_later.csv.gz'}?speed=max&zone=Europe/London&sign=return_positive"
SITE = """
name = "two meters"
[bank]
nominal_V = 24
capacity_Ah = 420
"""
METERS = f"""
[[meters]]
name = "bank shunt"
side = "dc"
source = "{WEEK}"
[[meters]]
name = "shed meter"
side = "dc"
source = "{WEEK}"
"""


def begin(client, **fields):
    """Begin a capture by its form, and return the page that it leads to."""
    answer = client.send("/capture", **{"source": "hand:", "name": "a"} | fields)
    client.processes |= {capture.state.process for capture in running_captures(client.folder)}
    return answer


def until(holds):
    """Wait a while for what must come, and return what it came to."""
    end = time.monotonic() + 30
    while not (came := holds()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return came


def test_from_the_form_to_the_answer(client):
    """Begun, followed, spoken to by typing and by a button, ended; then the log's answer is offered."""
    page = begin(client, title="Open <b>day</b>")
    assert page.status == 200
    assert "Open &lt;b&gt;day&lt;/b&gt;" in page.text and "<b>day" not in page.text
    state = find_capture(client.folder / "a.parquet").state
    assert f'href="{state.page}stage"' in page.text
    assert "Taken: 60 A 12 V" in text_of(client.send("/capture/note", log="a.parquet", text="60 A 12 V"))
    client.send("/capture/note", log="a.parquet", word="crates")
    figures = address("/capture", log="a.parquet", part="figures")
    until(lambda: "60.0 A" in (text := client.get(figures).text) and "crates" in text)
    assert "is being captured since" in text_of(client.get("/"))

    ended = client.send("/capture/end", log="a.parquet")
    assert "The capture has ended a: since the start:" in text_of(ended)
    assert 'href="/answer?file=a.parquet"' in ended.text
    assert client.get(figures).status == 204
    opened = open_log(client.folder / "a.parquet")
    assert [text for _, text in opened.meta.markers] == ["crates"]
    assert "being captured" not in text_of(client.get("/"))


def test_what_is_typed_in_doubt_is_asked_and_lost_in_no_way(client):
    """With hand: a note with amps in it may be a reading; a number without a unit is none; what was typed stays."""
    begin(client)
    asked = client.send("/capture/note", log="a.parquet", text="about 70 amps")
    assert asked.status == 400
    assert "Is this a reading of 70 A, or a note?" in text_of(asked)
    assert 'value="about 70 amps"' in asked.text and 'aria-describedby="wrong-text help-text"' in asked.text
    client.send("/capture/note", **{"log": "a.parquet", "text": "about 70 amps", "as": "reading"})
    client.send("/capture/note", **{"log": "a.parquet", "text": "about 9 amps", "as": "note"})
    assert "'900' has no unit" in text_of(client.send("/capture/note", log="a.parquet", text="900"))
    assert "empty" in text_of(client.send("/capture/note", log="a.parquet", text=" "))
    client.send("/capture/end", log="a.parquet")
    opened = open_log(client.folder / "a.parquet")
    (part,) = opened.scan()
    assert set(part.quantities["current_A"]) == {70.0}
    assert [text for _, text in opened.meta.markers] == ["about 9 amps"]


def test_ones_own_words_stand_on_the_buttons(client):
    """Kept by the browser for the next capture; a hostile one is a text like any."""
    begin(client)
    answer = client.ask(
        "POST",
        "/capture/note",
        "log=a.parquet&words=hose+on%2C+%3Cscript%3E%2C+hose+on",
        Content_Type="application/x-www-form-urlencoded",
    )
    words = answer.headers["Set-Cookie"].partition(";")[0]
    page = client.get("/capture?log=a.parquet", Cookie=f"{client.cookie}; {words}")
    assert page.text.count('<button name="word" value="hose on">') == 1
    assert 'value="&lt;script&gt;"' in page.text


def test_the_desk_killed_while_it_is_captured_loses_nothing(client):
    """The capture goes on, is found again by the next desk, spoken to there, and ended."""
    begin(client, title="Open day")
    client.send("/capture/note", log="a.parquet", text="60 A")
    client.process.kill()
    client.process.wait(60)
    assert find_capture(client.folder / "a.parquet").running
    with desk(client.folder) as again:
        first = again.get("/")
        assert 'href="/capture?log=a.parquet"' in first.text
        assert "Open day" in text_of(again.get("/capture"))
        again.send("/capture/note", log="a.parquet", text="crates")
        assert "has ended" in text_of(again.send("/capture/end", log="a.parquet"))
    opened = open_log(client.folder / "a.parquet")
    assert [text for _, text in opened.meta.markers] == ["crates"]
    assert opened.rows == 2


def test_a_capture_that_was_cut_off_is_finished_here(client):
    """What it read is safe, and a button makes the log of it."""
    begin(client)
    client.send("/capture/note", log="a.parquet", text="60 A")
    journal = client.folder / "a.parquet.journal"
    until(lambda: b"60.0" in journal.read_bytes())
    os.kill(find_capture(client.folder / "a.parquet").state.process, signal.SIGKILL)
    until(lambda: "was cut off" in text_of(client.get("/capture?log=a.parquet")))
    assert "was cut off; what it read is safe" in text_of(client.get("/"))
    finished = client.send("/capture/end", log="a.parquet")
    assert 'href="/answer?file=a.parquet"' in finished.text
    assert open_log(client.folder / "a.parquet").rows == 1


def test_all_meters_of_a_site_at_once(client):
    """Each gets a log of its own beside the others; one that is over at once is no failure."""
    (client.folder / "site.toml").write_text(SITE + METERS, encoding="utf-8")
    assert "all meters of site.toml: bank shunt, shed meter" in text_of(client.get("/capture"))
    ended = begin(client, what="site", source="", site="site.toml", name="open-day")
    assert ended.status == 200
    until(lambda: "has ended" in text_of(client.get("/capture?log=open-day-bank_shunt.parquet")))
    for name in ("open-day-bank_shunt.parquet", "open-day-shed_meter.parquet"):
        assert open_log(client.folder / name).rows == 9000
        assert f'href="/answer?file={name}"' in client.get(f"/capture?log={name}").text


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"source": "nonsense"}, "source", "is no live source"),
        ({"source": ""}, "source", "is no live source"),
        ({"source": "--help"}, "source", "is no live source"),
        ({"source": "modbus-tcp:127.0.0.1:9"}, "profile", "a profile must say which registers"),
        ({"source": "serial:/dev/nothing"}, "source", "there is no such port"),
        ({"source": "sunspec-tcp:127.0.0.1:9"}, "source", "127.0.0.1:9"),
        ({"length": "5"}, "length", "write 5s for seconds"),
        ({"every": "often"}, "every", "is not a length of time"),
        ({"zone": "Mars"}, "zone", "no time zone is called"),
        ({"name": "taken"}, "name", "exists already"),
        ({"name": "../a"}, "name", "cannot be a file"),
        ({"profile": "gone.toml"}, "profile", "no longer in the folder"),
        ({"site": "bad.toml"}, "site", "bank"),
    ],
)
def test_a_mistake_is_told_at_its_field(client, fields, field, sentence):
    """In the command's own words; what was typed stays, and nothing is captured."""
    (client.folder / "taken.parquet").write_bytes(b"a log")
    (client.folder / "meter.toml").write_text("[file]\ndelimiter = 'comma'\n", encoding="utf-8")
    (client.folder / "bad.toml").write_text("[bank]\n", encoding="utf-8")
    answer = begin(client, **fields)
    assert answer.status == 400
    told = answer.text.partition(f'id="wrong-{field}">')[2].partition("</p>")[0]
    assert sentence.lower() in told.lower(), answer.text
    assert f'aria-describedby="wrong-{field}' in answer.text
    assert running_captures(client.folder) == []
    assert (client.folder / "taken.parquet").read_bytes() == b"a log"
    if fields.get("length"):
        assert 'value="5"' in answer.text


def test_a_missing_profile_is_told_at_the_source_where_there_is_none_to_choose(client):
    """A sentence without a place would be seen by nobody."""
    answer = begin(client, source="modbus-tcp:127.0.0.1:9")
    assert "a profile must say" in answer.text.partition('id="wrong-source">')[2].partition("</p>")[0].lower()


@pytest.mark.parametrize("log", ["../a", ".hidden", "nothing.parquet", "a/b", "<script>"])
def test_what_is_not_captured_is_told(client, log):
    """Nothing is followed, spoken to or ended that is none of the folder's captures."""
    assert client.get(address("/capture", log=log)).status == 200
    assert client.get(address("/capture", log=log, part="figures")).status == 204
    for path, more in (("/capture/note", {"text": "x"}), ("/capture/end", {})):
        answer = client.send(path, log=log, **more)
        assert answer.status == 400
        assert "<script>" not in answer.text.partition("<main")[2].partition("</main>")[0]
    assert list(client.folder.iterdir()) == []


def test_another_page_is_answered_while_a_meter_is_waited_for(client):
    """A port that stays silent holds nobody up."""
    answers = []
    waiting = threading.Thread(target=lambda: answers.append(begin(client, source="sunspec-tcp:192.0.2.1:502")))
    waiting.start()
    time.sleep(0.3)
    for _ in range(5):
        start = time.monotonic()
        assert client.get("/").status == 200
        assert time.monotonic() - start < 5
    assert not answers or answers[0].status == 400
    waiting.join(120)
    assert answers[0].status == 400


def test_a_log_that_a_command_reads_is_the_same(client, capsys):
    """The desk's capture is an ordinary log."""
    begin(client)
    client.send("/capture/note", log="a.parquet", text="60 A")
    client.send("/capture/end", log="a.parquet")
    assert run(["charge", str(client.folder / "a.parquet")]) == 0
