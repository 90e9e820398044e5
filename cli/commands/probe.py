"""The command that says what a device answers, without writing to it."""

from __future__ import annotations

import re

import click

from ...ingest.errors import InputError
from ...ingest.live.address import parse_address
from ...ingest.live.source import SteadyClock
from ...ingest.modbus.probe import UNITS, ModelSeen, Probed, RegisterSeen, UnitSeen, probe
from ...ingest.profiles.modbus_part import RegisterTable
from ..door import tell
from ..render.documents.parts import print_json
from ..render.terminal.answer import Block, Reply, explain_option, say_answer
from ..render.terminal.columns import Columns
from ..render.wording.numbers import shortened

#: Unit ids end here (Modbus over Serial Line V1.02, section 2.2); 255 is a device's own over TCP.
_LAST_UNIT = 255
_RANGE = re.compile(r"(\d+)(?:-(\d+))?")


@click.command("probe")
@click.argument("source")
@click.option("--units", metavar="IDS", help="Unit ids to try, such as 1-10 (the default).")
@click.option("--registers", metavar="NUMBERS", help="Also show these registers, as on the wire, such as 0-39.")
@click.option("--input", "from_input", is_flag=True, help="Show input registers instead of holding registers.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    source: str, units: str | None, registers: str | None, from_input: bool, explain: bool, as_json: bool
) -> None:
    """Ask a Modbus or SunSpec device what it is; nothing is ever written to it.

    SOURCE is modbus-tcp:HOST:PORT, modbus-rtu:PORT?baud=..., sunspec-tcp:HOST:PORT or sunspec-rtu:PORT?baud=... .

    Example: shuntbook probe modbus-tcp:192.0.2.7:502 --registers 0-39
    """
    tried = UNITS if units is None else _units(units)
    which: RegisterTable = "input" if from_input else "holding"
    # One number is the first and the last.
    span = _pair(registers, "--registers") if registers is not None else None
    probed = probe(
        parse_address(source),
        SteadyClock(),
        units=tried,
        table=which,
        registers=span,
        # on standard error: a bus of ten silent units takes seconds, and --json must stay alone on the other
        tell=tell,
    )
    if as_json:
        print_json(_document(probed))
        return
    say_answer(_answer(probed, which), explain=explain)


def _units(text: str) -> range:
    first, last = _pair(text, "--units")
    if not first <= last <= _LAST_UNIT:
        raise InputError(f"--units: {text!r} must rise, and end at {_LAST_UNIT} at most")
    return range(first, last + 1)


def _pair(text: str, option: str) -> tuple[int, int]:
    parts = _RANGE.fullmatch(text.strip())
    if parts is None:
        raise InputError(f"{option}: {text!r} must be a number or FIRST-LAST, such as 0-39")
    first = int(parts[1])
    return first, int(parts[2]) if parts[2] else first


def _answer(probed: Probed, which: RegisterTable) -> Reply:
    """Return what answers, and what it says of itself; where more was read than has room, all of it is a reason."""
    if not probed.units:
        tried = f"{probed.tried[0]} to {probed.tried[-1]}" if len(probed.tried) > 1 else f"{probed.tried[0]}"
        return Reply(
            [f"{probed.place}: nothing answers as unit {tried}; check wiring, baud and parity, or try other --units"]
        )
    blocks: list[Block] = []
    for unit in probed.units:
        blocks += [f"unit {unit.unit} answers", *(f"  {refusal}" for refusal in unit.refusals)]
        for model in unit.models:
            blocks += _model_blocks(model)
        if unit.registers:
            blocks.append(f"  {which} registers, by their address on the wire:")
            blocks.append(Columns(_register_rows(unit.registers), _REGISTER_HEADS, right=(0, 1, 2), indent="  "))
    return Reply(blocks, more="every value and register")


def _model_blocks(model: ModelSeen) -> list[Block]:
    can = "can be captured" if model.readable else "is not read by capture"
    line = f"  SunSpec model {model.number}, {shortened(model.label)}, at {model.address}: {can}"
    rows = [[name, _shown(value), unit] for name, (value, unit) in model.values.items()]
    return [line, *([Columns(rows, right=(1,), indent="    ")] if rows else [])]


def _shown(value: float | str) -> str:
    return shortened(value) if isinstance(value, str) else f"{value:g}"


_REGISTER_HEADS = ("address", "raw", "hex", "may also be")


def _register_rows(registers: tuple[RegisterSeen, ...]) -> list[list[str]]:
    rows = []
    for seen in registers:
        # the raw column has it as an unsigned number already
        others = ", ".join(f"{kind} {value:g}" for kind, value in seen.decoded.items() if kind != "uint16")
        rows.append([str(seen.address), str(seen.raw), f"{seen.raw:04X}", others])
    return rows


def _document(probed: Probed) -> dict[str, object]:
    return {"place": probed.place, "tried": list(probed.tried), "units": [_unit(unit) for unit in probed.units]}


def _unit(unit: UnitSeen) -> dict[str, object]:
    models = [
        {
            "number": m.number,
            "label": m.label,
            "address": m.address,
            "length": m.length,
            "readable": m.readable,
            "values": {name: {"value": value, "unit": symbol} for name, (value, symbol) in m.values.items()},
        }
        for m in unit.models
    ]
    registers = [{"address": r.address, "raw": r.raw, "decoded": r.decoded} for r in unit.registers]
    return {"unit": unit.unit, "said": list(unit.refusals), "models": models, "registers": registers}
