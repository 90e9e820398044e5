"""The command that lists serial ports."""

from __future__ import annotations

import click

from ...ingest.live.serial_port import NO_PORTS, list_ports
from ..render.documents.parts import print_json
from ..render.terminal.answer import MOST_LINES, Reply, explain_option, say_answer
from ..render.terminal.columns import Columns


@click.command("ports")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(explain: bool, as_json: bool) -> None:
    """List the serial ports of this computer, with what they say of themselves.

    Example: shuntbook ports
    """
    # No ports is an answer and no failure: the person is told what to look at.
    ports = list_ports()
    if as_json:
        print_json({"ports": [{"name": port.name, "description": port.description} for port in ports]})
        return
    rows = Columns([[port.name, port.description] for port in ports])
    more = "every port" if len(ports) > MOST_LINES else ""
    say_answer(Reply([rows if ports else NO_PORTS], more=more), explain=explain)
