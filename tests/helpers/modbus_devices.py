"""Devices for the Modbus tests: independent servers (modbus-tk), and scripted ones that misbehave on purpose."""

import os
import select
import socket
import struct
import threading
import time
import tty
from contextlib import contextmanager

import serial
from modbus_tk import defines, modbus_rtu, modbus_tcp

TABLES = {"holding": defines.HOLDING_REGISTERS, "input": defines.ANALOG_INPUTS}
ILLEGAL_FUNCTION = 1


def crc(frame):
    """The two check bytes of an RTU frame as they go over the wire (Modbus over Serial Line V1.02, appendix B)."""
    check = 0xFFFF
    for byte in frame:
        check ^= byte
        for _ in range(8):
            check = (check >> 1) ^ 0xA001 if check & 1 else check >> 1
    return check.to_bytes(2, "little")


class PtyPair:
    """Two pseudo-terminals, joined by a thread as by a cable."""

    def __init__(self):
        self._masters, self._slaves, self.names = [], [], []
        for _ in range(2):
            master, slave = os.openpty()
            tty.setraw(slave)
            self._masters.append(master)
            self._slaves.append(slave)
            self.names.append(os.ttyname(slave))
        self._stop = False
        self._thread = threading.Thread(target=self._pump, daemon=True)
        self._thread.start()

    def _pump(self):
        one, other = self._masters
        while not self._stop:
            for file in select.select([one, other], [], [], 0.1)[0]:
                os.write(other if file == one else one, os.read(file, 512))

    def close(self):
        self._stop = True
        self._thread.join()
        for file in self._masters + self._slaves:
            os.close(file)


def fill(server, unit, blocks):
    """Give a modbus-tk server a unit with registers: blocks of (table, first address, values)."""
    device = server.add_slave(unit)
    for number, (table, first, values) in enumerate(blocks):
        device.add_block(str(number), TABLES[table], first, len(values))
        device.set_values(str(number), first, list(values))
    return device


@contextmanager
def tcp_server(units, port=None):
    """A modbus-tk server over TCP; yields its port. `units`: blocks by unit id."""
    port = port or free_port()
    server = modbus_tcp.TcpServer(port=port, address="127.0.0.1")
    for unit, blocks in units.items():
        fill(server, unit, blocks)
    server.start()
    try:
        wait_until_listening(port)
        yield port
    finally:
        nudge = threading.Timer(0.02, knock, [port])  # it looks whether to stop only when something comes
        nudge.start()
        server.stop()
        nudge.join()


@contextmanager
def rtu_server(units):
    """A modbus-tk server over a pair of pseudo-terminals; yields the name of the other end."""
    pair = PtyPair()
    server = modbus_rtu.RtuServer(serial.Serial(pair.names[0], 19200))
    for unit, blocks in units.items():
        fill(server, unit, blocks)
    server.start()
    try:
        yield pair.names[1]
    finally:
        server.stop()
        pair.close()


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until_listening(port):
    for _ in range(500):
        if knock(port):
            return
        time.sleep(0.02)
    raise AssertionError("the server does not listen")


def knock(port):
    """Tell whether anybody listens."""
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


class ScriptedPort:
    """An RTU device on a pseudo-terminal that does what it is told with each request.

    `script(frame)` gets a whole request and returns what to do, in order: bytes to send, seconds to wait. What it has
    no answer for (None) is answered with exception 1, as a device does that does not know the function.
    """

    def __init__(self, script):
        self._script = script
        self.requests = []
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.name = os.ttyname(self._slave)
        self._stop = False
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self):
        waiting = b""
        while not self._stop:
            if not select.select([self._master], [], [], 0.05)[0]:
                continue
            waiting += os.read(self._master, 512)
            while len(waiting) >= 8:  # every read request is eight bytes long
                frame, waiting = waiting[:8], waiting[8:]
                self._answer(frame)

    def _answer(self, frame):
        assert frame[6:] == crc(frame[:6])
        self.requests.append(frame)
        steps = self._script(frame)
        for step in with_crc(exception(frame, ILLEGAL_FUNCTION)) if steps is None else steps:
            if isinstance(step, bytes):
                os.write(self._master, step)
            else:
                time.sleep(step)

    def close(self):
        self._stop = True
        self._thread.join()
        os.close(self._master)
        os.close(self._slave)

    __enter__ = lambda self: self  # noqa: E731

    def __exit__(self, *_):
        self.close()


class ScriptedServer:
    """A TCP device that does what it is told with each request: bytes to send, seconds to wait, None to hang up."""

    def __init__(self, script):
        self._script = script
        self.requests = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._stop = False
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    def _accept(self):
        while not self._stop:
            if not select.select([self._listener], [], [], 0.05)[0]:
                continue
            connection, _ = self._listener.accept()
            thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
            self._threads.append(thread)
            thread.start()

    def _serve(self, connection):
        with connection:
            while not self._stop:
                if not select.select([connection], [], [], 0.05)[0]:
                    continue
                try:
                    frame = connection.recv(512)
                except OSError:
                    return
                if not frame:
                    return
                self.requests.append(frame)
                for step in self._script(frame):
                    if step is None:
                        return
                    try:
                        connection.sendall(step) if isinstance(step, bytes) else time.sleep(step)
                    except OSError:
                        return

    def close(self):
        self._stop = True
        for thread in self._threads:
            thread.join()
        self._listener.close()

    __enter__ = lambda self: self  # noqa: E731

    def __exit__(self, *_):
        self.close()


def with_crc(body):
    """Send a frame with its check bytes."""
    return [body + crc(body)]


def exception(frame, code):
    """The answer of a device that refuses an RTU request, without check bytes."""
    return bytes([frame[0], frame[1] | 0x80, code])


def answer(frame, registers):
    """The answer to an RTU request that gives these registers, without check bytes."""
    words = struct.pack(f">{len(registers)}H", *registers)
    return frame[:2] + bytes([len(words)]) + words


def tcp_answer(frame, registers, *, tid=0, unit=0, function=0):
    """The answer to a TCP request; what is not 0 is added to the right number to make it wrong."""
    words = struct.pack(f">{len(registers)}H", *registers)
    body = bytes([frame[6] + unit, frame[7] + function, len(words)]) + words
    number = int.from_bytes(frame[:2], "big") + tid
    return struct.pack(">HHH", number & 0xFFFF, 0, len(body)) + body


def register_device(registers, *, units=None, refusal=2):
    """A script for `ScriptedServer`: a TCP device with these registers, by table and address, which may change.

    `registers` is a dict, or a function of the unit id that returns one; the device hears to all `units` (None: to any
    id) and refuses what it has not, with the exception `refusal`. Others get no answer.
    """
    functions = {3: "holding", 4: "input"}

    def script(frame):
        unit = frame[6]
        if units is not None and unit not in units:
            return []
        has = registers(unit) if callable(registers) else registers
        first, count = struct.unpack(">HH", frame[8:12])
        places = [(functions[frame[7]], at) for at in range(first, first + count)]
        if all(place in has for place in places):
            return [tcp_answer(frame, [has[place] & 0xFFFF for place in places])]
        return [frame[:4] + b"\0\3" + bytes([unit, frame[7] | 0x80, refusal])]

    return script
