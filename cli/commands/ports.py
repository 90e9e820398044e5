"""The command that lists serial ports."""

from __future__ import annotations

import click

from ...ingest.live.serial_port import list_ports
from ..door import say
from ..render.documents.parts import print_json
from ..render.terminal.columns import table


@click.command("ports")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(as_json: bool) -> None:
    """List the serial ports of this computer, with what they say of themselves.

    Example: shuntbook ports
    """
    # No ports is an answer and no failure: the person is told what to look at.
    ports = list_ports()
    if as_json:
        print_json({"ports": [{"name": port.name, "description": port.description} for port in ports]})
    elif ports:
        for line in table([[port.name, port.description] for port in ports]):
            say(line)
    else:
        say("no serial port was found; plug the meter in, and on Linux see that you may use it (group dialout)")
