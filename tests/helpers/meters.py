"""A meter at a bank whose pump is switched, on a server that is none of ours."""

import struct
from contextlib import contextmanager

from modbus_devices import ScriptedServer, register_device


class PumpMeter:
    """A meter of amps and volts at a bank, whose amps are positive where the bank is charged; a pump is switched."""

    def __init__(self):
        self.registers = {("holding", at): 0 for at in range(40)}
        self.switch(True)

    def switch(self, on):
        amps, volts = (74.5, 11.95) if on else (2.1, 12.61)
        self.registers["holding", 2], self.registers["holding", 3] = -round(amps * 10), round(volts * 100)
        self.registers["holding", 10], self.registers["holding", 11] = floats(amps * 3600)


def floats(value):
    """Two registers that hold a float."""
    return struct.unpack(">HH", struct.pack(">f", value))


@contextmanager
def metered():
    meter = PumpMeter()
    with ScriptedServer(register_device(meter.registers, units={1})) as device:
        yield meter, device.port
