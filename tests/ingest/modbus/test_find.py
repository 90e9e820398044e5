"""What the display shows, found among the registers: place, type, order, scale and sign."""

import random
import struct
from types import SimpleNamespace

import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.source import SteadyClock
from shuntbook.ingest.modbus.find import SeenRound, find, found_profile, settled
from shuntbook.ingest.modbus.registers import modbus_source
from shuntbook.ingest.modbus.shown_value import parse_shown
from shuntbook.ingest.profiles.model import load_profile


def words_of(kind, value, order="big"):
    words = struct.unpack(">HH" if kind.endswith("32") else ">H", struct.pack(">" + CODES[kind], value))
    return words if order == "big" else words[::-1]


CODES = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f"}


def look(values, seed=1, size=80):
    """Registers of a device: settings, states and noughts around, and the values at their places."""
    dice = random.Random(seed)
    registers = {
        (1, "holding", at): dice.choice([0, 0, 1, dice.randrange(300), dice.randrange(65536)]) for at in range(size)
    }
    for at, words in values.items():
        registers |= {(1, "holding", at + k): word for k, word in enumerate(words)}
    return registers


def seen(text, *looks):
    return SeenRound(parse_shown(text), looks)


#: How a device stores 74.5 A: at which register, type, order, scale, raw.
STORED = {
    "tenths": ("int16", None, 0.1, 745),
    "hundredths": ("int16", None, 0.01, 7452),
    "milliamps": ("int32", "big", 0.001, 74523),
    "milliamps, low word first": ("int32", "little", 0.001, 74523),
    "float": ("float32", "big", 1.0, 74.52),
    "float, low word first": ("float32", "little", 1.0, 74.52),
    "charge positive": ("int16", None, 0.1, -745),
}


@pytest.mark.parametrize("how", STORED)
@pytest.mark.parametrize("seed", range(6))
def test_a_value_is_found_in_two_goes(how, seed):
    """In each form, among random registers: the right one is first at once, and settled after a second value."""
    kind, order, scale, raw = STORED[how]
    place = 24

    def at(x):
        value = x if kind == "float32" else round(x)
        return look({place: words_of(kind, value, order or "big")}, seed)

    first = [seen("74.5 A", at(raw), at(raw))]
    both = [*first, seen("12.1 A", at(raw * 12.1 / 74.5))]
    assert (place, kind) in [(each.address, each.type) for each in find(first)[:3]]
    best = settled(find(both))
    assert (best.table, best.address, best.type, best.word_order, best.scale) == ("holding", place, kind, order, scale)
    assert best.is_turned == (how == "charge positive")
    assert best.value == pytest.approx(12.1, abs=0.05)


def test_a_value_that_moves_while_it_is_typed_is_found():
    """The display said 74.5 between two readings; a constant 745 beside it is less plausible."""
    moving = [look({10: [raw], 12: [745]}) for raw in (738, 744, 747, 751)]
    candidates = [each for each in find([seen("74.5 A", *moving)]) if each.address in (10, 12) and each.type == "int16"]
    assert [each.address for each in candidates] == [10, 12]
    assert candidates[0].reasons == ("moves",)


def test_what_is_not_within_the_last_digit_is_no_candidate():
    """74.5 is 74.4 to 74.6, and no more."""
    around = {at: [raw] for at, raw in enumerate((743, 744, 746, 747), 40)}
    assert {each.address for each in find([seen("74.5", look(around))]) if each.scale == 0.1} == {41, 42}


def test_neighbours_that_make_watts_of_volts_and_amps_speak_for_it():
    """745, 1195 and 890 side by side; the other 745 has no such neighbours."""
    registers = look({10: [1195, 745, 890], 50: [745]}, size=60)
    registers |= {(1, "holding", at): 0 for at in (*range(40, 50), *range(51, 60))}
    best, other = find([seen("74.5 A", registers)])[:2]
    assert (best.address, other.address) == (11, 50)
    assert best.reasons == ("11.95 V x 74.5 A = 890 W with registers 10 and 12",)


def test_values_of_one_display_stand_together():
    """Each alone could be in two places; together they are the ones side by side."""
    registers = look({3: [745], 20: [1195], 40: [1195, 745]}, seed=4)
    amps, volts = ([seen(text, registers)] for text in ("74.5 A", "11.95 V"))
    assert find(amps, others=[find(volts)])[0].address == 41
    assert find(volts, others=[find(amps)])[0].address == 40


def test_a_register_of_both_tables_is_one_candidate():
    """Many devices give the same in either."""
    registers = look({10: [745]}) | {(1, "input", 10): 745}
    (found,) = [each for each in find([seen("74.5 A", registers)]) if each.address == 10 and each.type == "int16"]
    assert (found.table, found.same_at) == ("holding", (("input", 10),))


def test_three_values_settle_what_stands_twice():
    """A whole number and a float of the same: either is right."""
    looks = [look({10: words_of("float32", x), 30: words_of("int16", round(x * 10))}) for x in (74.5, 2.1, 30.3)]
    rounds = [seen(f"{x} A", each) for x, each in zip((74.5, 2.1, 30.3), looks, strict=True)]
    found = find(rounds)
    assert {(each.address, each.type) for each in found} >= {(10, "float32"), (30, "int16")}
    assert settled(found) is None or settled(found).type == "int16"
    assert settled(found, rounds) is found[0]


def test_volts_have_no_sign_unless_they_are_negative():
    """The likelier type for the quantity stands for both."""
    assert [each.type for each in find([seen("11.95 V", look({10: [1195]}))]) if each.address == 10] == ["uint16"]
    assert [each.type for each in find([seen("11.95 A", look({10: [1195]}))]) if each.address == 10] == ["int16"]


# --- what is typed ---


@pytest.mark.parametrize(("text", "value", "digit", "unit", "quantity"), [
    ("74.5", 74.5, 0.1, None, None),
    ("74,5 A", 74.5, 0.1, "A", "current_A"),
    (" -3.20A ", -3.2, 0.01, "A", "current_A"),
    ("−3 A", -3.0, 1.0, "A", "current_A"),
    ("1,250.5 W", 1250.5, 0.1, "W", "power_W"),
    ("1.250 kW", 1.25, 0.001, "kW", "power_W"),
    ("11.95V", 11.95, 0.01, "V", "voltage_V"),
    ("87 %", 87.0, 1.0, "%", "state_of_charge_pct"),
])  # fmt: skip
def test_a_value_is_read_as_it_stands_on_the_display(text, value, digit, unit, quantity):
    """Its size, its last digit and its unit."""
    shown = parse_shown(text)
    assert (shown.value, shown.digit, shown.unit, shown.quantity) == (value, pytest.approx(digit), unit, quantity)


@pytest.mark.parametrize(("text", "words"), [
    ("1,250 W", "could be 1250 or 1.250"),
    ("0.0 A", "0 tells nothing apart"),
    ("amps", "is no value of a display"),
    ("1.2.3", "is no number"),
    ("74.5 xy", "unit 'xy' is not known"),
    ("74.5 VA", "apparent power, which no log holds"),
])  # fmt: skip
def test_what_is_no_value_is_told_in_a_sentence(text, words):
    """What, where, what to do."""
    with pytest.raises(InputError, match=f"--find: .*{words}"):
        parse_shown(text)


# --- the profile ---


@pytest.mark.parametrize("how", STORED)
def test_capture_reads_by_the_profile_what_the_display_showed(how, tmp_path):
    """The profile's own reader gives the value back, in amps drawn."""
    from modbus_devices import ScriptedServer, register_device

    kind, order, _, raw = STORED[how]
    registers = look({24: words_of(kind, raw, order or "big")})
    shown = parse_shown("74.5 A")
    candidate = next(each for each in find([SeenRound(shown, [registers])]) if (each.address, each.type) == (24, kind))
    file = tmp_path / "found.toml"
    file.write_text(found_profile({"current_A": candidate}, {"current_A": shown}), encoding="utf-8")
    with ScriptedServer(register_device({place[1:]: word for place, word in registers.items()}, units={1})) as device:
        address = parse_address(f"modbus-tcp:127.0.0.1:{device.port}?timeout=10")
        source = modbus_source(address, load_profile(str(file)), SteadyClock())
        source.open()
        (reading,) = source.read(1.0)
        source.close()
    assert reading.values["current_A"] == pytest.approx(74.5, abs=0.05)


def test_a_profile_is_of_one_unit():
    """Two meters are two profiles."""
    one, other = (SimpleNamespace(unit=unit) for unit in (1, 2))
    with pytest.raises(InputError, match="of one unit"):
        found_profile({"current_A": one, "voltage_V": other}, {})
