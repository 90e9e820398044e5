"""Watch a bus on the terminal: what changes while a load is switched, as it happens and at the end."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

import numpy as np

from ...ingest.live.source import SourceLost
from ...ingest.modbus.likely import RegisterMeaning
from ...ingest.modbus.watch import REST_S, Change, Watch, WatchedDevice
from ..capture.run import ended_by_signals
from ..door import tell
from ..render.terminal.answer import Block, Reply
from ..render.terminal.columns import Columns
from ..render.wording.numbers import counted, duration, true_minus

#: How often all registers are read, at most. Common practice, no source. [s]
_PACE_S = 0.25
#: So many changes find room in a line.
_MOST_IN_A_LINE = 4


def run_watch(watch: Watch, *, length_s: float | None) -> int:
    """Watch until it is over or a signal comes, telling on standard error what changes; return the number of steps."""
    stopped = threading.Event()
    start = time.monotonic()
    rest_s = REST_S if length_s is None else min(REST_S, length_s / 3)
    steps, lost = 0, ""
    # Nobody is quick enough to switch at once, and what moves by itself must be known before.
    tell(f"leave everything as it is for {duration(rest_s)}")
    with ended_by_signals(stopped):
        is_resting = True
        while not stopped.is_set() and (length_s is None or time.monotonic() - start < length_s):
            if is_resting and steps > 1 and time.monotonic() - start >= rest_s:
                is_resting = False
                watch.rest_is_over()
                tell(f"now switch the load on and off, some seconds each{'' if length_s else '; Ctrl-C ends it'}")
            lost = _step(watch, lost)
            steps += 1
            _tell_moves(watch, time.monotonic() - start)
            stopped.wait(_PACE_S)
    return steps


def _step(watch: Watch, lost: str) -> str:
    """Read once; return what is wrong with the connection, which is told once."""
    try:
        watch.step()
    except SourceLost as loss:
        if str(loss) != lost:
            tell(str(loss))
        return str(loss)
    for trouble in {device.trouble for device in watch.devices} - {"", lost}:
        tell(trouble)
        return trouble
    return ""


def _tell_moves(watch: Watch, elapsed_s: float) -> None:
    """Tell what has moved in this step, by a good part of all that it ever moved."""
    # What moves by itself would fill the screen, and hide what the person waits for.
    moves = [change for change in watch.changes() if change.moved_now and not change.by_itself]
    if not moves:
        return
    firsts = [(place_words(each, watch.devices), each.meanings[0]) for each in moves]
    words = [f"{place} {shown_number(first.now, first)}" for place, first in firsts]
    rest = f"; and {len(words) - _MOST_IN_A_LINE} more" if len(words) > _MOST_IN_A_LINE else ""
    tell(f"{duration(elapsed_s)}  {'; '.join(words[:_MOST_IN_A_LINE])}{rest}")


def watch_reply(watch: Watch, steps: int, source: str) -> Reply:
    """Return what changed while a load was switched, which units are one device, and what was refused."""
    changes = watch.changes()
    by_load = [each for each in changes if not each.by_itself]
    blocks: list[Block] = [units_words(device.units) for device in watch.devices]
    registers = sum(len(device.places) for device in watch.devices)
    if by_load:
        rows = [_row(each, watch.devices) for each in by_load]
        heads = ("register", "read as", "first", "last", "lowest", "highest", "may also be")
        blocks += [Columns(rows, heads, right=(2, 3, 4, 5))]
    else:
        blocks.append(
            f"nothing changed with a load: {counted(registers, 'register')} read {counted(steps, 'time')}; switch it "
            "while they are watched, or name others with --registers FIRST-LAST"
        )
    # Named, so that nobody looks for it in vain, but without its numbers.
    own = [place_words(each, watch.devices) for each in changes if each.by_itself]
    more = [f"changes by itself: {', '.join(own)}"] if own else []
    refused = refusal_lines(watch.devices)
    still = f"the other registers, {registers - len(changes):,}, stood still in {counted(steps, 'reading')}"
    # An answer has few lines: where a device has many holes, they stand among the reasons.
    tail = refused if len(refused) <= 2 else [f"{refused[0]}; and {len(refused) - 1} more refusals"]
    last = f'next: shuntbook probe "{source}" --find "74.5 A"' if by_load else ""
    return Reply(
        [*blocks, *more, *tail], [*more, *refused, still], more="all that was refused, the raw registers", last=last
    )


def units_words(units: Sequence[int]) -> str:
    """Return which unit ids reach one device."""
    if len(units) == 1:
        return f"unit {units[0]} answers"
    runs: list[list[int]] = []
    for unit in sorted(units):
        if runs and unit == runs[-1][-1] + 1:
            runs[-1].append(unit)
        else:
            runs.append([unit])
    words = [f"{run[0]} to {run[-1]}" if len(run) > 2 else " and ".join(map(str, run)) for run in runs]
    return f"units {', '.join(words)} answer alike: one device"


def refusal_lines(devices: Sequence[WatchedDevice]) -> list[str]:
    """Return in sentences what was refused, and what was not looked at."""
    several = len(devices) > 1
    lines = [
        f"unit {device.units[0]}: {refused}" if several else str(refused)
        for device in devices
        for refused in device.refused
    ]
    if any(device.extent.is_cut for device in devices):
        lines.append("it gives more registers than were looked at; name others with --registers FIRST-LAST")
    return lines


def place_words(change: Change, devices: Sequence[WatchedDevice]) -> str:
    """Return where a number stands; the unit where there are several devices."""
    last = change.address + len(change.raw) - 1
    which = f"{change.address}-{last}" if last > change.address else f"{change.address}"
    return f"{f'unit {change.unit} ' if len(devices) > 1 else ''}{change.table} {which}"


def shown_number(value: float, meaning: RegisterMeaning) -> str:
    """Return a number as it is stored, unrounded: all digits of a whole one, those of its own precision of a float."""
    return true_minus(str(np.float32(value)) if meaning.type == "float32" else f"{value:.0f}")


def _row(change: Change, devices: Sequence[WatchedDevice]) -> list[str]:
    first, *others = change.meanings
    shown = [shown_number(x, first) for x in (first.before, first.now, first.lowest, first.highest)]
    also = ", ".join(f"{m.name} {shown_number(m.before, m)} to {shown_number(m.now, m)}" for m in others)
    return [place_words(change, devices), first.name, *shown, also]


def watch_document(place: str, watch: Watch, steps: int) -> dict[str, object]:
    """Return the same for scripts."""
    return {
        "place": place,
        "readings": steps,
        "devices": [device_document(device) for device in watch.devices],
        "changes": [
            {
                "unit": each.unit,
                "table": each.table,
                "address": each.address,
                "by_itself": each.by_itself,
                "raw": [{"first": first, "last": last} for first, last in each.raw],
                "may_be": [
                    {"type": m.type, "word_order": m.word_order, "first": m.before, "last": m.now}
                    | {"lowest": m.lowest, "highest": m.highest}
                    for m in each.meanings
                ],
            }
            for each in watch.changes()
        ],
    }


def device_document(device: WatchedDevice) -> dict[str, object]:
    """Return which units reach a device, and what it gives and refuses."""
    refused = [{"table": r.table, "first": r.first, "last": r.last, "reason": r.reason} for r in device.refused]
    return {
        "units": device.units,
        "registers": sum(block.count for block in device.extent.blocks),
        "refused": refused,
        "not_looked_at_all": device.extent.is_cut,
    }
