"""Lines of text: laid out in four ways, checked by four checksums, cut from chunks, and refused with a reason."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from serial_devices import column

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.live.line_reader import Cells, LineReader, NoReading, recognise
from shuntbook.ingest.live.lines import LINE_MOST, LineCutter, WrongChecksum, checksum, covered
from shuntbook.ingest.profiles.serial_part import ChecksumPart, SerialPart


def part(**said: object) -> SerialPart:
    """Return the part of a profile that says how lines are laid out."""
    return SerialPart.model_validate(said)


VOLTS_AMPS = {"voltage_V": column("volts"), "current_A": column("amps")}


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92,74.5"),
        ({"layout": "fields", "fields": ["volts", "", "amps"], "delimiter": "semicolon"}, " 11.92 ; x ; 74.5 "),
        ({"layout": "fields", "fields": ["volts", "amps"], "delimiter": "blank"}, "  11.92   74.5"),
        ({"layout": "fields", "fields": ["volts", "amps"], "delimiter": "tab", "decimal": "comma"}, "11,92\t74,5"),
        ({"layout": "pairs"}, "volts=11.92, amps=74.5"),
        ({"layout": "pairs"}, "METER 3 volts=11.92 amps=74.5"),
        ({"layout": "pairs", "equals": ":", "delimiter": "bar"}, "volts:11.92|state:on|amps:74.5"),
        ({"layout": "pairs"}, "volts=11.92V;amps=74500 mA"),
        ({"layout": "json"}, '{"volts": 11.92, "amps": 7.45e1, "on": true, "name": null}'),
        ({"layout": "json"}, '{"amps": "74.5", "volts": "11.92"}'),
        ({"layout": "pattern", "pattern": r"(?P<volts>\d+\.\d+) V at (?P<amps>[\d.]+)A!"}, "11.92 V at 74.5A!"),
    ],
)
def test_the_same_reading_in_every_layout(said, line):
    """Delimited, in pairs, as JSON or by a pattern: the numbers are those that stand there."""
    assert LineReader(part(**said), VOLTS_AMPS).read(line) == {"voltage_V": 11.92, "current_A": 74.5}


def test_positions_count_from_one():
    """Without names a place is a position: of a field, of a pair, of a group."""
    entries = {"voltage_V": column(2), "current_A": column(1)}
    expected = {"voltage_V": 11.92, "current_A": 74.5}
    assert LineReader(part(layout="fields"), entries).read("74.5,11.92,99") == expected
    assert LineReader(part(layout="pairs"), entries).read("i=74.5,u=11.92") == expected
    assert (
        LineReader(part(layout="pattern", pattern=r"(\d+\.\d) (?P<u>\d+\.\d+)"), entries).read("74.5 11.92") == expected
    )


def test_the_last_place_may_be_the_farthest():
    """A line with as many fields as are asked for is read; what lies beyond its last has no text."""
    reader = LineReader(part(layout="fields"), {"voltage_V": column(2), "current_A": column(1)})
    assert reader.read("74.5,11.92") == {"voltage_V": 11.92, "current_A": 74.5}
    with pytest.raises(NoReading, match="it has 1 fields, expected at least 2"):
        reader.read("74.5")
    cells = Cells(("amps",), ["74.5", " 11.92 "])
    assert [cells.at(place) for place in (0, 1, 2, 3, "amps", "volts")] == [None, "74.5", "11.92", None, "74.5", None]


def test_units_scale_offset_and_sign_are_applied_in_this_order():
    """((cell - minus) x scale + offset) in the unit, and return positive turned round; no negative zero comes of it."""
    entries = {
        "current_A": column("in", minus="out", unit="mA", scale=2.0, offset=100.0, sign="return_positive"),
        "energy_Wh": column("kwh"),
    }
    reader = LineReader(part(layout="pairs"), entries)
    assert reader.read("in=1000 out=400 kwh=1.5") == {"current_A": -1.3, "energy_Wh": 1500.0}
    assert str(LineReader(part(layout="pairs"), {"current_A": column("a", sign="return_positive")}).read("a=0")) == str(
        {"current_A": 0.0}
    )


@pytest.mark.parametrize(("letter", "expected"), [("D", 5.0), ("C", -5.0), ("-", 0.0)])
def test_a_letter_gives_the_direction(letter, expected):
    """Of an unsigned current."""
    entry = column("amps", direction={"column": "way", "draw": ["D"], "return": ["C"], "none": ["-"]})
    assert LineReader(part(layout="pairs"), {"current_A": entry}).read(f"amps=5,way={letter}") == {
        "current_A": expected
    }


@pytest.mark.parametrize(
    ("said", "line", "kind"),
    [
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92", "fields"),
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92,74.5,3", "fields"),
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92,OL", "no number"),
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92,1e999", "no number"),
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92,7_4", "no number"),
        ({"layout": "fields", "fields": ["volts", "amps"]}, "11.92,74.5 V", "no number"),
        ({"layout": "fields", "fields": ["volts", "amps"]}, ",---", "no value"),
        ({"layout": "pairs"}, "hello", "fields"),
        ({"layout": "pairs"}, "volts=11,volts=12", "fields"),
        ({"layout": "pairs"}, "watts=3", "no value"),
        ({"layout": "json"}, "[1, 2]", "fields"),
        ({"layout": "json"}, '{"volts": 11.9', "fields"),
        ({"layout": "json"}, '{"volts": NaN, "amps": Infinity}', "no number"),
        ({"layout": "json"}, '{"volts": true}', "no number"),
        ({"layout": "json"}, '{"volts":' + "[" * 900 + "]" * 90, "fields"),
        ({"layout": "pattern", "pattern": r"(?P<volts>\d+) (?P<amps>\d+)"}, "11 74 x", "fields"),
    ],
)
def test_what_is_no_reading_is_refused_with_its_kind(said, line, kind):
    """And never gives half a reading."""
    with pytest.raises(NoReading) as why:
        LineReader(part(**said), VOLTS_AMPS).read(line)
    assert why.value.kind == kind


@given(st.text(max_size=80))
def test_no_text_breaks_a_reader(text):
    """Whatever comes, it is a reading or it is refused."""
    for said in ({"layout": "json"}, {"layout": "pairs"}, {"layout": "fields", "fields": ["volts", "amps"]}):
        try:
            assert LineReader(part(**said), VOLTS_AMPS).read(text)
        except NoReading as why:
            assert str(why)


def test_a_profile_that_names_what_is_not_there_is_refused():
    """By the profile's own key, before the port is opened."""
    fields = part(layout="fields", fields=["a", "b"])
    with pytest.raises(
        InputError, match=r"quantities\.current_A names 'c', but the values of a line are called 'a', 'b'"
    ):
        LineReader(fields, {"current_A": column("c")})
    with pytest.raises(InputError, match=r"quantities\.current_A names value 3, but a line has only 2"):
        LineReader(fields, {"current_A": column(3)})
    with pytest.raises(InputError, match="is a unit of voltage"):
        LineReader(fields, {"current_A": column("a", unit="V")})


@pytest.mark.parametrize(
    ("line", "quantities"),
    [
        ('{"t": 12, "battery_voltage": 25.1, "current": -3.5}', ("voltage_V", "current_A")),
        ('{"bank": {"volts": 25.1, "amps": 3}}', ("voltage_V", "current_A")),
        ("V=25.1 I=3.5 P=88", ("voltage_V", "current_A", "power_W")),
        ("uptime=99;power_W=900", ("power_W",)),
    ],
)
def test_lines_that_explain_themselves_are_recognised(line, quantities):
    """JSON objects and pairs, by the words that a header may have."""
    found = recognise(line)
    assert found is not None
    assert found[0].quantities == quantities
    assert set(found[0].read(line)) == set(quantities)


@pytest.mark.parametrize("line", ["11.92,74.5", "uptime=99", '{"x": 1}', "hello", '{"volts": "low"}', ""])
def test_lines_that_do_not_are_not_guessed_at(line):
    """Bare fields above all."""
    assert recognise(line) is None


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("sum8", 0xDD),  # nine bytes of 0x35 on average: 0x1DD
        ("xor8", 0x31),  # 0x30 nine times is 0x30; of the digits 1^2^3 and 4^5^6^7 are 0, 8^9 is 1
        ("crc16_modbus", 0x4B37),  # Modbus over Serial Line V1.02, appendix B; FACTS.md section 7
        ("crc16_ccitt", 0x29B1),  # the usual check value of this CRC; from memory
    ],
)
def test_checksums_of_the_usual_check_text(kind, expected):
    """The digits 1 to 9."""
    assert checksum(b"123456789", kind) == expected


def test_crc_as_modbus_prints_it():
    """The frame 02 07 goes out with 41 12, the low byte first (Modbus over Serial Line V1.02, appendix B)."""
    assert checksum(bytes([0x02, 0x07]), "crc16_modbus").to_bytes(2, "little") == bytes([0x41, 0x12])


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ({"kind": "xor8", "start": "$"}, b"$123456789*31"),
        ({"kind": "xor8"}, b"123456789*31"),
        ({"kind": "sum8", "mark": ",", "with_mark": True}, b"123456789,%02x" % ((sum(b"123456789,")) & 255)),
        ({"kind": "crc16_modbus", "low_byte_first": True}, b"123456789*374b"),
        ({"kind": "crc16_modbus"}, b"123456789*4B37"),
        ({"kind": "crc16_ccitt", "mark": " crc="}, b"123456789 crc=29B1 "),
    ],
)
def test_a_right_checksum_gives_what_it_covers_and_any_change_is_noticed(said, line):
    """Every single flipped bit of what is covered, and of the checksum itself."""
    how = ChecksumPart.model_validate(said)
    assert covered(line, how) == b"123456789"
    at = line.index(b"1")
    for k in range(at * 8, len(line.strip()) * 8):
        broken = bytearray(line)
        broken[k // 8] ^= 1 << k % 8
        if broken.lower() == line.lower():
            continue  # the same hexadecimal digit in the other case
        with pytest.raises(WrongChecksum):
            covered(bytes(broken), how)


@pytest.mark.parametrize("line", [b"", b"*", b"12*3", b"12*", b"12*ZZ", b"12*123", b"nothing", b"12* 3", b"12*+3"])
def test_a_missing_or_malformed_checksum_is_refused(line):
    """It is never taken for a line without one."""
    with pytest.raises(WrongChecksum):
        covered(line, ChecksumPart(kind="sum8"))


@given(st.lists(st.binary(max_size=12).map(lambda b: b.replace(b"\n", b" ").strip(b"\r")), max_size=20), st.data())
def test_lines_do_not_depend_on_how_they_are_cut_into_chunks(texts, data):
    """However the bytes come, the same lines come out, in increasing time that is never later than now."""
    stream = b"".join(text + b"\r\n" for text in texts)
    cutter = LineCutter(b"\n", byte_us=87.0)
    cutter.begin(1_000)
    cutter.at_rest()
    found, now_us, at = [], 1_000, 0
    while at < len(stream):
        size = data.draw(st.integers(1, 40))
        now_us += data.draw(st.integers(1_000, 100_000))
        lines = cutter.feed(stream[at : at + size], now_us)
        assert all(line.time_us <= now_us for line in lines)
        found += lines
        at += size
    assert [line.data for line in found] == [text for text in texts if text]
    assert all(line.whole for line in found)
    stamps = [line.time_us for line in found]
    assert all(b > a for a, b in pairwise(stamps))


def test_lines_of_one_chunk_are_dated_back_by_what_the_wire_allows():
    """At 1,000 us a byte a line that ends 10 bytes before the chunk's end came 10 ms before it."""
    cutter = LineCutter(b"\n", byte_us=1000.0)
    cutter.begin(0)
    cutter.at_rest()
    assert [line.time_us for line in cutter.feed(b"123\n123456789\n", 5_000_000)] == [4_990_000, 5_000_000]
    # the chunk came within 14 ms though its bytes would have taken 28: a line that is faster than its baud rate says
    assert [line.time_us for line in cutter.feed(b"123\n" * 7, 5_014_000)] == [5_002_000 + 2_000 * k for k in range(7)]


@pytest.mark.parametrize("rest", [b"", b"\n1\n"], ids=["without end", "ended"])
def test_what_is_ended_within_one_microsecond_keeps_its_order(rest):
    """Also a line too long to have come to its end."""
    cutter = LineCutter(b"\n", byte_us=1.0)
    cutter.begin(4)
    times = [line.time_us for line in cutter.feed(b"1\n" * 30 + b"x" * (LINE_MOST + 1) + rest, 5)]
    assert len(times) > 30
    assert times == sorted(set(times))


def test_the_first_line_is_whole_only_after_a_rest():
    """It may have begun before; the second has not."""
    cutter = LineCutter(b"\n", byte_us=1.0)
    cutter.begin(0)
    assert [line.whole for line in cutter.feed(b"5,7\n12,7\n", 100)] == [False, True]
    cutter.begin(200)
    cutter.feed(b"1", 300)
    cutter.at_rest()  # in the middle of a line
    assert [line.whole for line in cutter.feed(b"2\n", 400)] == [False]
    assert cutter.begin(500) == b""
    cutter.at_rest()
    assert [line.whole for line in cutter.feed(b"12,7\n", 600)] == [True]


def test_a_line_without_end_is_told_once_and_the_next_is_read():
    """However it is cut into chunks; a screen of noise does not fill the memory."""
    for size in (1, 7, 2 * LINE_MOST, 10 * LINE_MOST):
        cutter = LineCutter(b"\r\n", byte_us=1.0)
        cutter.begin(0)
        cutter.at_rest()
        stream = b"x" * (5 * LINE_MOST) + b"\r\n11.9\r\n"
        lines = [line for at in range(0, len(stream), size) for line in cutter.feed(stream[at : at + size], at + 1)]
        assert [line.too_long for line in lines] == [True, False]
        assert lines[-1].data == b"11.9"
        assert len(lines[0].data) <= LINE_MOST


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"layout": "pattern"}, "belong together"),
        ({"layout": "json", "pattern": "(?P<a>x)"}, "belong together"),
        ({"layout": "pattern", "pattern": r"(?P<a>x)(?=y)"}, "looks ahead"),
        ({"layout": "pattern", "pattern": r"(?P<a>x)(?P=a)"}, "no regular expression"),
        ({"layout": "pattern", "pattern": r"(?P<a>x)|y)(z"}, "no regular expression"),
        ({"layout": "pattern", "pattern": r"(?P<a>((x{1,99}){1,99}){1,99})"}, "no regular expression"),
        ({"layout": "pattern", "pattern": r"(?P<a>" + "x" * 500 + ")"}, "longer than 500"),
        ({"layout": "pattern", "pattern": r"(?P<a>\d"}, "no regular expression"),
        ({"layout": "pattern", "pattern": r"\d+"}, "names no value"),
        ({"layout": "pairs", "encoding": "utf-16"}, "no encoding"),
        ({"layout": "pairs", "encoding": "nonsense"}, "no encoding"),
        ({"layout": "pairs", "encoding": "rot13"}, "no encoding"),
        ({"layout": "pairs", "ask": "R\\q"}, r"none of"),
        ({"layout": "pairs", "ask": "R\\"}, "single backslash"),
        ({"layout": "pairs", "fields": ["a"]}, "belongs to"),
        ({"layout": "fields", "fields": ["a", "a"]}, "twice"),
        ({"layout": "json", "decimal": "comma"}, "cannot be a comma"),
        ({"layout": "fields", "delimiter": "comma", "decimal": "comma"}, "cannot be a comma"),
        ({"layout": "pairs", "baud": "9600"}, "valid integer"),
        ({"layout": "pairs", "parity": "mark"}, "none"),
        ({"layout": "pairs", "speed": 1}, "not permitted"),
    ],
)
def test_a_profile_that_contradicts_itself_is_refused_in_words(said, words):
    """Also a pattern that goes back in a line."""
    with pytest.raises(ValidationError, match=words):
        part(**said)


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<volts>\d+(?:\.\d+)?)V (?P<amps>[+-]?\d+\.\d+)A(?: (?P<watts>\d+)W)?",
        r"V:(?P<volts>[^,]+),A:(?P<amps>[^,]+),.*",
        r"(?:ok|run) (?P<volts>\d{1,3}\.\d{2}) \(\d+\)+ [(+*)]*",
        r"(?:\w )+(?P<volts>\d+)",
        r"(?P<volts>(\d+)+)V",
        r"(?P<volts>(?:1|11|.1)*)V",
        r"(?P<volts>\d*)\d*\d*\d*\d*\d*\d*V",
        r"(?P<volts>.*).*.*.*.*,.*.*V",
        r"(?P<volts>" + "1?" * 100 + "1" * 99 + ")V",
    ],
)
def test_any_pattern_refuses_a_long_garbled_line(pattern):
    """The longest line there can be comes back as refused, however often a pattern that goes back would have to."""
    reader = LineReader(part(layout="pattern", pattern=pattern), {"voltage_V": column("volts")})
    for line in ("1" * 1000, "V:" + "," * 998, "1.1V " * 200, "(" * 1000):
        with pytest.raises(NoReading):
            reader.read(line)


def test_what_is_sent_to_ask_may_hold_any_byte():
    r"""By \x1b and its like, in a TOML text of either kind."""
    assert part(layout="pairs", ask="\\x1bR\\\\\\r\n").question == b"\x1bR\\\r\n"
    assert part(layout="pairs").question is None
