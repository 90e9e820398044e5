"""Watching a device that is not ours: only what changes is shown, alike units are one, refusals are named."""

import itertools
import struct
from contextlib import contextmanager

import pytest
from modbus_devices import ScriptedServer, register_device

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.source import SourceLost, SteadyClock
from shuntbook.ingest.modbus.extent import MOST_OF_A_TABLE
from shuntbook.ingest.modbus.watch import watch

UNIT_1 = "?unit=1&timeout=10"


def put_float(registers, table, at, value):
    for k, word in enumerate(struct.unpack(">HH", struct.pack(">f", value))):
        registers[table, at + k] = word


@contextmanager
def watching(script, *, query=UNIT_1, **how):
    with ScriptedServer(script) as device:
        address = parse_address(f"modbus-tcp:127.0.0.1:{device.port}{query}")
        with watch(address, SteadyClock(), **how) as seen:
            yield seen, device


def steps(seen, count, change=lambda k: None):
    for k in range(count):
        change(k)
        seen.step()


def shown(seen):
    return {(each.table, each.address): each for each in seen.changes()}


# --- what a device gives ---


def test_what_a_device_gives_is_found_wherever_it_begins():
    """A block at the beginning, one at a round address in either table, and the refusals by their reason."""
    registers = {("holding", at): at for at in [*range(3, 40), *range(41, 60), *range(5000, 5140)]}
    registers |= {("input", at): at for at in range(0x3100, 0x3110)}
    with watching(register_device(registers)) as (seen, _):
        (device,) = seen.devices
        covered = {(b.table, at): 1 for b in device.extent.blocks for at in range(b.address, b.end)}
        assert covered.keys() == registers.keys()
        assert [str(each) for each in device.refused] == [
            "holding registers 0 to 2 refused (illegal data address)",
            "holding register 40 refused (illegal data address)",
            "holding registers 60 to 255 refused (illegal data address)",
            "input registers 0 to 255 refused (illegal data address)",
        ]
        assert seen.step()
        assert {place[1:]: word for place, word in seen.look().items()} == registers


def test_a_device_that_gives_few_at_once_is_asked_for_few():
    """Exception 3 means: not so many at once."""
    registers = {("holding", at): at for at in range(20)}
    plain, few = register_device(registers), register_device({}, refusal=3)

    def script(frame):
        return plain(frame) if int.from_bytes(frame[10:12], "big") <= 10 or frame[7] == 4 else few(frame)

    with watching(script, registers=(0, 19)) as (seen, _):
        assert sum(block.count for block in seen.devices[0].extent.blocks) == 20
        assert max(block.count for block in seen.devices[0].extent.blocks) <= 10


def test_a_device_that_gives_everything_is_cut_and_says_so():
    """Some devices answer for every address."""

    class Everything(dict):
        def __contains__(self, place):
            return True

        def __missing__(self, place):
            return 0

    with watching(register_device(Everything())) as (seen, _):
        assert seen.devices[0].extent.is_cut
        assert sum(block.count for block in seen.devices[0].extent.blocks) < 2 * (MOST_OF_A_TABLE + 125)


def test_a_table_that_stays_silent_is_left_alone():
    """A device may keep silent where others refuse: that costs four time-outs and not hundreds."""
    plain = register_device({("holding", at): 7 for at in range(8)})
    script = lambda frame: [] if frame[7] == 4 else plain(frame)  # noqa: E731
    with watching(script, query="?unit=1&timeout=0.2") as (seen, _):
        assert str(seen.devices[0].refused[-1]) == "input registers refused (no answer)"
        assert [block.table for block in seen.devices[0].extent.blocks] == ["holding"]


@pytest.mark.parametrize(("units", "words"), [
    ({9}, "nothing answers as units 1 to 2"),
    (None, r"gives no registers \(holding registers refused \(illegal data address\)"),
])  # fmt: skip
def test_what_has_nothing_to_watch_says_why(units, words):
    """One sentence, with the reasons of the device."""
    with (
        pytest.raises(InputError, match=words),
        watching(register_device({}, units=units), query="?timeout=0.2", units=[1, 2]),
    ):
        pass


# --- what changes ---


def test_only_what_the_load_moves_stands_first():
    """Amps with a sign, volts, a float; a clock and a flicker of the last digit move by themselves."""
    registers = {("holding", at): 0 for at in range(30)} | {("input", 5): 3}

    def rest(k):
        registers["holding", 2], registers["holding", 3] = 20, 1253 + k % 2
        registers["holding", 20] = k
        put_float(registers, "holding", 10, 2.04)

    def load(k):
        rest(k + 12)
        if k % 8 > 3:
            registers["holding", 2] = 745
            registers["holding", 3] = 1195
            put_float(registers, "holding", 10, 74.53)
        else:
            registers["holding", 2] = -5

    with watching(register_device(registers)) as (seen, _):
        steps(seen, 12, rest)
        seen.rest_is_over()
        steps(seen, 24, load)
        changes = shown(seen)
    assert {place: each.by_itself for place, each in changes.items()} == {
        ("holding", 2): False, ("holding", 3): False, ("holding", 10): False, ("holding", 20): True,
    }  # fmt: skip
    assert [each.by_itself for each in seen.changes()] == [False, False, False, True]
    amps = changes["holding", 2].meanings[0]
    assert (amps.type, amps.before, amps.now, amps.lowest, amps.highest) == ("int16", 20, 745, -5, 745)
    volts = changes["holding", 3].meanings[0]
    assert (volts.type, volts.lowest, volts.highest) == ("uint16", 1195, 1254)
    power = changes["holding", 10].meanings[0]
    assert (power.type, power.word_order, power.highest) == ("float32", "big", pytest.approx(74.53, rel=1e-7))
    assert len(changes["holding", 10].raw) == 2


@pytest.mark.parametrize("order", ["big", "little"])
def test_a_number_of_two_registers_is_offered_in_its_order(order):
    """Milliamps from 2,000 to 96,928: both words move, and the number is among what it may be."""
    registers = {("input", at): 0 for at in range(4)}

    def put(value):
        words = struct.unpack(">HH", struct.pack(">i", value))
        registers["input", 1], registers["input", 2] = words if order == "big" else words[::-1]

    with watching(register_device(registers)) as (seen, _):
        for value in (2_000, 2_000, 96_928):
            put(value)
            seen.step()
        wide = [m for each in seen.changes() for m in each.meanings if m.type.endswith("32")]
    assert ("uint32", order, 2_000.0, 96_928.0) in [(m.type, m.word_order, m.before, m.now) for m in wide]


def test_what_moves_in_the_last_step_is_told():
    """For a screen that shows what happens."""
    registers = {("holding", 0): 1, ("holding", 1): 5}
    with watching(register_device(registers)) as (seen, _):
        assert seen.step()
        assert not seen.step()
        registers["holding", 0] = 2
        assert seen.step()
        registers["holding", 1] = 6
        seen.step()
        assert {each.address: each.moved_now for each in seen.changes()} == {0: False, 1: True}


def test_a_device_that_is_silent_for_a_while_keeps_what_was_seen():
    """A step without an answer is no change, and the next one goes on."""
    registers, silent = {("holding", 0): 1}, []
    plain = register_device(registers)
    with watching(lambda frame: [] if silent else plain(frame), query="?unit=1&timeout=0.3") as (seen, _):
        seen.step()
        silent.append(1)
        assert not seen.step()
        assert "did not answer" in seen.devices[0].trouble
        silent.clear()
        registers["holding", 0] = 9
        assert seen.step()
        assert seen.devices[0].trouble == ""
        assert shown(seen)["holding", 0].meanings[0].highest == 9


def test_a_connection_that_is_gone_is_told():
    """The caller decides whether to try again."""
    with watching(register_device({("holding", 0): 1})) as (seen, device):
        seen.step()
        device.close()
        with pytest.raises(SourceLost):
            steps(seen, 3)


def test_watching_only_reads():
    """Nothing but functions 3 and 4, never more than 125 registers."""
    with watching(register_device({("holding", 0): 1})) as (seen, device):
        steps(seen, 3)
        assert {frame[7] for frame in device.requests} == {3, 4}
        assert all(1 <= int.from_bytes(frame[10:12], "big") <= 125 for frame in device.requests)


# --- units that answer alike ---


def test_unit_ids_that_answer_alike_are_one_device():
    """A device that hears to every id, with a clock that runs on meanwhile."""
    ticks = itertools.count()

    def registers(unit):
        return {("holding", 0): 1253, ("holding", 1): next(ticks) // 4 % 65536}

    with watching(register_device(registers), query="?timeout=10") as (seen, _):
        steps(seen, 40)
        assert [device.units for device in seen.devices] == [list(range(1, 11))]


def test_two_meters_alike_are_two_as_soon_as_one_is_loaded():
    """Idle they give the same; only the first one's amps move later."""
    amps = {1: 0, 2: 0}
    script = register_device(lambda unit: {("holding", 0): amps[unit], ("holding", 1): 12}, units={1, 2})
    with watching(script, query="?timeout=0.3", units=[1, 2]) as (seen, _):
        steps(seen, 12)
        assert [device.units for device in seen.devices] == [[1, 2]]
        amps[1] = 745
        steps(seen, 24)
        assert [device.units for device in seen.devices] == [[1], [2]]
        amps[2] = 30
        seen.step()
        assert {each.unit: each.meanings[0].highest for each in seen.changes()} == {1: 745, 2: 30}


def test_meters_that_differ_in_a_register_are_two_from_the_beginning():
    """A number of the device is enough; and so is a register that only one of them has."""
    script = register_device(
        lambda unit: {("holding", 0): 1, ("holding", 1): unit} | ({("input", 0): 0} if unit == 3 else {}), units={1, 3}
    )
    with watching(script, query="?timeout=0.3", units=[1, 2, 3]) as (seen, _):
        assert [device.units for device in seen.devices] == [[1], [3]]
