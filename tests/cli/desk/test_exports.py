"""An export at the desk: what it is taken for, the one question that matters, and its reading into a log."""

import html
import random
import re
import shlex
from threading import Thread

import pytest
from browsers import browser, faults, until
from desks import address, desk, let_in, text_of
from export_forms import answers_of, form_of, pump_export, question_of, wrong_at
from workbooks import readings, xlsx, zipped

from shuntbook.cli.main import run
from shuntbook.ingest.journal.opening import open_log

SIGN = "Is positive charging or drawing?"
TOOK = "The largest load took 3.2"


def shown(client, content, name="export.csv"):
    """The page of an export that was just put there."""
    (client.folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return client.get(address("/export", file=name))


def sent(client, page, **fields):
    """The answer to the page's form, with these fields."""
    return client.send("/export", **{**form_of(page), **fields})


def command_of(page):
    """The command that does the same at a terminal."""
    return html.unescape(re.sub(r"<[^>]*>", "", re.search(r"<code>(.*?)</code>", page.text)[1])).strip()


def names(client):
    """What is in the folder."""
    return sorted(file.name for file in client.folder.iterdir())


def readings_of(client, log="export.parquet"):
    """All readings of a log."""
    return next(iter(open_log(client.folder / log).scan()))


def test_one_decision_leads_from_an_export_to_the_answer(client):
    """The sign, with its evidence and the likely answer as the main button; then what the pump took."""
    page = shown(client, pump_export(sign=-1.0))
    assert question_of(page) == SIGN
    assert "The volts rise when the amps rise, each time: charging." in text_of(page)
    assert "2026-06-13 10:00:00" in text_of(page) and "1 in" in text_of(page)
    assert re.search(r'class="main"[^>]*>Positive is charging', page.text)
    assert 'value="read"' not in page.text
    ready = sent(client, page, answer=answers_of(page)["Positive is charging"])
    assert question_of(ready) is None
    assert "1 out" in text_of(ready)
    assert "shuntbook convert export.csv --reverse-sign --out export.parquet" in text_of(ready)
    assert TOOK in text_of(sent(client, ready, do="read"))
    assert names(client) == ["export.csv", "export.parquet"]


def test_what_the_volts_bear_out_is_not_asked(client):
    """Draw is positive: no question, and the sentence that says why."""
    page = shown(client, pump_export())
    assert question_of(page) is None
    assert "The volts fall when the amps rise" in text_of(page)
    assert TOOK in text_of(sent(client, page, do="read"))


def test_an_answer_against_the_volts_is_told(client):
    """It is the person's to choose, at the column, too."""
    page = shown(client, pump_export())
    turned = sent(client, page, **{"sign-2": "return_positive"})
    assert "That is against what is chosen." in text_of(turned)
    assert "1 in" in text_of(turned)
    assert "against" not in text_of(sent(client, turned, **{"sign-2": ""}))


@pytest.mark.parametrize("by_profile", [False, True])
def test_drawing_all_the_same_is_kept_for_convert(client, by_profile):
    """An answer against the volts, which no option says: a profile does, and `convert` asks no more."""
    if by_profile:
        lines = '[quantities.current_A]\ncolumn = "Current (A)"\nunit = "mA"\n[quantities.voltage_V]\ncolumn = 3\n'
        (client.folder / "meter.toml").write_text(lines)
    page = shown(client, pump_export(sign=-1.0))
    if by_profile:
        page = sent(client, page, answer=answers_of(page)["Yes: read it by meter.toml"])
    assert question_of(page) == SIGN
    page = sent(client, page, answer=answers_of(page)["Positive is drawing"])
    assert question_of(page) is None
    assert "against what is chosen" in text_of(page)
    assert command_of(page) == "shuntbook convert export.csv --profile export.toml --out export.parquet"
    sent(client, page, do="read")
    amps = readings_of(client).quantities["current_A"]
    assert amps.min() == pytest.approx(-30.0 / (1000 if by_profile else 1), rel=0.1)


def test_a_sign_that_was_answered_is_changed_at_its_column(client):
    """The watts beside the amps stay as they were shown."""
    rows = "2026-06-13 {t},{a},{v},{w}"
    page = shown(client, pump_export(sign=-1.0, header="Time,Current (A),Voltage (V),Power (W)", row=rows))
    page = sent(client, page, answer=answers_of(page)["Positive is charging"])
    before = form_of(page)
    drawn = sent(client, page, **{"sign-2": "draw_positive"})
    assert form_of(drawn)["is-2"] == "current_A|draw_positive"
    assert form_of(drawn)["is-4"] == before["is-4"]


def test_a_choice_at_a_column_is_seen_at_once_and_kept_for_convert(client, monkeypatch):
    """Unit and quantity: a profile says what no option can, and the command that is shown gives the same log."""
    page = shown(client, pump_export(header="Time,Current (A),Voltage (V),Foo", row="2026-06-13 {t},{a},{v},21.5"))
    page = sent(client, page, **{"unit-2": "mA", "q-4": "temperature_degC"})
    assert "0.001 out" in text_of(page) and "temperature, degC" in text_of(page)
    page = sent(client, page, **{"q-3": "-"})
    assert "25.48" not in text_of(page).partition("What each")[0]
    # Without volts nothing speaks for either sign.
    assert question_of(page) == SIGN
    page = sent(client, page, answer=answers_of(page)["Positive is drawing"])
    command = command_of(page)
    assert command == "shuntbook convert export.csv --profile export.toml --out export.parquet"
    sent(client, page, do="read")
    assert names(client) == ["export.csv", "export.parquet", "export.toml"]
    log = readings_of(client)
    assert log.quantities.keys() == {"current_A", "temperature_degC"}
    assert log.quantities["current_A"][0] == pytest.approx(0.001)
    (client.folder / "export.parquet").unlink()
    monkeypatch.chdir(client.folder)
    assert run(shlex.split(command)[1:]) == 0
    assert (readings_of(client).quantities["current_A"] == log.quantities["current_A"]).all()
    # Read once more it needs no second profile.
    sent(client, page, do="read", out="again")
    assert names(client) == ["again.parquet", "export.csv", "export.parquet", "export.toml"]


def test_a_unit_is_one_of_its_quantity(client):
    """Whoever chooses another quantity has not chosen the unit that it had before."""
    page = sent(client, shown(client, pump_export()), **{"unit-2": "mA"})
    page = sent(client, page, **{"q-2": "power_W"})
    assert form_of(page)["unit-2"] == ""
    assert "power, W" in text_of(page)


def test_what_only_later_rows_ask_is_answered_and_goes_on(client):
    """Rows that cannot be read: the question, its choice, and the reading that was asked for."""
    rows = pump_export().splitlines()
    for k in range(900, 960):
        rows[k] = rows[k].replace("2026-06-13", "2026-Cze-13")
    page = shown(client, "\n".join(rows))
    assert question_of(page) is None
    asked = sent(client, page, do="read")
    assert question_of(asked) == "May the rows that cannot be read be left out?"
    assert "60 of 1200 rows could not be read for one and the same reason" in text_of(asked)
    answer = next(iter(answers_of(asked).values()))
    done = client.send("/export?do=read", **{**form_of(asked), "answer": answer})
    assert "export.parquet lacks 60 of 1,200 rows" in text_of(done)
    assert "line 901" in text_of(done)
    assert 'href="/answer?file=export.parquet"' in done.text
    assert names(client) == ["export.csv", "export.parquet", "export.parquet.rejects.csv"]


def test_the_order_of_a_date_is_asked_before_the_sign(client):
    """One question at a time; what is known is shown beside it."""
    page = shown(client, pump_export(sign=-1.0, row="05/06/2026 {t},{a},{v}"))
    assert question_of(page) == "In which order do day, month and year stand?"
    assert form_of(page)["is-2"] == "current_A|draw_positive"
    page = sent(client, page, answer=answers_of(page)["Day/month/year (d/m/y)"])
    assert question_of(page) == SIGN
    assert "2026-06-05 10:00:00" in text_of(page)
    # How times are written overrules what was answered.
    assert "2026-05-06 10:00:00" in text_of(sent(client, page, times="m/d/y"))


def test_what_cannot_be_listed_is_typed(client):
    """A clock's word that several places use: one of them as a button, the others in the field beside it."""
    page = shown(client, pump_export(row="2026-06-13 {t} CST,{a},{v}"))
    assert question_of(page) == "Whose clock is CST?"
    assert page.text.count('name="zone"') == 1
    page = sent(client, page, zone="Asia/Shanghai")
    assert question_of(page) is None
    assert "2026-06-13 10:00:00 CST" in text_of(page)


def test_a_clock_that_nobody_stated_is_open(client):
    """It is asked in the box that is to be settled: beside the sign, and before it is read; what is stated is not."""
    page = shown(client, pump_export(sign=-1.0, row="2026-06-13 {t},{a},{v}"))
    assert question_of(page) == SIGN
    assert 'name="zone"' in box_of(page) and page.text.count('name="zone"') == 1
    page = sent(client, page, answer=answers_of(page)["Positive is charging"])
    assert "Whose clock are the times by?" in box_of(page) and 'name="zone"' in box_of(page)
    assert "Nothing is left open" not in page.text
    page = sent(client, page, zone="Asia/Shanghai")
    assert "Nothing is left open" in box_of(page) and 'name="zone"' not in box_of(page)
    assert 'value="Asia/Shanghai"' in page.text
    whole = shown(client, pump_export(row="2026-06-13T{t}Z,{a},{v}"), name="whole.csv")
    assert "Nothing is left open" in box_of(whole) and 'name="zone"' not in whole.text


def box_of(page):
    """What stands in the box of what is to be settled next."""
    return re.search(r'<section class="question".*?</section>', page.text, re.DOTALL)[0]


def test_how_it_was_read_is_kept_and_offered_for_the_next(client):
    """The next export of the meter is read by it, and nothing is asked but whether it is."""
    page = shown(client, pump_export(sign=-1.0))
    page = sent(client, page, answer=answers_of(page)["Positive is charging"])
    page = sent(client, page, do="keep", profile_name="well pump")
    assert "Kept as well pump.toml." in text_of(page)
    taken = sent(client, page, do="keep", profile_name="well pump.toml")
    assert "There is already well pump.toml" in wrong_at(taken, "profile_name")
    page = shown(client, pump_export(sign=-1.0, minutes=10), name="next.csv")
    assert question_of(page) == "Is this from the same meter as before?"
    by_it = sent(client, page, answer=answers_of(page)["Yes: read it by well pump.toml"])
    assert question_of(by_it) is None
    assert "1 out" in text_of(by_it)
    assert command_of(by_it) == "shuntbook convert next.csv --profile 'well pump.toml' --out next.parquet"
    assert question_of(sent(client, by_it, do="no-profile")) == SIGN
    assert question_of(sent(client, page, answer=answers_of(page)["No: another meter, or other settings"])) == SIGN
    assert "took 1.6" in text_of(sent(client, by_it, do="read"))


def test_a_profile_that_changes_nothing_is_not_offered(client):
    """Nor one that names other columns, nor one that is none."""
    (client.folder / "same.toml").write_text(
        '[quantities.current_A]\ncolumn = "Current (A)"\n[quantities.voltage_V]\ncolumn = "Voltage (V)"\n'
    )
    (client.folder / "other.toml").write_text('[quantities.current_A]\ncolumn = "Strom"\nscale = 2.0\n')
    (client.folder / "none.toml").write_text("[quantities\n")
    assert question_of(shown(client, pump_export())) is None


@pytest.mark.parametrize(
    ("field", "typed", "why"),
    [
        ("zone", "Londn", "No time zone is called 'Londn'"),
        ("gap", "5", "has no unit"),
        ("out", "a/b", "cannot be a file's name here"),
        ("out", "export.csv.parquet", "There is already export.csv.parquet"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(client, field, typed, why):
    """With what was typed still there, and nothing written."""
    page = shown(client, pump_export())
    (client.folder / "export.csv.parquet").write_bytes(b"mine")
    page = sent(client, page, do="read", **{field: typed})
    assert why in wrong_at(page, field)
    assert f'value="{typed}"' in page.text
    assert names(client) == ["export.csv", "export.csv.parquet"]
    assert (client.folder / "export.csv.parquet").read_bytes() == b"mine"


def test_what_needs_no_reading_leads_on(client):
    """A log to what it took, and no file at all to the folder."""
    assert client.get("/export").headers["Location"] == "/"
    assert client.get("/export?file=a.parquet").headers["Location"] == "/answer?file=a.parquet"
    gone = client.get("/export?file=gone.csv")
    assert (gone.status, "is no longer in the folder" in text_of(gone)) == (400, True)


def test_two_columns_of_one_quantity_are_told_at_the_column(client):
    page = sent(client, shown(client, pump_export()), **{"q-2": "current_A", "q-3": "current_A"})
    assert "is chosen as current_A, too" in wrong_at(page, "q-3")
    assert 'aria-invalid="true"' in page.text


def test_a_unit_that_nobody_knows_is_told_at_its_column(client):
    """And choosing mends it."""
    page = shown(client, pump_export(header="Time,Current (cA),Voltage (V)"))
    assert "unit 'cA' is not known" in wrong_at(page, "q-2")
    page = sent(client, page, **{"q-2": "current_A"})
    assert TOOK in text_of(sent(client, sent(client, page, **{"unit-2": "A"}), do="read"))


def test_sheets_an_archive_and_notes(client):
    """What is open is asked by choosing; notes need the day they were made on, at its field."""
    book = xlsx({"Day one": readings(), "Day two": readings()})
    page = shown(client, book, name="book.xlsx")
    assert question_of(page) == "Which sheet is meant?"
    assert question_of(sent(client, page, answer=answers_of(page)["Day two"])) != "Which sheet is meant?"
    assert "1 out" in text_of(shown(client, zipped({"a.csv": pump_export()}), name="one.zip"))
    page = shown(
        client, "10:00 2 A 12.7 V\n10:02 900 W\n10:04 off\n10:30 pump on\n10:31 70 A\n10:35 off\n", "notes.txt"
    )
    assert question_of(page) == "Are these notes, a line each?"
    page = sent(client, page, answer=next(iter(answers_of(page).values())))
    assert "notes.txt" in wrong_at(page, "start")
    page = sent(client, page, start="2026-05-09")
    assert "2026-05-09 10:31:00" in text_of(page)
    assert "took" in text_of(sent(client, page, do="read"))


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is empty"),
        (random.Random(1).randbytes(100_000), "is not text but binary data"),
        (b"\x89PNG\r\n\x1a\n" + bytes(1000), "is a picture"),
        (b"\x1f\x8b\x08junk", "the compressed data is damaged"),
        (b"a page of words\nand of more words\n", "no table of readings"),
    ],
)
def test_what_is_no_export_has_one_sentence(client, content, why):
    """In the page's alert, with the way back and nothing to press that leads nowhere."""
    page = shown(client, content)
    assert page.status == 200
    assert why in page.text.partition('role="alert"')[2].partition("</div>")[0]
    assert 'value="read"' not in page.text
    assert sent(client, page, do="read").status == 200
    assert names(client) == ["export.csv"]


HOSTILE = "<script>alert(1)</script>'\"{{ 7 * 7 }}"


def test_names_and_cells_of_anybody_are_text(client):
    """Whatever stands in a header, a cell or a file's name."""
    quoted = '"' + HOSTILE.replace('"', '""') + '"'
    content = pump_export(
        header=f"Time,Current (A),Voltage (V),{quoted}",
        row=f"2026-06-13 {{t}},{{a}},{{v}},{quoted.replace('{', '{{').replace('}', '}}')}",
    )
    name = "-a & 'b' {{ 42 + 7 }}.csv"
    page = shown(client, content, name=name)
    assert "<script>alert" not in page.text
    assert "49" not in text_of(page)
    page = sent(client, page, **{"q-4": "temperature_degC"})
    assert "<script>alert" not in page.text
    assert "expected a number" in text_of(page)
    assert TOOK in text_of(sent(client, sent(client, page, **{"q-4": ""}), do="read"))
    assert "-a & 'b' {{ 42 + 7 }}.parquet" in names(client)


@pytest.mark.parametrize(
    "fields",
    [
        {"rest": "{"},
        {"rest": '{"choices": {"profile": 5}}'},
        {"rest": '{"choices": {"columns": {"2": {"quantity": "current_A", "scale": "x"}}}}'},
        {"answer": "[]"},
        {"answer": '{"choice": {"label": "", "sets": {"colour": "red"}}}'},
        {"answer": '{"choice": {"label": "", "sets": {"quantities.current_A.unit": "A"}}}'},
        {"times": "by heart"},
        {"sign-2": "sideways"},
    ],
)
def test_a_form_that_is_not_ours_changes_nothing(client, fields):
    """Whoever made it up is told so in a sentence."""
    page = shown(client, pump_export())
    answer = sent(client, page, do="read", **fields)
    assert answer.status in (200, 400)
    assert "a choice that it does not offer" in text_of(answer) or "is no sign" in text_of(answer)
    assert names(client) == ["export.csv"]


@pytest.mark.parametrize("profile", ["/etc/passwd", "../a.toml", ".hidden.toml", "none.toml"])
def test_a_profile_is_one_of_the_folder(client, profile):
    """No other file is read for it."""
    page = shown(client, pump_export())
    answer = client.send("/export", **{**form_of(page), "rest": f'{{"choices": {{"profile": "{profile}"}}}}'})
    assert answer.status == 400
    assert "choose another" in text_of(answer)


def test_two_pages_at_once_do_no_harm(client):
    """Both begin from the same name; the second is told that it is taken."""
    one, other = shown(client, pump_export()), client.get("/export?file=export.csv")
    assert TOOK in text_of(sent(client, one, do="read"))
    before = (client.folder / "export.parquet").read_bytes()
    assert "There is already export.parquet" in wrong_at(sent(client, other, do="read"), "out")
    assert (client.folder / "export.parquet").read_bytes() == before
    assert form_of(client.get("/export?file=export.csv"))["out"] == "export-2.parquet"


def cut_off(client, body):
    """Send a form, and be left without an answer."""
    with pytest.raises(OSError):
        client.send("/export", **body)


def test_a_desk_that_is_killed_while_it_reads_loses_nothing(tmp_path):
    """The export is as it was, the log is whole or absent, and the next desk begins where this one did."""
    with desk(tmp_path) as client:
        client.folder = tmp_path
        page = shown(client, pump_export(minutes=600))
        body = {**form_of(page), "do": "read"}
        export = (tmp_path / "export.csv").read_bytes()
        asking = Thread(target=cut_off, args=(client, body))
        asking.start()
        until(lambda: len(list(tmp_path.iterdir())) > 1, "the reading's begin")
        client.process.kill()
        asking.join()
    assert (tmp_path / "export.csv").read_bytes() == export
    with desk(tmp_path) as client:
        client.folder = tmp_path
        until(lambda: not list(tmp_path.glob(".*")), "the reading's end")
        log = tmp_path / "export.parquet"
        assert not log.exists() or open_log(log).rows == 36_000
        page = client.get("/export?file=export.csv")
        assert "took" in text_of(sent(client, page, do="read"))


def test_in_a_browser_a_choice_is_seen_at_once(client):
    """The readings change while the page stands; the answer leads on, and the log to what it took."""
    (client.folder / "export.csv").write_text(pump_export(sign=-1.0), encoding="utf-8")
    with browser() as driven:
        let_in(driven, client)
        faults(driven)
        driven.get(f"{client.origin}/export?file=export.csv")

        def by(selector):
            return driven.find_element("css selector", selector)

        def shown_text():
            # While a page is replaced there may be none.
            script = "return document.querySelector('main')?.innerText ?? ''"
            return driven.execute_script(script).replace("\xa0", " ")

        assert not by("[data-plain]").is_displayed()
        driven.execute_script("window.stands = true")
        assert "1 in" in shown_text()
        by("#unit-2 option[value=mA]").click()
        until(lambda: "0.001 in" in shown_text(), "the unit's effect")
        assert driven.execute_script("return document.activeElement.id") == "unit-2"
        assert "0.001 in" in by("[data-effect]").get_attribute("textContent")
        by("#unit-2 option[value='']").click()
        until(lambda: "0.001 in" not in shown_text(), "the other effect")
        by("button.main[name=answer]").click()
        until(lambda: "1 out" in shown_text(), "the answer's effect")
        assert driven.execute_script("return document.activeElement.getAttribute('aria-labelledby')") == "ready"
        assert driven.execute_script("return window.stands")
        by("button[data-reads]").click()
        until(lambda: TOOK in shown_text(), "the answer")
        assert faults(driven) == []
    assert "export.parquet" in names(client)
