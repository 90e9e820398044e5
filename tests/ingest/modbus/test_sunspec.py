"""SunSpec: a device image built from the published models, read by ours and by the reference reader: equal values.

The models are the files of pysunspec2; the image is packed here, served by modbus-tk, and read once by `shuntbook` and
once by pysunspec2's own client, which shares no code with ours. Types, markers and "not implemented" values: SunSpec
Device Information Model Specification.
"""

import json
import math
import random
import struct
from importlib.util import find_spec
from pathlib import Path
from types import SimpleNamespace

import pytest
from modbus_devices import ScriptedPort, ScriptedServer, answer, exception, rtu_server, tcp_answer, tcp_server, with_crc
from sunspec2.modbus import client as reference

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading, Refused
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.source import SourceLost, SteadyClock
from shuntbook.ingest.modbus.probe import probe
from shuntbook.ingest.modbus.sunspec import READABLE, sunspec_source
from shuntbook.ingest.modbus.sunspec_models import model
from shuntbook.ingest.profiles.modbus_part import SunSpecPart

pytestmark = pytest.mark.filterwarnings("ignore:isSet:DeprecationWarning")  # modbus-tk's server thread

MODELS = Path(find_spec("sunspec2").submodule_search_locations[0]) / "models" / "json"
MARKER = [0x5375, 0x6E53]
CODES = {
    "int16": "h", "uint16": "H", "count": "H", "enum16": "H", "bitfield16": "H", "acc16": "H", "sunssf": "h",
    "pad": "H", "int32": "i", "uint32": "I", "enum32": "I", "bitfield32": "I", "acc32": "I", "int64": "q",
    "uint64": "Q", "acc64": "Q", "float32": "f", "float64": "d",
}  # fmt: skip
#: Bytes that say "not implemented", by type.
ABSENT = {
    "int16": "8000", "uint16": "FFFF", "enum16": "FFFF", "bitfield16": "FFFF", "acc16": "0000", "sunssf": "8000",
    "pad": "8000",
    "int32": "80000000", "uint32": "FFFFFFFF", "bitfield32": "FFFFFFFF", "acc32": "00000000", "float32": "7FC00000",
}  # fmt: skip
#: Numbers that a small device might give; the rest is made up by a seeded generator.
PLAUSIBLE = {"PF": 87, "SoC": 76}


def points_of(number):
    return json.loads((MODELS / f"model_{number}.json").read_text(encoding="utf-8"))["group"]["points"]


def packed(number, seed=1, length=None, **values):
    """A model's registers: made-up values, but `values` (raw numbers, or None for not implemented) where given."""
    made_up = random.Random(1000 * number + seed)
    words = [number, 0]
    for point in points_of(number)[2:]:
        kind, size = point["type"], point["size"]
        if kind == "string":
            raw = f"Marrowbrook {point['name']}".encode()[: 2 * size].ljust(2 * size, b"\0")
        elif values.get(point["name"], 0) is None:
            raw = bytes.fromhex(ABSENT[kind])
        else:
            raw = struct.pack(">" + CODES[kind], values.get(point["name"], some(kind, point["name"], made_up)))
        words += [int.from_bytes(raw[k : k + 2], "big") for k in range(0, len(raw), 2)]
    words = words if length is None else words[: length + 2]
    words[1] = len(words) - 2
    return words


def some(kind, name, made_up):
    if kind == "sunssf":
        return 0 if name in ("PF_SF", "SoC_SF") else made_up.randint(-3, 2)
    if kind.startswith("float"):
        return (
            PLAUSIBLE.get(name, 1) / 100
            if name == "PF"
            else struct.unpack(">f", struct.pack(">f", made_up.uniform(-500, 500)))[0]
        )
    return PLAUSIBLE.get(name, made_up.randint(1, 30000))


def device(*models):
    """A chain of models, from the marker to the end."""
    return [*MARKER, *(word for each in models for word in each), 0xFFFF, 0]


def served(words, base=40000):
    return tcp_server({1: [("holding", base, words)]})


def source_at(port, query="", profile=None):
    return sunspec_source(parse_address(f"sunspec-tcp:127.0.0.1:{port}?timeout=10{query}"), profile, SteadyClock())


def polled(source):
    source.open()
    events = source.read(1.0)
    source.close()
    return events


def reading(source):
    (event,) = polled(source)
    assert isinstance(event, Reading)
    return event.values


def read_by_the_reference(port):
    them = reference.SunSpecModbusClientDeviceTCP(slave_id=1, ipaddr="127.0.0.1", ipport=port, timeout=10)
    try:
        them.scan()
        return {number: models[0] for number, models in them.models.items() if isinstance(number, int)}
    finally:
        them.disconnect()


FROM = {
    **dict.fromkeys((201, 202, 203, 204, 211, 212, 213, 214), ("A", "PhV", "W", "PF", "Hz", "TotWhImp")),
    **dict.fromkeys((101, 102, 103, 111, 112, 113), ("A", "PhVphA", "W", "PF", "Hz", "WH", "TmpCab")),
    802: ("A", "V", "W", "SoC"),
}
NAMES = {
    "A": "current_A", "PhV": "voltage_V", "PhVphA": "voltage_V", "V": "voltage_V", "W": "power_W", "PF": "power_factor",
    "Hz": "frequency_Hz", "TotWhImp": "energy_Wh", "WH": "energy_Wh", "TmpCab": "temperature_degC",
    "SoC": "state_of_charge_pct",
}  # fmt: skip


@pytest.mark.parametrize("number", FROM)
def test_a_reading_equals_what_the_reference_reader_reads(number):
    """Every readable model, with made-up values: the quantities are the reference's scaled points in our units."""
    assert set(FROM) == set(READABLE)
    with served(device(packed(1), packed(number))) as port:
        ours = reading(source_at(port, f"&model={number}&sign=draw_positive"))
        theirs = read_by_the_reference(port)[number]
    expected = {NAMES[name]: theirs.points[name].cvalue for name in FROM[number]}
    if "power_factor" in expected and number not in (211, 212, 213, 214):
        expected["power_factor"] /= 100  # the model gives percent, a log holds a number
    assert ours == {name: pytest.approx(value, rel=1e-12) for name, value in expected.items()}


def test_every_point_of_every_model_equals_what_the_reference_reader_reads():
    """All fixed points of ten models in one chain, a text among them, as `probe` shows them."""
    numbers = (1, 101, 111, 201, 202, 203, 204, 211, 802, 120)
    with served(device(*map(packed, numbers))) as port:
        theirs = read_by_the_reference(port)
        (unit,) = probe(parse_address(f"sunspec-tcp:127.0.0.1:{port}?unit=1&timeout=10"), SteadyClock()).units
    assert [seen.number for seen in unit.models] == list(numbers)
    for seen in unit.models:
        expected = {
            point["name"]: theirs[seen.number].points[point["name"]].cvalue
            for point in points_of(seen.number)[2:]
            if point["type"] not in ("sunssf", "pad")
        }
        got = {name: value for name, (value, _) in seen.values.items()}
        assert got == {
            name: value if isinstance(value, str) else pytest.approx(value, rel=1e-12)
            for name, value in expected.items()
            if value is not None
        }
        assert len(got) > 5


@pytest.mark.parametrize("base", [40000, 0, 50000])
def test_the_marker_is_found_at_each_of_its_places(base):
    """A device that has nothing at the other two refuses there."""
    with served(device(packed(1), packed(203, A=123, A_SF=-1)), base) as port:
        assert reading(source_at(port))["current_A"] == 12.3


def test_over_a_serial_line_it_reads_the_same():
    """RTU, unit 5."""
    words = device(packed(1), packed(802, A=-745, A_SF=-1, V=251, V_SF=-1))
    with rtu_server({5: [("holding", 40000, words)]}) as port:
        address = parse_address(f"sunspec-rtu:{port}?unit=5&baud=19200&timeout=10&sign=draw_positive")
        values = reading(sunspec_source(address, None, SteadyClock()))
    assert (values["current_A"], values["voltage_V"]) == (-74.5, 25.1)


@pytest.mark.parametrize("factor", range(-10, 11))
def test_a_scale_factor_gives_the_number_nearest_to_the_decimal_one(factor):
    """132 with a factor of -1 is 13.2, exactly; the specification allows -10 to 10."""
    with served(device(packed(802, V=132, V_SF=factor))) as port:
        assert reading(source_at(port, "&sign=draw_positive"))["voltage_V"] == float(f"132e{factor}")


@pytest.mark.parametrize("factor", [None, 11, -11, 300])
def test_a_value_without_a_usable_scale_factor_is_absent(factor):
    """Not implemented or out of -10 to 10: the value would be a guess."""
    with served(device(packed(802, V_SF=factor))) as port:
        values = reading(source_at(port, "&sign=draw_positive"))
    assert "voltage_V" not in values
    assert "current_A" in values


@pytest.mark.parametrize(("number", "point", "quantity"), [
    (203, "A", "current_A"),  # int16
    (802, "V", "voltage_V"),  # uint16
    (203, "TotWhImp", "energy_Wh"),  # acc32: 0 is absent, not empty
    (103, "WH", "energy_Wh"),
    (213, "W", "power_W"),  # float32: not a number
])  # fmt: skip
def test_what_is_not_implemented_is_absent_and_not_a_number(number, point, quantity):
    """Ours leaves it out; the reference reader says None."""
    with served(device(packed(1), packed(number, **{point: None}))) as port:
        values = reading(source_at(port, "&sign=draw_positive"))
        theirs = read_by_the_reference(port)[number].points[point].cvalue
    assert quantity not in values
    assert len(values) >= 3
    assert theirs is None or math.isnan(theirs)


def test_a_volt_that_is_not_implemented_gives_way_to_the_next():
    """Without a mean of the phases, phase A; without any to neutral, the first between two phases."""
    some_volts = {"V_SF": 0, "PhV": None, "PhVphA": 230, "PPV": 400}
    with served(device(packed(203, **some_volts))) as port:
        assert reading(source_at(port))["voltage_V"] == 230.0
    with served(device(packed(204, **some_volts | {"PhVphA": None}))) as port:
        assert reading(source_at(port))["voltage_V"] == 400.0


def test_a_model_shorter_than_published_gives_what_it_has():
    """A device cuts its inverter model after the power factor."""
    with served(device(packed(101, length=22))) as port:
        assert set(reading(source_at(port))) == {"current_A", "voltage_V", "power_W", "power_factor", "frequency_Hz"}


def test_a_device_with_nothing_implemented_gives_no_reading():
    """It is refused in words."""
    nothing = dict.fromkeys(("A", "V", "W", "SoC"))
    with served(device(packed(802, **nothing))) as port:
        (event,) = polled(source_at(port, "&sign=draw_positive"))
    assert isinstance(event, Refused)


def test_a_float_meter_whose_power_factor_is_no_fraction_gives_none():
    """The float models name no percent; 87 can be no power factor."""
    with served(device(packed(211, PF=87.0))) as port:
        assert "power_factor" not in reading(source_at(port))


# --- sign, side, which model ---


def test_the_battery_model_needs_its_sign():
    """Whether it is named in the address or found in the device."""
    with pytest.raises(InputError, match="add sign=draw_positive if amps are positive while a load runs"):
        source_at(1, "&model=802")
    with served(device(packed(802))) as port, pytest.raises(InputError, match="add sign=draw_positive"):
        polled(source_at(port))


@pytest.mark.parametrize(("sign", "current_A"), [("draw_positive", 74.5), ("return_positive", -74.5)])
def test_the_sign_turns_current_and_power_of_the_battery(sign, current_A):
    """Volts and state of charge have none; the profile may say it as well as the address."""
    words = device(packed(802, A=745, A_SF=-1, W=1780, W_SF=0, V=239, V_SF=-1))
    profile = SimpleNamespace(modbus=None, sunspec=SunSpecPart(sign=sign), side=None, sampling=None)
    with served(words) as port:
        values = reading(source_at(port, f"&sign={sign}"))
        by_profile = reading(source_at(port, profile=profile))
    assert values == by_profile
    assert (values["current_A"], values["power_W"]) == (current_A, 1780.0 if current_A > 0 else -1780.0)
    assert (values["voltage_V"], values["state_of_charge_pct"]) == (23.9, 76.0)


def test_an_inverter_is_read_on_its_ac_side_or_if_told_on_its_dc_side():
    """DCA, DCV and DCW are what it takes from the bank."""
    words = device(packed(103, A=28, A_SF=-1, DCA=271, DCA_SF=-1, DCV=247, DCV_SF=-1, DCW=670, DCW_SF=0))
    with served(words) as port:
        ac, dc = source_at(port), source_at(port, "&side=dc")
        assert reading(ac)["current_A"] == 2.8
        values = reading(dc)
    assert (ac.side, dc.side) == ("ac", "dc")
    assert (values["current_A"], values["voltage_V"], values["power_W"]) == (27.1, 24.7, 670.0)
    assert "frequency_Hz" not in values


def test_of_several_models_one_must_be_named():
    """The sentence lists them; `model` chooses, `nth` the second of a kind."""
    words = device(packed(1), packed(103, A=1, A_SF=0), packed(203, A=2, A_SF=0), packed(203, A=3, A_SF=0))
    with served(words) as port:
        with pytest.raises(InputError, match="has models 103, 203, 203; say which, such as model=103"):
            polled(source_at(port))
        assert reading(source_at(port, "&model=203"))["current_A"] == 2.0
        assert reading(source_at(port, "&model=203&nth=2"))["current_A"] == 3.0
        with pytest.raises(InputError, match="nth=3, but the device has only 2"):
            polled(source_at(port, "&model=203&nth=3"))
        with pytest.raises(InputError, match=r"no model 201 that can be read; its models are 1, 103, 203, 203"):
            polled(source_at(port, "&model=201"))


@pytest.mark.parametrize(("query", "words"), [
    ("&model=1", "model 1 is none of those that can be read: 201, 202"),
    ("&sign=minus", "sign must be draw_positive or"),
    ("&side=solar", "side must be dc or ac"), ("&register=5", "no setting 'register'"),
])  # fmt: skip
def test_mistakes_in_an_address_are_told_plainly(query, words):
    """One sentence with the address."""
    with pytest.raises(InputError, match=words):
        source_at(1, query)


# --- devices that are none, silent, or change ---


def test_a_device_without_a_marker_is_none():
    """It answers, so it will not have one later: the user's mistake, with a way out."""
    with tcp_server({1: [("holding", 0, [1] * 10)]}) as port, pytest.raises(InputError, match="no SunSpec marker"):
        polled(source_at(port))


def test_a_silent_device_may_answer_later():
    """SourceLost, as for any that does not answer."""
    with ScriptedServer(lambda frame: []) as silent:
        source = sunspec_source(parse_address(f"sunspec-tcp:127.0.0.1:{silent.port}?timeout=0.1"), None, SteadyClock())
        with pytest.raises(SourceLost, match="did not answer"):
            source.open()
        source.close()


def test_a_chain_without_an_end_is_walked_to_the_table_s_end_at_most():
    """Models of length 0 for ever: an end is made, and no model is found."""
    with tcp_server({1: [("holding", 0, MARKER + [7, 0] * 2000)]}) as port, pytest.raises(InputError, match="no model"):
        polled(source_at(port))


def test_a_device_whose_models_move_is_looked_at_anew():
    """After an update of its firmware another model stands there: nothing is read from it by the old plan."""
    words = device(packed(1), packed(203, A=5, A_SF=0))
    moved = device(packed(1), packed(1), packed(203, A=6, A_SF=0))
    now = {"words": words}

    def script(frame):
        first, count = struct.unpack(">HH", frame[8:12])
        registers = now["words"][first - 40000 : first - 40000 + count] if first >= 40000 else []
        return [tcp_answer(frame, registers)] if len(registers) == count else [tcp_refusal(frame)]

    with ScriptedServer(script) as changing:
        source = source_at(changing.port)
        source.open()
        assert source.read(1.0)[0].values["current_A"] == 5.0
        now["words"] = moved
        with pytest.raises(SourceLost, match="no longer where it was"):
            source.read(1.0)
        source.close()
        now["words"] = device(packed(1))  # and while it starts, none at all
        with pytest.raises(SourceLost, match="no model that can be read"):
            source.open()
        now["words"] = moved
        source.open()
        assert source.read(1.0)[0].values["current_A"] == 6.0
        source.close()


def tcp_refusal(frame):
    return frame[:4] + b"\0\3" + bytes([frame[6], frame[7] | 0x80, 2])


def test_a_poll_is_one_request():
    """Values and their scale factors come from the same instant: number to last factor of the meter, 55 registers."""
    words = device(packed(203))

    def script(frame):
        first, count = struct.unpack(">HH", frame[8:12])
        return [tcp_answer(frame, words[first : first + count])] if first < 1000 else [tcp_refusal(frame)]

    with ScriptedServer(script) as meter:
        source = source_at(meter.port)
        source.open()
        before = len(meter.requests)
        source.read(1.0)
        source.close()
        assert [struct.unpack(">HH", frame[8:12]) for frame in meter.requests[before:]] == [(2, 55)]


@pytest.mark.parametrize("number", READABLE)
def test_the_units_of_the_points_that_are_read_are_those_meant(number):
    """A new edition of a model that changed a unit would be noticed."""
    known = {
        "A": "A",
        "V": "V",
        "W": "W",
        "Hz": "Hz",
        "Wh": "Wh",
        "C": "degC",
        "Pct": "pct",
        "PF": "factor",
        "%WHRtg": "pct",
    }
    for takes in READABLE[number].values():
        for quantity, names in takes.items():
            for point in (model(number).points[name] for name in names if name in model(number).points):
                assert quantity.endswith(known[point.unit]) or (quantity, point.unit) == ("power_factor", "Pct")


# --- probe ---


def test_probe_finds_the_units_that_answer():
    """Three of ten, one of them with a refusal only."""
    units = {2: [("holding", 0, [1])], 3: [("holding", 40000, device(packed(1), packed(203)))], 9: [("input", 0, [1])]}
    told = []
    with rtu_server(units) as port:
        seen = probe(parse_address(f"modbus-rtu:{port}?baud=19200&timeout=0.5"), SteadyClock(), tell=told.append)
    assert seen.tried == tuple(range(1, 11))
    assert [unit.unit for unit in seen.units] == [2, 3, 9]
    assert [model.number for model in seen.units[1].models] == [1, 203]
    assert [model.readable for model in seen.units[1].models] == [False, True]
    assert seen.units[0].refusals == ("it has no SunSpec marker",)
    assert told[0] == "trying unit 1"


def test_probe_shows_registers_raw_and_in_the_likely_types():
    """Registers 10 to 15: 230.5 as a float32, -2 as an int16, and what the device refuses is named."""
    words = [*struct.unpack(">HH", struct.pack(">f", 230.5)), 0xFFFE, 7]
    with tcp_server({1: [("input", 10, words)]}) as port:
        address = parse_address(f"modbus-tcp:127.0.0.1:{port}?unit=1&timeout=10")
        (unit,) = probe(address, SteadyClock(), table="input", registers=(5, 40)).units
    assert [(seen.address, seen.raw) for seen in unit.registers] == list(enumerate(words, 10))
    assert unit.registers[0].decoded["float32"] == 230.5
    assert unit.registers[2].decoded == {
        "uint16": 0xFFFE,
        "int16": -2,
        "uint32": 0xFFFE0007,
        "int32": -131065,
        "uint32 low word first": 0x7FFFE,
    }
    assert unit.registers[3].decoded == {"uint16": 7}
    assert unit.refusals[-2:] == (
        "input registers 5 to 9 refused (illegal data address)",
        "input registers 14 to 40 refused (illegal data address)",
    )


def test_probe_only_reads():
    """Every function code seen on the wire is 3 or 4."""

    def script(frame):
        count = int.from_bytes(frame[4:6], "big")
        return with_crc(answer(frame, [0] * count) if frame[1] == 3 else exception(frame, 1))

    with ScriptedPort(script) as device_:
        probe(
            parse_address(f"modbus-rtu:{device_.name}?baud=19200&timeout=5"),
            SteadyClock(),
            units=[1, 2],
            registers=(0, 300),
        )
        assert {frame[1] for frame in device_.requests} == {3, 4}
        assert all(int.from_bytes(frame[4:6], "big") <= 125 for frame in device_.requests)


def test_a_gateway_that_speaks_for_an_absent_unit_is_not_that_unit():
    """Exceptions 10 and 11 (Modbus Application Protocol V1.1b3, section 7) come from the gateway."""

    def script(frame):
        code = {2: 10, 3: 11}.get(frame[6])
        return [frame[:4] + b"\0\3" + bytes([frame[6], frame[7] | 0x80, code])] if code else [tcp_answer(frame, [0])]

    with ScriptedServer(script) as gateway:
        address = parse_address(f"modbus-tcp:127.0.0.1:{gateway.port}?timeout=1")
        assert [unit.unit for unit in probe(address, SteadyClock(), units=[1, 2, 3]).units] == [1]


@pytest.mark.parametrize(("text", "registers", "words"), [
    ("serial:port", None, "only modbus-tcp, sunspec-tcp, modbus-rtu, sunspec-rtu can be probed"),
    ("modbus-tcp:box", (5, 3), "registers must be FIRST-LAST"),
    ("modbus-tcp:box", (0, 65536), "registers must be FIRST-LAST"),
])  # fmt: skip
def test_mistakes_in_what_to_probe_are_told_plainly(text, registers, words):
    """One sentence."""
    with pytest.raises(InputError, match=words):
        probe(parse_address(text), SteadyClock(), registers=registers)
