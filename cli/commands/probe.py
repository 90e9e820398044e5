"""The command that says what a device answers, without writing to it."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ...ingest.events import Reading, Refused
from ...ingest.live.address import make_source, parse_address
from ...ingest.live.capture import open_first
from ...ingest.live.source import SteadyClock
from ...ingest.modbus.probe import UNITS, ModelSeen, Probed, RegisterSeen, UnitSeen, probe
from ...ingest.modbus.shown_value import ShownValue, parse_shown
from ...ingest.modbus.watch import watch
from ...ingest.profiles.modbus_part import RegisterTable
from ...ingest.profiles.model import load_profile
from ...ingest.safe_files.whole_file import refuse_existing, write_text
from ..door import tell
from ..probing.finding import DisplaySearch, find_document, find_reply, narrow, profile_of
from ..probing.watching import run_watch, watch_document, watch_reply
from ..render.documents.parts import print_json
from ..render.terminal.answer import Block, Reply, explain_option, say_answer
from ..render.terminal.columns import Columns
from ..render.wording.numbers import shortened

#: Unit ids end here (Modbus over Serial Line V1.02, section 2.2); 255 is a device's own over TCP.
_LAST_UNIT = 255
#: How long a reading may take. Common practice, no source. [s]
_WAIT_S = 2.0
#: In any unit that a meter counts in. Common practice, no source.
_LARGEST = 1e6
_RANGE = re.compile(r"(\d+)(?:-(\d+))?")


@click.command("probe")
@click.argument("source", required=False)
@click.option("--units", metavar="IDS", help="Unit ids to try, such as 1-10 (the default).")
@click.option("--registers", metavar="NUMBERS", help="Only these registers, as on the wire, such as 0-39.")
@click.option("--input", "from_input", is_flag=True, help="Show input registers instead of holding registers.")
@click.option(
    "--watch",
    "watched",
    is_flag=False,
    flag_value="",
    metavar="[DURATION]",
    help="Show only what changes while you switch a load, such as 1m; until Ctrl-C without a length.",
)
@click.option(
    "--find",
    "values",
    multiple=True,
    metavar="VALUE",
    help="Look for a value that the meter's own display shows, such as '74.5 A'; may be given again for another.",
)
@click.option("--profile", metavar="FILE", help="Show what the registers of this profile (TOML) give, once.")
@click.option("--keep-profile", metavar="FILE", help="Write a profile of what --find has found, which capture reads.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    source: str | None,
    units: str | None,
    registers: str | None,
    from_input: bool,
    watched: str | None,
    values: tuple[str, ...],
    profile: str | None,
    keep_profile: str | None,
    explain: bool,
    as_json: bool,
) -> None:
    """Ask a Modbus or SunSpec device what it is; nothing is ever written to it.

    SOURCE is modbus-tcp:HOST:PORT, modbus-rtu:PORT?baud=..., sunspec-tcp:HOST:PORT or sunspec-rtu:PORT?baud=... .

    Example: shuntbook probe modbus-tcp:192.0.2.7:502 --find "74.5 A" --keep-profile meter.toml
    """
    # click takes what follows --watch for its length, and it may be the source.
    if source is None and watched and ":" in watched and not watched[0].isdigit():
        source, watched = watched, ""
    if source is None:
        raise InputError("say what to ask, such as modbus-tcp:192.0.2.7:502; see shuntbook probe --help")
    if (watched is not None and values) or (keep_profile is not None and not values):
        raise InputError(
            "--watch and --find are two commands: give one of them"
            if values
            else "--keep-profile writes what --find has found; give the value on the display with --find"
        )
    asked = _Asked(source, UNITS if units is None else _units(units), _span(registers), explain, as_json)
    if profile is not None:
        _read_by(asked, profile)
    elif watched is not None:
        _watch(asked, seconds(watched, what="--watch") if watched else None)
    elif values:
        _find(asked, [parse_shown(value) for value in values], keep_profile)
    else:
        _probe(asked, "input" if from_input else "holding")


@dataclass(frozen=True)
class _Asked:
    """What is asked of which device, and how it is answered."""

    source: str
    units: range
    registers: tuple[int, int] | None
    explain: bool
    as_json: bool

    def answer(self, document: Callable[[], dict[str, object]], reply: Callable[[], Reply]) -> None:
        """Print the one or the other."""
        if self.as_json:
            print_json(document())
        else:
            say_answer(reply(), explain=self.explain)


def _probe(asked: _Asked, which: RegisterTable) -> None:
    probed = probe(
        parse_address(asked.source),
        SteadyClock(),
        units=asked.units,
        table=which,
        registers=asked.registers,
        # on standard error: a bus of ten silent units takes seconds, and --json must stay alone on the other
        tell=tell,
    )
    asked.answer(lambda: _document(probed), lambda: _answer(probed, which))


def _read_by(asked: _Asked, profile: str) -> None:
    source = make_source(asked.source, load_profile(profile), SteadyClock())
    odd = open_first(source, SteadyClock())
    events = source.read(_WAIT_S)
    source.close()
    values = next((event.values for event in events if isinstance(event, Reading)), {})
    trouble = [
        each.reason if isinstance(each, Refused) else each.text for each in events if not isinstance(each, Reading)
    ]
    rows = Columns([[name, f"{value:,.7g}"] for name, value in values.items()], right=(1,))
    asked.answer(
        lambda: {"place": parse_address(asked.source).place, "values": dict(values), "odd": [*odd, *trouble]},
        lambda: Reply([rows if values else f"{profile}: the device gave none of its values", *odd, *trouble]),
    )


def _watch(asked: _Asked, length_s: float | None) -> None:
    address = parse_address(asked.source)
    with watch(address, SteadyClock(), units=asked.units, registers=asked.registers, tell=tell) as watching:
        steps = run_watch(watching, length_s=length_s)
        asked.answer(
            lambda: watch_document(address.place, watching, steps),
            lambda: watch_reply(watching, steps, asked.source),
        )


def _find(asked: _Asked, shown: Sequence[ShownValue], keep_profile: str | None) -> None:
    # A place that cannot be written is told before anybody goes to the meter.
    keep = None if keep_profile is None else Path(keep_profile)
    if keep is not None:
        refuse_existing(keep, force=None, what="--keep-profile")
    address, clock = parse_address(asked.source), SteadyClock()
    with watch(address, clock, units=asked.units, registers=asked.registers, tell=tell) as watching:
        search = DisplaySearch(watching, clock)
        search.take(shown)
        # Who is asked must be there: a script gets the candidates, and says what to do in its own way.
        if not asked.as_json and sys.stdin is not None and sys.stdin.isatty():
            narrow(search, _asked_for, tell)
        asked.answer(lambda: find_document(address.place, search), lambda: find_reply(search))
        # The candidates first: where none is settled, they are what the person needs.
        if keep is not None:
            write_text(keep, profile_of(search))
            tell(f'wrote {keep}; next: shuntbook capture "{asked.source}" --profile {keep} --out LOG')


def _asked_for(what: str) -> str | None:
    tell(f"{what}:")
    return sys.stdin.readline().strip() or None


def _span(registers: str | None) -> tuple[int, int] | None:
    # One number is the first and the last.
    return None if registers is None else _pair(registers, "--registers")


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
        numbers = [(kind, value) for kind, value in seen.decoded.items() if kind != "uint16"]
        # What is far too large for any quantity of a bank last: most pairs of registers are no number together.
        numbers.sort(key=lambda number: abs(number[1]) > _LARGEST)
        others = ", ".join(f"{kind} {_unrounded(value)}" for kind, value in numbers)
        rows.append([str(seen.address), str(seen.raw), f"{seen.raw:04X}", others])
    return rows


def _unrounded(value: float) -> str:
    return str(value) if isinstance(value, int) else f"{value:.7g}"  # a float32 has no more digits


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
