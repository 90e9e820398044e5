"""Amps and volts that no bank carries: the other order or type is told, and nothing of it is captured."""

import struct

import pytest
from modbus_devices import ScriptedServer, register_device

from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading, Refused
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.source import SteadyClock
from shuntbook.ingest.modbus.registers import modbus_source
from shuntbook.ingest.profiles.model import load_profile

PROFILE = """
[modbus]
word_order = "{order}"

[modbus.registers.current_A]
address = 2
type = "{kind}"
{more}

[modbus.registers.voltage_V]
address = 0
type = "uint16"
scale = 0.01
"""


def words(code, value):
    size = ">" + "H" * (struct.calcsize(code) // 2)
    return struct.unpack(size, struct.pack(">" + code, value))


def put(registers, amps):
    registers |= {("holding", 2 + k): word for k, word in enumerate(amps)}
    return registers


@pytest.fixture
def device():
    registers = {("holding", at): 0 for at in range(8)} | {("holding", 0): 1195}
    with ScriptedServer(register_device(registers)) as server:
        yield registers, f"modbus-tcp:127.0.0.1:{server.port}?unit=1&timeout=10"


def opened(source, tmp_path, kind, order="big", more=""):
    file = tmp_path / "meter.toml"
    file.write_text(PROFILE.format(kind=kind, order=order, more=more), encoding="utf-8")
    made = modbus_source(parse_address(source), load_profile(str(file)), SteadyClock())
    made.open()
    return made


def mended(registers, source, tmp_path, kind, order, more):
    made = opened(source, tmp_path, kind, order, more)
    try:
        assert made.check() == []
        (reading,) = made.read(1.0)
        return reading.values["current_A"]
    finally:
        made.close()


@pytest.mark.parametrize(("code", "raw", "stated", "more", "gives", "way_out", "then"), [
    ("i", 74_500, ("int32", "little"), "scale = 0.001", "587,464.7 A", 'word_order = "big" it is 74.5 A',
     ("int32", "big")),
    ("f", 74.5, ("float32", "little"), "", "A, which no", 'word_order = "big" it is 74.5 A', ("float32", "big")),
    ("f", -74.53, ("float32", "little"), "", "A, which no", 'word_order = "big" it is -74.53 A', ("float32", "big")),
    ("h", -75, ("uint16", "big"), "scale = 0.1", "6,546.1 A", 'type = "int16" it is -7.5 A', ("int16", "big")),
    ("i", -500, ("uint32", "big"), "scale = 0.1", "429,496,68", 'type = "int32" it is -50 A', ("int32", "big")),
    ("i", 1, ("int32", "little"), 'scale = 0.1', "6,553.6 A", 'word_order = "big" it is 0.1 A', ("int32", "big")),
    ("i", -500, ("uint32", "little"), 'unit = "mA"', "A, which no",
     'type = "int32" and word_order = "big" it is -0.5 A', ("int32", "big")),
])  # fmt: skip
def test_what_cannot_be_is_refused_with_the_way_out(device, tmp_path, code, raw, stated, more, gives, way_out, then):
    """The sentence names the profile's line, what comes and what would; done as it says, it is read."""
    registers, source = device
    put(registers, words(code, raw))
    made = opened(source, tmp_path, *stated, more)
    with pytest.raises(InputError) as caught:
        made.check()
    made.close()
    sentence = str(caught.value)
    assert sentence.startswith(f"{tmp_path / 'meter.toml'}:5: current_A (holding 2, {stated[0]}")
    assert gives in sentence
    assert way_out in sentence
    value = mended(registers, source, tmp_path, *then, more)
    assert f"it is {value:,.7g} A" in sentence


@pytest.mark.parametrize(("code", "raw", "kind", "more"), [
    ("i", 74_500, "int32", "scale = 0.001"),
    ("i", 0, "int32", "scale = 0.001"),
    ("i", -3_000_000, "int32", "scale = 0.001"),
    ("f", 1e-7, "float32", ""),
    ("H", 65_000, "uint16", "scale = 0.1\nlargest = 8000.0"),
    ("H", 65_535, "uint16", "scale = 0.1\nnot_a_value = [65535]"),
    ("I", 0x7FC00000, "float32", ""),  # NaN (IEEE 754): no value
])  # fmt: skip
def test_what_can_be_is_not_questioned(device, tmp_path, code, raw, kind, more):
    """Also the negative, nought, what the profile allows, and what is no value."""
    registers, source = device
    put(registers, words(code, raw))
    made = opened(source, tmp_path, kind, more=more)
    assert made.check() == []
    assert not [event for event in made.read(1.0) if not isinstance(event, Reading)]
    made.close()


def test_what_no_other_reading_mends_is_remarked(device, tmp_path):
    """It is captured, since nothing better is known, but not without a word."""
    registers, source = device
    put(registers, words("H", 9_000))  # with a sign it is the same
    made = opened(source, tmp_path, "uint16")
    (sentence,) = made.check()
    assert "gives 9,000 A, which no bank carries: check its address, type and scale" in sentence
    (reading,) = made.read(1.0)
    made.close()
    assert reading.values["current_A"] == 9_000.0


def test_what_shows_only_with_a_load_is_not_taken(device, tmp_path):
    """Nought is nought in any order; once amps flow they are refused with the raw words, and the volts go on."""
    registers, source = device
    made = opened(source, tmp_path, "int32", "little", "scale = 0.001")
    assert made.check() == []
    put(registers, words("i", 74_500))
    refused, reading = made.read(1.0)
    made.close()
    assert isinstance(refused, Refused)
    assert (refused.kind, refused.text) == ("cannot be", "0001 2304")
    assert 'with word_order = "big" it is 74.5 A' in refused.reason
    assert reading.values == {"voltage_V": pytest.approx(11.95)}


def test_a_capture_of_what_cannot_be_does_not_begin(device, tmp_path, capsys):
    """Status 2, one sentence, and no log; a remark is told and the capture taken."""
    registers, source = device
    put(registers, words("i", 74_500))
    file, log = tmp_path / "meter.toml", tmp_path / "pump.parquet"
    words_of = ["capture", source, "--profile", str(file), "--out", str(log), "--for", "1s", "--quiet"]
    file.write_text(PROFILE.format(kind="int32", order="little", more="scale = 0.001"), encoding="utf-8")
    assert run(words_of) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"shuntbook: {file}:5: current_A (holding 2, int32, word_order little) gives 587,464.7 A")
    assert err.count("\n") == 1
    assert not log.exists()
    file.write_text(PROFILE.format(kind="uint16", order="big", more="offset = 9000.0"), encoding="utf-8")
    assert run(words_of) == 0
    assert "which no bank carries: check its address, type and scale" in capsys.readouterr().err
    assert open_log(log).to_pandas()["current_A"].min() >= 9_000


def test_probe_shows_what_a_profile_gives(device, tmp_path, capsys):
    """The values, or the sentence that a capture would end with."""
    registers, source = device
    put(registers, words("i", 74_500))
    file = tmp_path / "meter.toml"
    file.write_text(PROFILE.format(kind="int32", order="big", more="scale = 0.001"), encoding="utf-8")
    assert run(["probe", source, "--profile", str(file)]) == 0
    assert capsys.readouterr().out.split() == ["current_A", "74.5", "voltage_V", "11.95"]
    file.write_text(PROFILE.format(kind="int32", order="little", more="scale = 0.001"), encoding="utf-8")
    assert run(["probe", source, "--profile", str(file)]) == 2
    assert 'with word_order = "big" it is 74.5 A' in capsys.readouterr().err
