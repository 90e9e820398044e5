"""The live display: the report's own folds, figures that can be read from afar, and a line that is being typed."""

from __future__ import annotations

import os
import time
from collections import Counter

import numpy as np
import pytest
from rich.console import Console

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.ledger.ledger import LedgerFold, demos_of
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.log_facts import ENDINGS
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.cli.capture.keyboard import Keyboard
from shuntbook.cli.capture.live_meter import LiveMeter
from shuntbook.cli.capture.screen import big, live_number, part_line, plain_line, run_state, screen, summary_lines
from shuntbook.ingest.events import Reading

HOW = HowRead("dc", "instant", 10.0, 1.0)
START_US = 1_780_000_000_000_000


def readings(count, *, amps=30.0, first=0):
    """Readings a second apart: a pump that runs 20 s in every 60."""
    return [
        Reading(START_US + k * 1_000_000, {"current_A": amps if k % 60 >= 40 else 1.0, "voltage_V": 25.0})
        for k in range(first, first + count)
    ]


def live():
    """A meter of a capture."""
    return LiveMeter("bank shunt", HOW, ("current_A", "voltage_V"), limits_for(None, None))


def chunk_of(given):
    """The same readings at once."""
    x = {name: np.array([r.values[name] for r in given]) for name in ("current_A", "voltage_V")}
    return Chunk(np.array([r.time_us for r in given]), x)


def shot(meter):
    """How it stands."""
    return meter.snapshot(connected=True, trouble=Counter({"no answer": 2}), final=True)


def test_live_amounts_are_those_of_the_report_s_fold():
    """Fed in small pieces, the display's Ah and Wh are those of the fold fed at once."""
    meter, whole = live(), ChargeFold(HOW, {"current_A", "voltage_V"})
    everything = readings(600)
    for k in range(0, 600, 7):
        meter.add(everything[k : k + 7])
    whole.add(chunk_of(everything))
    assert shot(meter).charge.charge.drawn == pytest.approx(whole.result().charge.drawn, rel=1e-9)
    assert shot(meter).charge.energy.drawn == pytest.approx(whole.result().energy.drawn, rel=1e-9)
    assert shot(meter).cycles.summary.count == 10
    assert shot(meter).peak_A == 30.0


def test_since_a_marker_counts_from_the_marker():
    """What was drawn before and after the marker adds up to the whole."""
    meter = live()
    meter.add(readings(300))
    before = shot(meter).charge.charge.drawn
    meter.marked("crates", START_US + 299_000_000)
    meter.add(readings(300, first=300))
    assert shot(meter).newest.text == "crates"
    assert before + shot(meter).newest.charge.charge.drawn == pytest.approx(shot(meter).charge.charge.drawn, rel=1e-9)


def test_a_run_that_is_going_is_told():
    """While the pump runs the display says for how long; at rest it does not."""
    meter = live()
    meter.add(readings(115))
    assert shot(meter).running_s == pytest.approx(15.0, abs=1.0)
    meter.add(readings(20, first=115))
    assert shot(meter).running_s is None


@pytest.mark.parametrize("width", [80, 160])
def test_the_screen_fits_a_terminal(width):
    """Two meters, a marker, trouble and a half-typed note fit in 24 lines, none wider than the terminal."""
    meters = [live(), live()]
    for meter in meters:
        meter.add(readings(200))
        meter.marked("washing crates for the visitors", START_US + 199_000_000)
        meter.add(readings(100, first=200))
    console = Console(width=width, height=24, file=None, force_terminal=False, record=True)
    with console.capture() as caught:
        console.print(screen([shot(m) for m in meters], elapsed_s=300.0, left_s=600.0, typed="<b>note"))
    lines = caught.get().splitlines()
    assert len(lines) <= 26
    assert max(map(len, lines)) <= width
    text = "\n".join(lines)
    assert "5 min captured, 10 min to go" in text
    assert "2 x no answer" in text
    assert "<b>note" in text
    assert "since 'washing crates" in text


def test_a_plain_line_says_it_all():
    """Without a terminal a line now and then tells amps, volts, watts and what was drawn."""
    meter = live()
    assert "no reading" in plain_line(shot(meter))
    meter.add(readings(105))
    assert plain_line(shot(meter)).startswith("bank shunt: 30.0 A, 25.0 V, 750 W; ")


def test_large_figures_have_three_rows_and_steady_decimals():
    """Every mark of a number has a picture; the decimals do not change with the last digit."""
    assert len({len(row) for row in big("-0123456789.,")}) == 1
    assert [live_number("current_A", x) for x in (0.5, 9.99, 10.04, 136.2)] == ["0.50", "9.99", "10.0", "136.2"]
    assert live_number("voltage_V", 25.0) == "25.00"


@pytest.mark.skipif(os.name != "posix", reason="terminals as POSIX knows them")
def test_keys_are_taken_one_by_one_and_lines_come_out():
    """On a terminal, what is typed is shown by the screen, may be mended, and ends with Enter."""
    controller, terminal = os.openpty()
    with os.fdopen(terminal, "r") as stdin, Keyboard(stdin) as keyboard:
        os.write(controller, b"wash crabs\x7f\x7f")
        _until(lambda: keyboard.typed == "wash cra")
        os.write(controller, b"tes\r")
        lines = []
        _until(lambda: lines.extend(keyboard.lines()) or lines)
        assert lines == ["wash crates"]
        assert keyboard.typed == ""
    os.close(controller)


def _until(condition):
    end = time.monotonic() + 20
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.mark.parametrize(("drive", "runs_s"), [(True, [240.0, 240.0]), (False, [])])
def test_a_drive_that_the_owner_tells_of_is_followed_while_it_is_captured(drive, runs_s):
    """Two runs from rest to rest, as the report of the log will have them; without the word they show no speeds."""
    rest, run = [1.0] * 200, [[12.0] * 60, [40.0] * 120, [25.0] * 60]
    amps = [*rest, *run[0], *run[1], *run[2], *rest, *run[1], *run[0], *run[2], *rest]
    meter = LiveMeter("bank shunt", HOW, ("current_A", "voltage_V"), limits_for(None, None), drive=drive)
    meter.add(Reading(START_US + k * 10**6, {"current_A": a, "voltage_V": 25.0}) for k, a in enumerate(amps))
    cycles = shot(meter).cycles

    assert [cycle.run_s for cycle in cycles.cycles if cycle.at_speeds] == runs_s


def at_begin(amps, *, expected=None):
    """How a meter stands whose capture began at the first of these amps, a reading a second."""
    meter = LiveMeter("bank shunt", HOW, ("current_A", "voltage_V"), limits_for(None, None), expected=expected)
    meter.add(Reading(START_US + k * 10**6, {"current_A": a, "voltage_V": 25.0}) for k, a in enumerate(amps))
    return run_state(shot(meter))


@pytest.mark.parametrize("expected", [None, 29.0])
def test_a_load_that_runs_when_the_capture_begins_is_told_so(expected):
    """From its first seconds on, with or without a plate; once it has stopped, and run again, that is told."""
    before, on, off = ("running", "since before the capture began"), [31.0], [1.5]
    assert at_begin(5 * on, expected=expected) == before
    assert at_begin([137.0, 60.0, *(300 * on)], expected=expected) == before
    assert at_begin([*(60 * on), *(6 * [31.9]), *(60 * on)], expected=expected) == before
    assert at_begin([*(60 * on), *(10 * off)], expected=expected) == ("not running", "")
    assert at_begin([*(60 * on), *(60 * off), *(20 * on)], expected=expected) == ("running", "for 20 s")
    assert at_begin(60 * off, expected=expected) == ("not running", "")


def test_what_stands_beside_a_plate_is_not_the_load():
    """A draw of less than half the plate's is no run of the load; one that goes beside what stays is its end."""
    assert at_begin(60 * [12.0], expected=29.0) == ("not running", "")
    assert at_begin([*(60 * [71.0]), *(60 * [42.0])], expected=29.0) == ("not running", "")


def test_what_the_load_took_stands_on_the_screen():
    """Ten runs of 20 s at 29 A above 1 A: 29 x 200 / 3600 = 1.611 Ah, with its interval."""
    meter = live()
    meter.add(readings(610))
    assert summary_lines(shot(meter))[0].startswith("The largest load took 1.611 Ah ± ")
    assert summary_lines(shot(meter))[0].endswith(" in 10 runs.")
    meter.add(readings(45, first=610))  # of the eleventh run that goes on nothing is missing yet
    assert summary_lines(shot(meter))[0].endswith(" in 11 runs.")


@pytest.mark.parametrize("at_once", [1, 7, 600])
def test_a_stretch_begins_at_its_note_however_much_comes_at_once(at_once):
    """A note ahead of what was read begins its stretch at its own instant, not with the last batch."""
    meter, note_us = live(), START_US + 250_500_000
    everything = readings(600)
    meter.add(everything[:5])
    meter.marked("crates", note_us)
    for k in range(5, 600, at_once):
        meter.add(everything[k : k + at_once])
    whole = ChargeFold(HOW, {"current_A", "voltage_V"}, from_us=note_us)
    whole.add(chunk_of(everything))
    assert shot(meter).newest.charge.charge.drawn == pytest.approx(whole.result().charge.drawn, rel=1e-9)


@pytest.mark.parametrize(
    ("word", "at_once"), [*((word, 250) for word in sorted(ENDINGS)), (" Done ", 250), ("end", 1), ("end", 7)]
)
def test_a_note_that_only_ends_stops_the_stretch_before_it(word, at_once):
    """What was drawn stands still, as much as in the ledger, and is called what it is until another note begins one."""
    meter, everything = live(), readings(600)
    notes = [(START_US + 50_300_000, "crates"), (START_US + 301_700_000, word), (START_US + 400_000_000, "end")]
    coming = list(notes)
    for k in range(0, 500, at_once):
        while coming and coming[0][0] <= everything[min(k + at_once, 500) - 1].time_us:
            at_us, text = coming.pop(0)
            meter.marked(text, at_us)
        meter.add(everything[k : min(k + at_once, 500)])
    ledger = LedgerFold(HOW, {"current_A", "voltage_V"}, zone=None, demos=demos_of(notes))
    ledger.add(chunk_of(everything[:500]))
    (demo,) = ledger.result().demos
    seen = shot(meter)
    before = seen.newest.charge.charge.drawn
    assert before == pytest.approx(demo.whole.charge.drawn, rel=1e-9)
    assert before < 0.7 * seen.charge.charge.drawn
    assert [text for _, text in seen.notes] == [text for _, text in notes]
    assert summary_lines(seen)[2].startswith(f"from 'crates' to '{word.strip()}': ")
    meter.add(everything[500:550])
    assert shot(meter).newest.charge.charge.drawn == before
    meter.marked("again", everything[549].time_us)
    meter.add(everything[550:])
    # What the one before came to stays, word for word.
    assert summary_lines(shot(meter))[2] == summary_lines(seen)[2]
    assert summary_lines(shot(meter))[3].startswith("since 'again': ")
    assert 0 < shot(meter).newest.charge.charge.drawn < before


@pytest.mark.parametrize("at_once", [pytest.param(1, marks=pytest.mark.night), 7, 250])
def test_what_each_stretch_came_to_is_told_once_and_stays(at_once):
    """As much as in the ledger, to the note's own instant, told with the first reading after it."""
    meter, everything, told = live(), readings(600), []
    notes = [(START_US + round(at_s * 1e6), text) for at_s, text in [(50.3, "a"), (301.7, "b"), (400.0, "c")]]
    for k in range(0, 600, at_once):
        for at_us, text in notes:
            if everything[k].time_us <= at_us < START_US + (k + at_once) * 10**6:
                meter.marked(text, at_us)
        assert list(meter.newly_ended()) == []
        # Whoever looks before that reading sees no figure that is then kept.
        shot(meter)
        meter.add(everything[k : k + at_once])
        told += [part_line("bank", part) for part in meter.newly_ended()]
    ledger = LedgerFold(HOW, {"current_A", "voltage_V"}, zone=None, demos=demos_of(notes))
    ledger.add(chunk_of(everything))
    parts, seen = shot(meter).parts, shot(meter)
    assert [(part.text, part.from_us) for part in parts] == [(text, at_us) for at_us, text in notes[:2]]
    for part, demo in zip([*parts, None], ledger.result().demos, strict=True):
        drawn = seen.newest.charge.charge.drawn if part is None else part.charge.charge.drawn
        assert drawn == pytest.approx(demo.whole.charge.drawn, rel=1e-9)
    assert told == [part_line("bank", part) for part in parts]
    assert told[0].startswith("bank: 'a': 0.7")
    assert summary_lines(seen)[2:4] == [line.removeprefix("bank: ") for line in told]


def test_a_note_that_ends_nothing_begins_nothing():
    """Before any other note the amounts are those since the start, and no others."""
    meter = live()
    meter.add(readings(100))
    meter.marked("end", START_US + 99_000_000)
    meter.add(readings(100, first=100))
    assert shot(meter).newest is None
    assert sum("'" in line for line in summary_lines(shot(meter))) == 0
