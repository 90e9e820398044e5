"""Readings of a person who has only a display: typed while it runs, or noted down and converted afterwards."""

from __future__ import annotations

from datetime import date, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading, Refused, Remark
from shuntbook.ingest.exports.convert import convert
from shuntbook.ingest.exports.display_line import DoubtfulLine, Word, parse_line
from shuntbook.ingest.exports.hand_notes import HandNotes
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.hand import HandReadings
from shuntbook.ingest.live.source import Clock
from shuntbook.ingest.log.meta import LogMeta
from shuntbook.ingest.profiles.model import load_profile

DAY_US = int(np.datetime64("2026-06-13T00:00:00", "us").astype(np.int64))
MINUTE_US = 60_000_000


class HandClock(Clock):
    """A clock that is set by hand. [us]"""

    def __init__(self):
        self.now = DAY_US

    def now_us(self):
        return self.now

    def sleep(self, length_s):
        self.now += round(length_s * 1e6)


def hand(side=None):
    """A source and its clock."""
    clock = HandClock()
    profile = SimpleNamespace(side=side) if side else None
    return HandReadings(parse_address("hand:"), profile, clock), clock


def typed(*lines, side=None):
    """What comes of lines typed a minute apart, and of the end a minute after the last."""
    source, clock = hand(side)
    events = []
    for line in lines:
        source.typed(line)
        clock.sleep(60)
        events += source.read(0.0)
    return events + source.ending()


def told(events):
    """Minute and values of each reading."""
    return [((e.time_us - DAY_US) / MINUTE_US, dict(e.values)) for e in events if isinstance(e, Reading)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("900 W", {"power_W": 900.0}),
        ("900W", {"power_W": 900.0}),
        ("900 w", {"power_W": 900.0}),
        ("0.9 kW", {"power_W": 900.0}),
        (" 0,9 KW ", {"power_W": 900.0}),
        ("74.5 A 11.9 V", {"current_A": 74.5, "voltage_V": 11.9}),
        ("74,5 A", {"current_A": 74.5}),
        ("74,5 a, 11,9 v", {"current_A": 74.5, "voltage_V": 11.9}),
        ("74.5A11.9V", {"current_A": 74.5, "voltage_V": 11.9}),
        ("74.5 A at 11.9 V", {"current_A": 74.5, "voltage_V": 11.9}),
        ("74.5 amps and 11.9 volts", {"current_A": 74.5, "voltage_V": 11.9}),
        ("-5 A", {"current_A": -5.0}),
        ("−5 A", {"current_A": -5.0}),
        ("745 mA", {"current_A": 0.745}),
        ("12.5 Ah / 300 Wh", {"charge_Ah": 12.5, "energy_Wh": 300.0}),
        ("400 kPa; 20 L/min", {"pressure_kPa": 400.0, "flow_L_per_min": 20.0}),
        ("23 °C", {"temperature_degC": 23.0}),
        ("0,150 kW", {"power_W": 150.0}),
        ("off", Word.OFF),
        (" OFF ", Word.OFF),
        ("end", Word.END),
        ("", Word.REMARK),
        ("crates", Word.REMARK),
        ("pump off", Word.REMARK),
        ("10 crates", Word.REMARK),
        ("900 W crates", Word.REMARK),
        ("5 A day", Word.REMARK),
        ("10:02 tank full", Word.REMARK),
    ],
)
def test_what_a_typed_line_means(text, expected):
    """Unit letters in any case, a decimal comma or point, two quantities in one line; anything else is a note."""
    assert parse_line(text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("900", "has no unit"),
        ("74,5", "has no unit"),
        ("1,150 W", "could be 1150 or 1.150"),
        ("5 mw", "could be mW or MW"),
        ("900 VA", "note the watts"),
        ("5 A 6 A", "twice"),
    ],
)
def test_a_line_that_could_mean_two_things_is_not_guessed_at(text, words):
    """It says what to type instead."""
    with pytest.raises(DoubtfulLine, match=words):
        parse_line(text)


@given(st.text(max_size=60))
def test_no_line_breaks_the_parser(text):
    """Whatever is typed, it is a reading, a word or doubtful."""
    try:
        line = parse_line(text)
    except DoubtfulLine as why:
        assert str(why)
    else:
        assert isinstance(line, Word) or line


def test_each_line_is_a_reading_at_its_instant_and_the_last_is_closed():
    """What stands at the end is told once more, so that it counts up to there."""
    assert told(typed("900 W", "0.8 kW")) == [(0, {"power_W": 900.0}), (1, {"power_W": 800.0}), (2, {"power_W": 800.0})]


def test_off_is_a_draw_of_zero_in_what_was_told_before():
    """Only in that: amps that nobody read do not become zero."""
    assert told(typed("900 W", "off"))[1] == (1, {"power_W": 0.0})
    assert told(typed("74.5 A", "off"))[1] == (1, {"current_A": 0.0})


def test_off_before_anything_else_is_told_as_soon_as_it_is_known_of_what():
    """At the instant it was typed."""
    assert told(typed("off", "900 W"))[:2] == [(0, {"power_W": 0.0}), (1, {"power_W": 900.0})]
    first, second, third, *_ = told(typed("off", "12.6 V", "74.5 A 11.9 V"))
    assert first == (1, {"voltage_V": 12.6})
    assert second[1] == {"current_A": 0.0} and first[0] < second[0] < third[0] == 2
    assert told(typed("off")) == []


def test_end_closes_the_reading_and_the_capture():
    """What is typed after it is a note."""
    source, clock = hand()
    source.typed("900 W")
    clock.sleep(60)
    assert source.typed("end")
    assert not source.finished
    assert told(source.read(0.0)) == [(0, {"power_W": 900.0}), (1, {"power_W": 900.0})]
    assert source.finished
    assert not source.typed("800 W")
    assert source.ending() == []


def test_notes_are_left_to_others_and_doubtful_lines_are_refused():
    """A note is no business of the source's; a doubtful reading is kept, with the reason."""
    source, _ = hand()
    assert not source.typed("crates are coming")
    assert source.typed("1,150 W")
    (refused,) = source.read(0.0)
    assert isinstance(refused, Refused)
    assert (refused.kind, refused.text) == ("doubtful", "1,150 W")


def test_two_lines_within_a_clock_tick_have_different_times():
    """A log's times increase."""
    source, _ = hand()
    source.typed("900 W")
    source.typed("800 W")
    first, second = source.read(0.0)
    assert first.time_us < second.time_us


def energy_Wh(events, side="dc"):
    """The energy that the folds make of readings: an independent look at what the log will say."""
    readings = [event for event in events if isinstance(event, Reading)]
    names = sorted({name for reading in readings for name in reading.values})
    time_us = np.array([reading.time_us for reading in readings])
    chunk = Chunk(time_us, {q: np.array([r.values.get(q, np.nan) for r in readings]) for q in names})
    fold = ChargeFold(HowRead(side, "held", 10.0), set(names))
    fold.add(chunk)
    return fold.result()


@pytest.mark.parametrize(
    ("lines", "drawn_Wh"),
    [
        # watts x minutes / 60, each line standing for a minute
        (["900 W", "0.6 kW"], 25.0),
        (["74.5 A 12 V", "off", "50 A 12 V"], (74.5 + 50) * 12 / 60),
        (["74.5 A 12 V", "50 A"], (74.5 + 50) * 12 / 60),
        (["60 A 12 V", "11 V"], 60 * (12 + 11) / 60),
        (["900 W", "60 A 12 V", "off", "900 W"], (900 + 720 + 900) / 60),
        (["60 A 12 V", "900 W", "off"], (720 + 900) / 60),
        (["900 W", "off", "off", "end"], 15.0),
    ],
)
def test_whichever_quantities_the_lines_tell_the_energy_is_that_of_the_display(lines, drawn_Wh):
    """An old draw never stands on beside a new one."""
    energy = energy_Wh(typed(*lines)).energy
    assert energy.drawn == pytest.approx(drawn_Wh)


def test_amps_follow_from_watts_and_volts_where_they_stood_before():
    """60 A at 12 V, then 900 W: the display would say 75 A."""
    assert energy_Wh(typed("60 A 12 V", "900 W")).charge.drawn == pytest.approx((60 + 75) / 60)


@pytest.mark.parametrize(
    ("lines", "side"),
    [(["900 W", "60 A"], None), (["60 A", "900 W"], None), (["900 W", "4 A 230 V"], "ac")],
)
def test_what_cannot_be_worked_out_is_refused(lines, side):
    """Watts behind an inverter, for one, do not follow from amps and volts."""
    refused = [event for event in typed(*lines, side=side) if isinstance(event, Refused)]
    assert [event.kind for event in refused] == ["doubtful"]
    assert "stand on" in refused[0].reason


def test_the_address_has_no_settings():
    """And the side is the profile's."""
    with pytest.raises(InputError, match="no settings"):
        HandReadings(parse_address("hand:?speed=1"), None, HandClock())
    source, _ = hand("ac")
    assert (source.side, source.sampling, source.cadence) == ("ac", "held", "pushed")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("about 71 amps", {"current_A": 71.0}),
        ("pump at 40 psi 71 A?", {"current_A": 71.0, "pressure_kPa": pytest.approx(275.79, abs=0.01)}),
        ("880 W pump", {"power_W": 880.0}),
        ("now 2.5 kW, lamp 12 V", {"power_W": 2500.0, "voltage_V": 12.0}),
        ("pump at 40 psi", None),
        ("12 V lamp", None),
        ("since 3 a.m. 5 w", None),
        ("crates", None),
        ("pump 1,150 W", None),
        ("5 A or 6 A", None),
    ],
)
def test_a_note_that_could_be_a_reading_is_told_as_such(text, expected):
    """Amps or watts must stand in it; what could mean several amounts is none."""
    source, _ = hand()
    assert source.typed(text) is False
    assert source.reading_in(text) == expected


def test_a_line_in_doubt_is_taken_as_what_it_was_meant_for_at_its_own_moment():
    """As a reading it stands from when it was typed; as a note that nobody was asked about it is a remark."""
    source, clock = hand()
    source.typed("60 A")
    at_us = clock.now_us() + MINUTE_US
    clock.sleep(90)
    source.take_as("reading", "about 71 amps", at_us)
    source.take_as("note", "maybe 9 A", clock.now_us())
    events = source.ending()
    assert told(events) == [(0, {"current_A": 60.0}), (1, {"current_A": 71.0}), (1.5, {"current_A": 71.0})]
    (remark,) = (event for event in events if isinstance(event, Remark))
    assert remark.text == "'maybe 9 A' was kept as a note"


NOTES = """\
# open day, read off the panel

2026-06-13
10:02 900 W
10:02:30 74.5 A 11.9 V
10:05 visitors at the gate
10:12:30,5 off
"""


def notes(folder, text, start=None, zone="UTC"):
    """Notes from a text."""
    path = folder / "notes.txt"
    path.write_text(text, encoding="utf-8")
    return HandNotes(path, zone, start)


def rows(found):
    """Clock time and values of each reading, and line and reason of each reject."""
    (batch,) = found.batches()
    stamps = [str(t)[11:19] for t in batch.readings.time_us.astype("datetime64[us]")]
    values = [
        {q: float(x[k]) for q, x in batch.readings.quantities.items() if not np.isnan(x[k])} for k in range(len(stamps))
    ]
    return list(zip(stamps, values, strict=True)), [(reject.line, reject.reason) for reject in batch.rejects]


def test_notes_become_readings_and_markers(tmp_path):
    """A date line, clock times with and without seconds, a remark, comments and empty lines."""
    found = notes(tmp_path, NOTES)
    kept, rejects = rows(found)
    assert kept == [
        ("10:02:00", {"power_W": 900.0}),
        ("10:02:30", {"current_A": 74.5, "voltage_V": 11.9, "power_W": pytest.approx(886.55)}),
        ("10:12:30", {"current_A": 0.0, "voltage_V": 11.9, "power_W": 0.0}),
    ]
    assert rejects == []
    assert found.quantities == ("current_A", "voltage_V", "power_W")
    assert found.markers == [(DAY_US + 605 * MINUTE_US, "visitors at the gate")]
    assert found.layouts[0].remarks == ()


def test_the_clock_passes_midnight_and_dates_may_stand_in_any_line(tmp_path):
    """A clock that falls back by more than half a day has passed midnight."""
    found = notes(tmp_path, "23:58 900 W\n00:03 off\n2026-06-20 09:00 900 W\n09:10 off\n", start=date(2026, 6, 13))
    (batch,) = found.batches()
    assert [str(t) for t in batch.readings.time_us.astype("datetime64[us]").astype("datetime64[m]")] == [
        "2026-06-13T23:58",
        "2026-06-14T00:03",
        "2026-06-20T09:00",
        "2026-06-20T09:10",
    ]


def test_the_clock_is_that_of_the_zone(tmp_path):
    """Ten in the morning in summer time is nine in UTC."""
    kept, _ = rows(notes(tmp_path, "10:02 900 W\n10:03 off\n", datetime(2026, 6, 13), "Europe/London"))
    assert [stamp for stamp, _ in kept] == ["09:02:00", "09:03:00"]


def test_lines_that_cannot_be_read_are_rejected_with_their_number(tmp_path):
    """And the others are kept."""
    text = "2026-06-13\n10:02 900 W\nlater 5 A\n25:00 900 W\n10:01 800 W\n10:03\n10:04 1,150 W\n2026-02-30\n"
    text += "10:05 end\n10:06 900 W\n"
    kept, rejects = rows(notes(tmp_path, text))
    assert [stamp for stamp, _ in kept] == ["10:02:00", "10:05:00"]
    words = ["clock time", "no time of day", "not later", "says nothing", "could be", "no date", "after end"]
    assert [line for line, _ in rejects] == [3, 4, 5, 6, 7, 8, 10]
    assert all(word in reason for word, (_, reason) in zip(words, rejects, strict=True))


@pytest.mark.parametrize("line", ["pump on 880 W", "880 W pump", "pump at 2.5 kW now", "now 12 A"])
def test_an_amount_among_words_is_no_remark(tmp_path, line):
    """Its reading would be lost without a word; words with other numbers stay remarks."""
    text = f"2026-06-13\n10:00 900 W\n10:02 {line}\n10:03 pump 2, 3 a.m. shift, 12 V lamp\n10:05 end\n"
    found = notes(tmp_path, text)
    _, rejects = rows(found)
    assert [number for number, _ in rejects] == [3]
    assert "holds an amount and words" in rejects[0][1]
    assert [text for _, text in found.markers] == ["pump 2, 3 a.m. shift, 12 V lamp"]


def test_an_hour_that_never_was_is_rejected(tmp_path):
    """London's clocks went from 1:00 to 2:00 on 29 March 2026."""
    _, rejects = rows(notes(tmp_path, "2026-03-29\n00:59 900 W\n01:30 800 W\n02:01 off\n", zone="Europe/London"))
    assert [line for line, _ in rejects] == [3]


def test_without_a_day_the_notes_are_refused(tmp_path):
    """The sentence says both ways out."""
    with pytest.raises(InputError, match=r"line such as 2026-06-13 at the top, or add --start"):
        notes(tmp_path, "10:02 900 W\n")
    with pytest.raises(InputError, match="give the day alone"):
        notes(tmp_path, "10:02 900 W\n", datetime.fromisoformat("2026-06-13T09:00+01:00"))


def test_notes_that_do_not_end_say_so(tmp_path):
    """The last reading stands for no time."""
    assert "without off or end" in notes(tmp_path, "2026-06-13\n10:02 900 W\n").layouts[0].remarks[0]


def test_notes_are_converted_like_any_export(tmp_path):
    """The log holds the readings, held; its charge is that of the display."""
    found = notes(tmp_path, NOTES.replace("900 W", "75 A 12 V"))
    out = tmp_path / "notes.parquet"
    done = convert(
        found,
        out,
        LogMeta(sampling=found.sampling, markers=found.markers),
        reverse_sign=False,
        allow_rejects=False,
        gap_limit_s=None,
    )
    assert (done.meta.rows_read, done.meta.rows_rejected) == (3, 0)
    log = open_log(out)
    fold = ChargeFold(HowRead("dc", "held", 10.0), set(log.quantities))
    for part in log.scan():
        fold.add(Chunk(part.time_us, part.quantities))
    # 75 A for 30 s, then 74.5 A for 600.5 s
    assert fold.result().charge.drawn == pytest.approx((75 * 30 + 74.5 * 600.5) / 3600)
    assert log.meta.markers == [(DAY_US + 605 * MINUTE_US, "visitors at the gate")]


def test_the_profile_comes_with_shuntbook():
    """It says that a reading stands until the next."""
    assert load_profile("hand").sampling == "held"
