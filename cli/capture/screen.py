"""The screen of a running capture: amps, volts and watts large, then what it all comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ...analysis.health.finding import is_swapped
from ..door import harmless
from ..render.wording.answer import LoadTotal, load_total
from ..render.wording.numbers import amount, counted, duration, plus_minus, shortened, true_minus

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table
    from rich.text import Text

    from ...analysis.charge.amounts import Charge
    from ...analysis.cycles.cycle import Cycles
    from .live_meter import Part, Snapshot

_DIGITS = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": (" ▀█", "  █", "  ▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    "−": ("   ", "▀▀ ", "   "),
    ".": (" ", " ", "▀"),
    ",": (" ", " ", "▀"),
    " ": (" ", " ", " "),
}
_BLANK = ("   ", "   ", "   ")


def big(text: str) -> list[str]:
    """Return a number as three lines of text; a character without a picture is left blank."""
    pictures = [_DIGITS.get(mark, _BLANK) for mark in text]
    return [" ".join(picture[row] for picture in pictures) for row in range(3)]


#: What is shown large: quantity, its word, its unit.
LARGE = (("current_A", "amps", "A"), ("voltage_V", "volts", "V"), ("power_W", "watts", "W"))

_MOST_FINDINGS = 3
#: So many of the newest stretches that have ended stand in the last words.
_MOST_PARTS = 4
#: Quotation marks of a terminal.
_PLAIN = "''"
NOT_CONNECTED = "NOT CONNECTED, trying again"


#: What may be typed where no source takes readings.
_NOTES_ONLY = ("type a note and press Enter to mark this moment; Ctrl-C ends",)


def screen(
    snapshots: Sequence[Snapshot],
    *,
    elapsed_s: float,
    left_s: float | None,
    typed: str,
    may_type: Sequence[str] = (),
    question: str | None = None,
) -> Group:
    """Return the whole screen: one block a meter, then the line that is being typed and what may be typed.

    A `question` that stands open takes the place of the latter.
    """
    from rich.console import Group

    parts: list[RenderableType] = [_text(how_long(elapsed_s, left_s), style="bold")]
    for snapshot in snapshots:
        parts += [_text(""), *_block(snapshot)]
    prompt = "r or n" if question else "reading or note" if may_type else "note"
    parts += [_text(""), _text(f"{prompt}: {shortened(typed, 200)}▏", no_wrap=True, overflow="ellipsis")]
    if question is not None:
        parts.append(_text(question, style="bold"))
    else:
        parts += [_text(line, style="dim") for line in may_type or _NOTES_ONLY]
    return Group(*parts)


def _text(line: str, **how: Any) -> Text:  # noqa: ANN401 - as rich takes it
    """Return a line of the screen: no markup, since what stands in brackets must be shown, and nothing to obey."""
    from rich.text import Text

    return Text(harmless(line), **how)


def how_long(elapsed_s: float, left_s: float | None) -> str:
    """Say how long has been captured, and how long is to go where that is known."""
    return f"{duration(elapsed_s)} captured" + (f", {duration(left_s)} to go" if left_s is not None else "")


def _block(snapshot: Snapshot) -> list[RenderableType]:
    link = "connected" if snapshot.connected else NOT_CONNECTED
    head = "; ".join(part for part in (link, _running_line(snapshot)) if part)
    lines: list[RenderableType] = [_text(f"{shortened(snapshot.name)}, side {snapshot.side}: {head}"), _large(snapshot)]
    lines += [_text(line) for line in _amount_lines(snapshot)]
    for finding in snapshot.findings[:_MOST_FINDINGS]:
        lines.append(_text(f"{finding.severity.upper()}: {finding.title}", style="bold"))
    return lines


def _large(snapshot: Snapshot) -> Table:
    """Return the quantities that the meter gives, large and side by side."""
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 3))
    cells = []
    for quantity, word, unit in LARGE:
        if (value := live_value(snapshot, quantity)) is not None:
            rows = big(live_number(quantity, value))
            cells.append(Text("\n".join([word, *rows[:-1], f"{rows[-1]} {unit}"])))
    table.add_row(*(cells or [Text("no reading yet")]))
    return table


def live_value(snapshot: Snapshot, quantity: str) -> float | None:
    """Return a quantity as it is now; watts at the bank are worked out from volts and amps where they are not given."""
    # Not behind an inverter: there volts x amps are volt-amperes, and more than the watts.
    now = snapshot.now
    if (
        quantity == "power_W"
        and quantity not in now
        and snapshot.side == "dc"
        and {"current_A", "voltage_V"} <= now.keys()
    ):
        return now["current_A"] * now["voltage_V"]
    return now.get(quantity)


def summary_lines(snapshot: Snapshot) -> list[str]:
    """Return in words what the capture has come to so far."""
    parts = [
        f"{part_called(part, 15, quotes=_PLAIN)}: {_amounts(part.charge)}" for part in snapshot.parts[-_MOST_PARTS:]
    ]
    return [*_amount_lines(snapshot, parts), _running_line(snapshot)]


def _amount_lines(snapshot: Snapshot, parts: Sequence[str] = ()) -> list[str]:
    lines = []
    if (total := taken_so_far(snapshot)) is not None:
        lines.append(total.sentence)
    lines += [f"since the start: {_amounts(snapshot.charge)}", *parts]
    if (newest := snapshot.newest) is not None:
        lines.append(f"{newest_called(newest, 15, quotes=_PLAIN)}: {_amounts(newest.charge)}")
    if snapshot.trouble:
        lines.append("trouble: " + ", ".join(f"{count} x {kind}" for kind, count in sorted(snapshot.trouble.items())))
    return lines


def newest_called(part: Part, most: int, quotes: str = "‘’") -> str:
    """Say from when on, and until when, the newest stretch goes; of its note so many letters."""
    called = part_called(part, most, quotes)
    return f"since {called}" if part.ended_by is None else called


def part_called(part: Part, most: int, quotes: str = "‘’") -> str:
    """Return what a stretch that has ended is called: its note, and the one that ended it where it began no other."""
    if part.ended_by is None:
        return _quoted(part.text, most, quotes)
    return _from_to(part.text, part.ended_by, most, quotes)


def part_line(snapshot_name: str, part: Part) -> str:
    """Return what a stretch came to that has just ended."""
    return f"{shortened(snapshot_name)}: {part_called(part, 40, quotes=_PLAIN)}: {_amounts(part.charge)}"


def _from_to(text: str, ended_by: str, most: int, quotes: str) -> str:
    return f"from {_quoted(text, most, quotes)} to {quotes[0]}{ended_by}{quotes[1]}"


def _quoted(text: str, most: int, quotes: str) -> str:
    return f"{quotes[0]}{shortened(text, most)}{quotes[1]}"


def _running_line(snapshot: Snapshot) -> str:
    parts = []
    if snapshot.peak_A is not None:
        parts.append(f"highest {amount(snapshot.peak_A, 'A')}")
    elif snapshot.peak_W is not None:
        parts.append(f"highest {amount(snapshot.peak_W, 'W')}")
    if snapshot.cycles is not None:
        parts.append(counted(snapshot.cycles.summary.count, "start"))
        parts.append(" ".join(run_state(snapshot)).rstrip())
    return ", ".join(filter(None, parts))


def run_state(snapshot: Snapshot) -> tuple[str, str]:
    """Say whether the load runs, and for how long; the second may be empty, both where that is not known yet."""
    if snapshot.running is None:
        return "", ""
    if not snapshot.running:
        return "not running", ""
    if snapshot.running_s is not None:
        return "running", f"for {duration(snapshot.running_s)}"
    if snapshot.cycles is not None and snapshot.cycles.on_since_first:
        return "running", "since before the capture began"
    return "running", ""


def taken_so_far(snapshot: Snapshot) -> LoadTotal | None:
    """Return what the load took by itself; None where no run was seen or nothing measured."""
    if snapshot.cycles is None or is_swapped(snapshot.findings):
        return None
    total = load_total(snapshot.cycles, load_called(snapshot.cycles))
    # A run that goes on is seen as far as there is anything to be seen: that it runs is told elsewhere.
    if total is None or snapshot.running_s is None:
        return total
    return replace(total, in_part=max(total.in_part - 1, 0))


def load_called(cycles: Cycles) -> str:
    """Return the name of the load whose runs are sought, with its article."""
    name = cycles.load or next((cycle.load for cycle in cycles.cycles if cycle.load), None)
    return f"the {shortened(name)}" if name else "the largest load"


def live_number(quantity: str, value: float) -> str:
    """Return a reading with as many decimals as its kind ever needs, so that the figures do not jump about."""
    # The limits are where the rounded figure gets a digit more: 9.995 is shown as 10.0, not as 10.00.
    decimals = {
        "current_A": 1 if abs(value) >= 9.995 else 2,
        "voltage_V": 2,
        "power_W": 0 if abs(value) >= 99.95 else 1,
    }
    return true_minus(f"{value:.{decimals[quantity]}f}")


def _amounts(charge: Charge | None) -> str:
    """Return what was drawn and returned, in Ah with the Wh behind it, or in the one of them that there is."""
    kinds = [] if charge is None else [(charge.charge, "Ah"), (charge.energy, "Wh")]
    known = [(amounts, unit) for amounts, unit in kinds if amounts is not None]
    if charge is not None and not known:
        return "nothing yet"
    if not known:
        return "nothing to add up (neither amps at the bank nor watts)"
    words = []
    (first, unit), *others = known
    for way in ("drawn", "returned"):
        shown = plus_minus(getattr(first, way), getattr(first, f"{way}_u95"), unit)
        beside = "".join(f" ({amount(getattr(other, way), its_unit)})" for other, its_unit in others)
        words.append(f"{shown}{beside} {way}")
    return ", ".join(words)


def plain_line(snapshot: Snapshot) -> str:
    """Return one meter as a single line, for a capture without a terminal."""
    now = [amount(value, unit) for quantity, _, unit in LARGE if (value := live_value(snapshot, quantity)) is not None]
    link = "" if snapshot.connected else " (not connected)"
    return f"{shortened(snapshot.name)}{link}: {', '.join(now) or 'no reading'}; {_amounts(snapshot.charge)}"
