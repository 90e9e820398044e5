"""A meter from the desk: looked at, its display's value found, watched, taken into a profile, read, and reported."""

from __future__ import annotations

import html
import re
import struct
import threading
import time
import tomllib
from pathlib import Path

import pytest
from desks import address, desk, text_of
from meters import metered
from modbus_devices import PtyPair, ScriptedServer, free_port, rtu_server, tcp_server

from shuntbook.cli.capture.running import running_captures
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.modbus.sunspec_models import model

pytestmark = [
    pytest.mark.xdist_group("captures"),  # they have clocks to keep
    pytest.mark.filterwarnings("ignore:isSet:DeprecationWarning"),  # modbus-tk's server thread
]


OWN = """# my shunt
[modbus]
unit = 1 # as on its sticker
address_base = "one"

[modbus.registers.voltage_V]
address = 4
type = "uint16"
scale = 0.01
"""


def looked(client, **fields):
    """Look at a place, and return the page of what answers, and what names the search."""
    answer = client.send("/meter", **fields)
    for _ in range(60):
        if "Looking at the meter" not in answer.text:
            break
        answer = client.again(answer)
    found = re.search(r'name="search" value="([^"]+)"', answer.text)
    return answer, found and found[1]


def in_network(client, port, **more):
    """Look at a meter in the network."""
    return looked(client, by="network", host="127.0.0.1", port=port, unit="1", **more)


def first_candidate(answer):
    """The likeliest candidate of a page, as its button sends it."""
    return html.unescape(re.search(r'name="candidate" value="([^"]+)"', answer.text)[1])


def wrong_at(answer, field):
    """What a page says is wrong with a field."""
    text = html.unescape(answer.text.partition(f'id="wrong-{field}">')[2].partition("</p>")[0])
    return text.replace("\xa0", " ")


def until(holds):
    """Wait a while for what must come, and return what it came to."""
    end = time.monotonic() + 30
    while not (came := holds()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return came


def test_from_the_meter_to_the_answer(client):
    """Found by its display, amps then volts, its sign asked; captured by the profile that came of it, and answered."""
    with metered() as (meter, port):
        page, search = in_network(client, port)
        assert "Unit 1 answers" in text_of(page)
        assert "Holding registers 40 to 255 refused (illegal data address)" in text_of(page)
        found = client.send("/meter/ask", search=search, do="value", value="74,5 A")
        assert "holding 2 , int16, scale 0.1: gives 74.5 A" in text_of(found)
        amps = first_candidate(found)
        untold = client.send("/meter/ask", search=search, do="take", of="current_A", candidate=amps, name="shunt")
        assert "which way it flowed" in wrong_at(untold, "flow")
        assert list(client.folder.iterdir()) == []
        taken = client.send(
            "/meter/ask", search=search, do="take", of="current_A", candidate=amps, name="shunt", flow="out"
        )
        assert "shunt.toml reads amps" in text_of(taken)
        found = client.send("/meter/ask", search=search, file="shunt.toml", do="value", value="11.95 V")
        volts = first_candidate(found)
        taken = client.send("/meter/ask", search=search, file="shunt.toml", do="take", of="voltage_V", candidate=volts)
        assert "shunt.toml reads amps, volts" in text_of(taken)
        profile = tomllib.loads((client.folder / "shunt.toml").read_text())["modbus"]
        assert profile["registers"]["current_A"] | {"sign": "return_positive"} == profile["registers"]["current_A"]
        source = f"modbus-tcp:127.0.0.1:{port}?unit=1"
        onward = html.unescape(re.search(r'class="main" href="(/capture[^"]+)"', taken.text)[1])
        assert onward == address("/capture", source=source, profile="shunt.toml")
        form = client.get(onward)
        assert f'value="{html.escape(source)}"' in form.text and 'value="shunt.toml" selected' in form.text

        client.send("/capture", source=source, profile="shunt.toml", name="a")
        client.processes |= {capture.state.process for capture in running_captures(client.folder)}
        until(lambda: "74.5 A" in client.get("/capture?log=a.parquet&part=figures").text)
        meter.switch(False)
        until(lambda: "2.10 A" in client.get("/capture?log=a.parquet&part=figures").text)
        client.send("/capture/end", log="a.parquet")
    table = open_log(client.folder / "a.parquet").to_pandas()
    assert set(table["current_A"]) == {74.5, 2.1}
    assert "Out of the bank" in text_of(client.get("/answer?file=a.parquet"))


def test_the_volts_tell_which_way_it_flows(client):
    """They fall as the amps rise: out of the bank, which is chosen beforehand, with the evidence."""
    with metered() as (meter, port):
        _, search = in_network(client, port)
        client.send("/meter/ask", search=search, do="value", value="11.95 V")
        client.send("/meter/ask", search=search, do="value", value="74.5 A")
        meter.switch(False)
        found = client.send("/meter/ask", search=search, do="value", value="2.1 A")
    assert "The volts fell from 12.6 V to 11.9 V" in text_of(
        found
    ) or "The volts fell from 12.6 V to 12.0 V" in text_of(found)
    assert 'value="out" checked' in found.text


def test_what_gives_the_same_is_told_apart_by_a_second_value(client):
    """Two registers of one value are both shown; after the load was switched one is left."""
    with metered() as (meter, port):
        meter.registers["holding", 30] = -745
        _, search = in_network(client, port)
        both = client.send("/meter/ask", search=search, do="value", value="74.5 A")
        assert "registers may be 74.5 A" in text_of(both) and "Switch the load" in text_of(both)
        meter.switch(False)
        one = client.send("/meter/ask", search=search, do="value", value="2.1 A")
    assert "2.1 A was found" in text_of(one)
    assert "holding 30" not in text_of(one)
    assert "follows the display through 2 values" in text_of(one)


def test_only_what_changes_is_shown_while_it_is_watched(client):
    """Live, unrounded; and it ends by itself within seconds once nobody asks."""
    with metered() as (meter, port):
        _, search = in_network(client, port)
        page = client.send("/meter/ask", search=search, do="watch", on="1")
        assert "Leave everything as it is" in text_of(page)
        changes = address("/meter", search=search, part="changes")
        until(lambda: "Now switch the load" in client.get(changes).text)
        meter.switch(False)
        text = until(lambda: "holding 2<" in (text := client.get(changes).text) and text)
        assert "-745" in text.replace("−", "-") and "holding 10-11" in text and "holding 30" not in text
        time.sleep(8)
        assert "Now switch" not in client.get(changes).text
        assert "holding 2<" in client.get(changes).text, "what was seen stays"


def test_an_end_of_watching_frees_the_port(client):
    """By the button, at once; a value can be searched while it is watched, too."""
    with rtu_server({1: [("holding", 0, [0, 745, 1195])]}) as port:
        _, search = looked(client, by="cable", cable=port, speaks="modbus", rate="19200", unit="1", registers="0-2")
        client.send("/meter/ask", search=search, do="watch", on="1")
        found = client.send("/meter/ask", search=search, do="value", value="11.95 V")
        assert "holding 2 , " in text_of(found)
        client.send("/meter/ask", search=search, do="watch", on="1")
        client.send("/meter/ask", search=search, do="watch", on="0")
        other, _ = looked(client, by="cable", cable=port, speaks="modbus", rate="19200", unit="1")
    assert "Unit 1 answers" in text_of(other)


def test_lines_of_text_need_no_profile(client):
    """Found at the usual rates without being told so; the capture is filled in."""
    pair, stop = PtyPair(), threading.Event()

    def send():
        with Path(pair.names[0]).open("wb", buffering=0) as wire:
            while not stop.wait(0.2):
                wire.write(b"11.95V 67.00A 800.4W\r\n")

    sender = threading.Thread(target=send)
    sender.start()
    try:
        page, _ = looked(client, by="cable", cable=pair.names[1])
    finally:
        stop.set()
        sender.join()
        pair.close()
    assert "It sends lines of text" in text_of(page)
    assert address("/capture", source=f"serial:{pair.names[1]}?baud=9600") in html.unescape(page.text)


def battery(amps):
    """The registers of a SunSpec battery that gives so many amps, whose sign its model leaves open."""
    known = model(802)
    length = max(point.offset + point.size for point in known.points.values()) - 2
    words = [802, length, *([0] * length)]
    for name, value in (("A", round(amps * 10)), ("A_SF", -1), ("V", 251), ("V_SF", -1)):
        words[known.points[name].offset] = value & 0xFFFF
    return [0x5375, 0x6E53, *words, 0xFFFF, 0]


@pytest.mark.parametrize(("amps", "out"), [(74.5, "draw_positive"), (-74.5, "return_positive"), (0, None)])
def test_a_sunspec_battery_is_asked_which_way_it_flows(client, amps, out):
    """Each answer leads on to a capture with the sign that it means; nought shows none."""
    with tcp_server({1: [("holding", 40000, battery(amps))]}, free_port()) as port:
        page, _ = in_network(client, port)
    assert "SunSpec model 802" in text_of(page)
    if out is None:
        assert "Let a load run" in text_of(page)
        return
    source = f"sunspec-tcp:127.0.0.1:{port}?unit=1&model=802&sign={out}"
    link = html.escape(address("/capture", source=source))
    assert f'href="{link}">Out of the bank: read it' in page.text


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"by": "network", "host": ""}, "host", "say the meter's host"),
        ({"by": "network", "host": "127.0.0.1", "port": "9", "unit": "300"}, "unit", "from 0 to 255"),
        ({"by": "network", "host": "127.0.0.1", "registers": "a"}, "registers", "FIRST-LAST"),
        ({"by": "cable", "cable": ""}, "cable", "choose a port"),
    ],
)
def test_a_mistake_is_told_at_its_field(client, fields, field, sentence):
    """And what was typed stays."""
    answer = client.send("/meter", **fields)
    assert answer.status == 400
    assert sentence.lower() in wrong_at(answer, field).lower()
    for name in ("unit", "registers"):
        if fields.get(name):
            assert f'value="{fields[name]}"' in answer.text


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"by": "network", "host": "127.0.0.1", "port": "9"}, "127.0.0.1:9"),
        ({"by": "cable", "cable": "/dev/nothing", "speaks": "modbus", "rate": "9600"}, "there is no such port"),
        ({"by": "cable", "cable": "/dev/nothing"}, "there is no such port"),
    ],
)
def test_what_is_not_there_is_told_in_a_sentence(client, fields, sentence):
    """With the form as it was."""
    answer, _ = looked(client, **fields)
    assert answer.status == 400
    assert sentence in text_of(answer)
    assert f'value="{fields.get("cable") or fields["host"]}"' in answer.text


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("74.5", "say in what unit"),
        ("0 A", "0 tells nothing apart"),
        ("1,250 W", "could be 1250 or 1.250"),
        ("x", "is no value of a display"),
        ("", "is no value of a display"),
    ],
)
def test_a_value_that_cannot_be_searched_is_told_at_its_field(client, value, sentence):
    """What was typed stays in it."""
    with metered() as (_, port):
        _, search = in_network(client, port)
        answer = client.send("/meter/ask", search=search, do="value", value=value)
    assert answer.status == 400
    assert sentence.lower() in wrong_at(answer, "value").lower()
    assert f'name="value" value="{value}"' in answer.text


def test_what_no_bank_carries_is_not_taken_without_a_word(client):
    """96,928 A is told; with the person's word it is written as the largest that can be."""
    with metered() as (meter, port):
        meter.registers["holding", 20], meter.registers["holding", 21] = struct.unpack(">HH", struct.pack(">I", 96928))
        _, search = in_network(client, port)
        found = client.send("/meter/ask", search=search, do="value", value="96928 A")
        fields = {"search": search, "do": "take", "of": "current_A", "candidate": first_candidate(found), "flow": "out"}
        told = client.send("/meter/ask", **fields)
        assert "which no bank carries" in wrong_at(told, "sure")
        assert list(client.folder.iterdir()) == []
        client.send("/meter/ask", **fields, sure="1")
    profile = tomllib.loads((client.folder / "meter.toml").read_text())
    assert profile["modbus"]["registers"]["current_A"]["largest"] == 97000.0


DOCUMENT = {"do": "document", "address": "21", "from": "1", "type": "uint32", "scale": "0,001", "unit_of_value": "A"}


def test_a_register_by_the_meters_document(client):
    """Read at once; in the wrong order of words it gives what no bank carries, and is not taken without a word."""
    with metered() as (meter, port):
        # 74.5 A in milliamps, the low word first.
        meter.registers["holding", 20], meter.registers["holding", 21] = 74500 & 0xFFFF, 74500 >> 16
        _, search = in_network(client, port)
        wrong = client.send("/meter/ask", search=search, **DOCUMENT, order="big")
        assert "gives 587,465 A" in text_of(wrong) or "gives 587464.7 A" in text_of(wrong)
        fields = {"search": search, "do": "take", "of": "current_A", "flow": "out"}
        told = client.send("/meter/ask", **fields, candidate=first_candidate(wrong))
        assert "which no bank carries" in wrong_at(told, "sure")
        assert list(client.folder.iterdir()) == []
        right = client.send("/meter/ask", search=search, **DOCUMENT, order="little")
        assert "gives 74.5 A" in text_of(right)
        client.send("/meter/ask", **fields, candidate=first_candidate(right))
        given = client.send("/meter/try", file="meter.toml", source=f"modbus-tcp:127.0.0.1:{port}")
    assert "current_A 74.5" in text_of(given)


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"address": "x"}, "address", "must be a whole number"),
        ({"address": "300"}, "address", "is not given by this meter"),
        ({"scale": "0"}, "scale", "must be a number"),
        ({"unit_of_value": "furlongs"}, "unit_of_value", "furlongs"),
        ({"type": "float32", "address": "31"}, "type", "no number"),
    ],
)
def test_a_slip_in_what_the_document_says_is_told_at_its_field(client, change, field, sentence):
    """What was typed stays."""
    with metered() as (meter, port):
        meter.registers["holding", 30] = meter.registers["holding", 31] = 0xFFFF
        _, search = in_network(client, port)
        answer = client.send("/meter/ask", search=search, **DOCUMENT | change)
    assert answer.status == 400
    assert sentence in wrong_at(answer, field)
    assert 'name="scale" value="' + (DOCUMENT | change)["scale"] in answer.text


def test_a_profile_of_ones_own_keeps_what_stands_in_it(client):
    """A quantity is added behind what was written; a name that is taken gets a number."""
    text = OWN
    (client.folder / "meter.toml").write_text(text, encoding="utf-8")
    with metered() as (_, port):
        _, search = in_network(client, port)
        found = client.send("/meter/ask", search=search, do="value", value="74.5 A")
        fields = {"search": search, "do": "take", "of": "current_A", "candidate": first_candidate(found), "flow": "in"}
        client.send("/meter/ask", **fields, file="meter.toml")
        client.send("/meter/ask", **fields, name="meter")
        shown = client.send("/meter/try", file="meter.toml", source=f"modbus-tcp:127.0.0.1:{port}")
    written = (client.folder / "meter.toml").read_text(encoding="utf-8")
    assert written.startswith(text)
    assert tomllib.loads(written)["modbus"]["registers"]["current_A"]["address"] == 3
    assert (client.folder / "meter-2.toml").exists()
    assert "current_A -74.5" in text_of(shown).replace("−", "-") and "voltage_V 11.95" in text_of(shown)


def test_a_profile_is_shown_with_where_to_use_it(client):
    """Of a meter and of exports; one that cannot be read says why."""
    (client.folder / "e.toml").write_text('[quantities.current_A]\ncolumn = "I <b>"\n', encoding="utf-8")
    (client.folder / "bad.toml").write_text("[modbus]\nunit = 999\n", encoding="utf-8")
    shown = client.get("/meter?file=e.toml")
    assert "It is used where an export is read" in text_of(shown) and "<b>" not in shown.text.partition("<main")[2]
    assert "unit" in text_of(client.get("/meter?file=bad.toml"))
    assert client.get("/meter?file=..%2Fx.toml").status == 200


def test_the_desk_killed_in_the_middle_loses_no_place(client):
    """The next one does not know what answered, but where it was; the profile so far is a file."""
    with metered() as (_, port):
        _, search = in_network(client, port)
        client.process.kill()
        client.process.wait(60)
        with desk(client.folder) as again:
            page = again.get(address("/meter", search=search, source=f"modbus-tcp:127.0.0.1:{port}?unit=1"))
    assert "look at it again" in text_of(page)
    assert 'value="127.0.0.1"' in page.text and f'value="{port}"' in page.text


def test_other_pages_are_answered_while_a_meter_is_looked_for(client):
    """A host that stays silent holds nobody up."""
    with ScriptedServer(lambda _frame: []) as device:
        start = time.monotonic()
        answer = client.send("/meter", by="network", host="127.0.0.1", port=device.port)
        assert "Looking at the meter" in text_of(answer)
        assert client.get("/").status == 200
        assert time.monotonic() - start < 8
