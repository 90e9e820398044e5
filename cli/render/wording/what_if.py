"""What changes would do, in words: figures before and after, and the sentence that matters."""

from __future__ import annotations

from math import floor, isfinite
from typing import TYPE_CHECKING, Final

from .numbers import UNKNOWN, amount, duration, plus_minus, shortened, uncapital, value_and_ends, with_sign
from .site_sentences import unsafe_conductors

if TYPE_CHECKING:
    from ....analysis.forecast.forecast import Forecast
    from ....analysis.stats.interval95 import Within
    from ....analysis.what_if.figures import ChangedFigure
    from ....analysis.what_if.what_if import WhatIf

#: A change of less is told in the table alone. [1]
_WORTH_A_SENTENCE: Final = 0.005
#: An interval whose shorter side is at least this much of the longer one is told by ±, as its longer side. [1]
_EVEN: Final = 0.8
#: Told among the reasons: the same in Wh, and what the runs tell already.
_AMONG_REASONS: Final = frozenset({"energy_Wh", "drawdown_L"})

#: What is told for a time, and the hours of a day.
_OVER_TIME: Final = frozenset({"a_day", "charge_Ah", "energy_Wh"})
_HOURS_OF_DAY: Final = 24.0


def asked_changes(result: WhatIf) -> str:
    """Return the changes as they were asked for."""
    return "; ".join(shortened(text) for text in result.changes)


def changes_in_short(result: WhatIf) -> str:
    """Return what matters most of what changes would do, in a sentence that names them."""
    return f"With {asked_changes(result)}: {uncapital(what_changes_do(result)[0])}"


def what_changes_do(result: WhatIf) -> list[str]:
    """Return what changes would do, in sentences: what is unsafe, what matters, whether the system carries it then."""
    left_out = [f"Not judged: {uncapital(missing.sentence)}" for missing in result.not_judged]
    if result.nothing_judged:
        return left_out
    matters = [*unsafe_conductors(result.after.conductors), *result.sizes, *change_matters(result)]
    return [*matters, *left_out, *result.amiss, _carried(result.before, result.after)]


def every_figure(result: WhatIf) -> list[list[str]]:
    """Return every figure, a row each: its name, now and then with their intervals, and what it is held against."""
    return [
        [
            row.name,
            figure_of(row, row.before, result, ends=True),
            figure_of(row, row.after, result, ends=True),
            limit_of(row),
        ]
        for row in result.figures
    ]


def _carried(before: Forecast, after: Forecast) -> str:
    """Say whether the system carries it; now and then where that differs."""
    if before.word == after.word and after.word.verdict == "holds":
        return f"Then as now {uncapital(after.word.sentence.partition(':')[0])}."
    if before.word == after.word:
        return f"Then as now: {uncapital(after.word.sentence)}"
    now = before.word.sentence
    # What holds needs no reasons beside what does not.
    short = f"Now {uncapital(now.partition(':')[0])}." if before.word.verdict == "holds" else f"Now: {uncapital(now)}"
    return f"Then: {uncapital(after.word.sentence)} {short}"


def side_by_side(result: WhatIf) -> list[list[str]]:
    """Return what changes, a row each figure: its name, now, then, and the difference; none where nothing is known."""
    runs = result.figure("run_s")
    # What the runs tell already; without them the water is all that is known of a tank.
    aside = _AMONG_REASONS if runs is not None and runs.after is not None else _AMONG_REASONS - {"drawdown_L"}
    known = [row for row in result.figures if row.differs and row.after is not None and row.code not in aside]
    rows = [
        [row.name, figure_of(row, row.before, result), figure_of(row, row.after, result), difference_of(row, result)]
        for row in known
    ]
    # A change too small to be seen in the figure itself answers nothing.
    return [cells for cells in rows if cells[1] != cells[2]]


def figure_of(row: ChangedFigure, value: Within | None, result: WhatIf, *, ends: bool = False) -> str:
    """Return a figure as people write it, with the ends of its interval where it has any and they are asked for."""
    if value is None:
        return UNKNOWN
    if row.unit in ("s", "h", "L") or not ends or not value.low < value.high or not isfinite(value.high - value.low):
        text = _plain(row, value.value, result)
        with_ends = ends and value.low < value.high and isfinite(value.high - value.low)
        return f"{text} ({_plain(row, value.low, result)} to {_plain(row, value.high, result)})" if with_ends else text
    # The figure itself as it stands in sentences and in the table: 180 % there would be another than 179 %.
    _, low, high = value_and_ends(value.value, value.low, value.high)
    return f"{_plain(row, value.value, result)} ({low} to {high})"


def _is_stretched(row: ChangedFigure, result: WhatIf) -> bool:
    """Tell whether a figure is for a longer time than the log has."""
    seen, hours = result.before.seen, _HOURS_OF_DAY if row.code == "a_day" else result.before.hours
    return seen is not None and row.code in _OVER_TIME and seen.covered_h < hours


def _plain(row: ChangedFigure, x: float, result: WhatIf) -> str:
    if row.unit in ("s", "h"):
        return duration(x * (3600 if row.unit == "h" else 1))
    if row.unit == "L":
        return result.shown.of_volume(x)
    # Starts are counted, not measured to a tenth.
    return amount(x, row.unit).rstrip() if row.unit or row.code == "array_to_load" else f"{round(x):,}"


def difference_of(row: ChangedFigure, result: WhatIf) -> str:
    """Return the difference with its sign, and with its interval where a log leaves one: ±, or its ends if lopsided."""
    if row.difference is None:
        return ""
    value = row.difference
    text = _with_sign(row, value.value, result)
    if not value.low < value.high or not isfinite(value.high - value.low):
        return text
    below, above = value.value - value.low, value.high - value.value
    if min(below, above) < _EVEN * max(below, above):
        return f"{text} ({_with_sign(row, value.low, result)} to {_with_sign(row, value.high, result)})"
    u95 = max(below, above)
    if row.unit in ("s", "h", "L") or not row.unit:
        return f"{text} ± {_plain(row, u95, result)}"
    return with_sign(value.value, plus_minus(abs(value.value), u95, _unit_between(row)))


def _with_sign(row: ChangedFigure, x: float, result: WhatIf) -> str:
    return with_sign(x, amount(abs(x), _unit_between(row)) if row.unit == "%" else _plain(row, abs(x), result))


def _unit_between(row: ChangedFigure) -> str:
    # From 38 to 77 % is 38 points more, and twice as much: "38 % more" would be wrong.
    return "points" if row.unit == "%" else row.unit


def limit_of(row: ChangedFigure) -> str:
    """Return what a figure is held against, with its source."""
    if row.limit is None:
        return ""
    value = duration(row.limit.value) if row.unit == "s" else f"{floor(row.limit.value):,}"
    return f"at {'most' if row.limit.at_most else 'least'} {value}: {row.limit.source}"


def change_matters(result: WhatIf) -> list[str]:
    """Return the sentences that matter, the most telling first: at most two, so that the table finds room."""
    sentences = [
        sentence(result) for sentence in (_of_runs, _of_start, _of_bank, _of_sun, _of_charger, _of_cable, _of_charge)
    ]
    return [text for text in sentences if text][:2]


def _matters(row: ChangedFigure | None) -> bool:
    if row is None or row.before is None or row.after is None or not row.differs:
        return False
    was, will = row.before.value, row.after.value
    return abs(will - was) > _WORTH_A_SENTENCE * max(abs(was), abs(will))


def _of_runs(result: WhatIf) -> str:
    run, hour, day = (result.figure(code) for code in ("run_s", "in_an_hour", "a_day"))
    if run is None and hour is None and day is None:
        return _of_water(result)
    if not any(_matters(each) for each in (run, hour, day)):
        return ""
    parts = []
    if run is not None and _matters(run):
        was, will = _ends(run, result)
        by_log = f"Runs of {was} become {will}{' or stay as they are' if _may_be_nothing(run) else ''}"
        parts.append(by_log if result.before.taken.measured else f"A run with no water drawn lasts {will}, now {was}")
        if run.limit is not None and run.after is not None and run.after.value < run.limit.value:
            parts[-1] += f", and should last {duration(run.limit.value)}"
    often = hour if _matters(hour) else day if _matters(day) else None
    if often is not None:
        was, will = _ends(often, result)
        limit = "" if often.limit is None else f"; the limit is {floor(often.limit.value):,}"
        parts.append(f"{often.name} {was} -> {will}{' or no change' if _may_be_nothing(often) else ''}{limit}")
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _of_water(result: WhatIf) -> str:
    """Say what another tank gives where no flow tells what runs become, and what to add for that."""
    row = result.figure("drawdown_L")
    if row is None or not _matters(row):
        return ""
    was, will = _ends(row, result)
    to_add = " or ".join(f"water.{key}" for key in ("flow_L_per_min", "flow_gal_per_min"))
    return (
        f"From full to where the pump starts the tank gives {will}, now {was}; for what runs and starts become add "
        f"{to_add} to the site file."
    )


def _may_be_nothing(row: ChangedFigure) -> bool:
    """Tell whether the log leaves open that a change does nothing to a figure."""
    return row.difference is not None and row.difference.low < 0 < row.difference.high


def _ends(row: ChangedFigure, result: WhatIf) -> tuple[str, str]:
    # In a sentence no difference with its interval stands beside them, as in the table.
    ends = _is_stretched(row, result)
    return figure_of(row, row.before, result, ends=ends), figure_of(row, row.after, result, ends=ends)


def _of_start(result: WhatIf) -> str:
    lowest, share = result.figure("lowest_V"), result.figure("start_share_pct")
    parts = []
    if share is not None and _matters(share):
        was, will = _ends(share, result)
        parts.append(f"A start asks {will} of what the inverter may give, now {was}")
    if lowest is not None and _matters(lowest):
        was, will = _ends(lowest, result)
        parts.append(f"{'at a start ' if not parts else ''}the bank falls to {will}, now {was}")
    return _joined(parts)


def _of_bank(result: WhatIf) -> str:
    return _then(result, "lasts_h", "The bank lasts {will} under this load, now {was}.")


def _of_sun(result: WhatIf) -> str:
    return _then(result, "sun_h", "The sun pays it back in {will} of good sun or more, now {was}.")


def _of_charger(result: WhatIf) -> str:
    row = result.figure("charger_h")
    # Where there was none there is nothing that it differs from: its time is the answer.
    if row is None or row.after is None or (row.before is not None and not _matters(row)):
        return ""
    was = "" if row.before is None else f", now {figure_of(row, row.before, result)}"
    return f"The charger pays it back in {figure_of(row, row.after, result)} or more{was}."


def _of_cable(result: WhatIf) -> str:
    return _then(result, "drop_pct", "The cable loses {will} of the voltage while it runs, now {was}.")


def _of_charge(result: WhatIf) -> str:
    return _then(result, "charge_Ah", "It takes {will} out of the bank, now {was}.")


def _then(result: WhatIf, code: str, sentence: str) -> str:
    row = result.figure(code)
    if row is None or not _matters(row):
        return ""
    was, will = _ends(row, result)
    return sentence.format(was=was, will=will)


def _joined(parts: list[str]) -> str:
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""
