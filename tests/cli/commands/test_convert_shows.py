"""What `convert` shows first: the readings as it took them, and what they amount to."""

from __future__ import annotations

import json
import re

import pytest
from exporting import convert, document, shuntbook
from telling import unwrapped

from shuntbook.ingest.errors import Choice
from shuntbook.ingest.exports.choices import Choices, options_of


def export(*, header="Time,Current (A),Voltage (V),Power (W)", rows=600, every_s=1, stamp="2026-06-13 {}"):
    """A pump that comes and goes, with sun in between: the bank's amps, volts and watts."""
    lines = [header]
    for k in range(rows):
        amps, at_s = (30.5 if k % 100 < 40 else -4.25), 36_000 + k * every_s
        clock = f"{at_s // 3600:02d}:{at_s // 60 % 60:02d}:{at_s % 60:02d}"
        lines.append(f"{stamp.format(clock)},{amps},{25.5 - amps / 100},{amps * (25.5 - amps / 100):.3f}")
    return "\n".join(lines) + "\n"


def test_first_of_all_the_readings_as_they_were_taken(tmp_path):
    """What was drawn and returned, the first and the last with instants, lowest and highest; then the rest."""
    done = convert(tmp_path, export(), options=("--zone", "Europe/London"))
    lines = done.said.splitlines()
    sums = "drawn 2.02 Ah, 51.0 Wh; returned 0.419 Ah, 10.7 Wh; over 9 min 59 s"
    assert lines[0] == f"by this sign {sums}"
    assert [line.split() for line in lines[1:6]] == [
        ["Europe/London", "A", "V", "W"],
        ["first", "13", "Jun", "2026", "10:00:00", "30.5", "25.195", "768.447"],
        ["last", "13", "Jun", "2026", "10:09:59", "−4.25", "25.5425", "−108.556"],
        ["lowest", "−4.25", "25.195", "−108.556"],
        ["highest", "30.5", "25.5425", "768.447"],
    ]
    assert "columns 'Time', 'Current (A)' in A, 'Voltage (V)' in V, 'Power (W)' in W" in unwrapped(done.said)
    # What was written is said last, also where its path takes more lines than one.
    assert [line.split()[0] for line in lines].index("wrote") <= 12
    assert lines[-1].strip().startswith(("wrote ", "shuntbook look "))
    # Two name the export and the log, which lie deep in a folder of the tests.
    assert max(len(line) for line in lines if str(tmp_path) not in line) <= 80


def test_a_sign_that_was_said_is_no_more_than_the_sums(tmp_path):
    """Whoever turned it knows it, and behind an inverter there is none."""
    for option in (("--reverse-sign",), ("--side", "ac")):
        done = convert(tmp_path, export(header="Time,Current (A),-,Power (W)"), options=("--zone", "UTC", *option))
        assert done.said.startswith("drawn "), done.error


@pytest.mark.parametrize("sampling", ["instant", "mean", "held"])
@pytest.mark.parametrize(
    "header", ["Time,Current (A),Voltage (V),Power (W)", "Time,Amps,Volts,Remark", "Time,-,-,Watts"]
)
def test_the_sums_are_those_of_charge(tmp_path, sampling, header):
    """To the last digit: what is shown first must not be contradicted by what is reckoned afterwards."""
    content = export(header=header).replace("10:03:2", "10:53:2")  # late rows, and gaps where they stood
    done = convert(tmp_path, content, options=("--zone", "UTC", "--sampling", sampling, "--json"))
    taken = json.loads(done.said)["as_taken"]
    charge = json.loads(shuntbook("charge", str(done.log_path), "--json")[1])
    for way in ("drawn", "returned"):
        for kind, unit in (("charge", "Ah"), ("energy", "Wh")):
            theirs = (charge[kind] or {}).get(f"{way}_{unit}")
            ours = taken[f"{way}_{unit}"]
            assert ours is theirs is None or ours == pytest.approx(theirs, rel=1e-9)
    assert taken["drawn_Ah"] is not None or taken["drawn_Wh"] is not None


def test_watts_that_charge_does_not_believe_are_not_summed_up(tmp_path):
    """Volts x amps take their place here, too."""
    content = "Time,Current (A),Voltage (V),Power (W)\n"
    content += "".join(f"2026-06-13 10:00:{k:02d},20.5,12.5,180\n" for k in range(60))
    done = convert(tmp_path, content, options=("--zone", "UTC", "--json"))
    assert json.loads(done.said)["as_taken"]["drawn_Wh"] == pytest.approx(20.5 * 12.5 * 59 / 3600)


def test_fractions_of_a_second_are_shown_where_there_are_any(tmp_path):
    """Five readings a second would all have the same time."""
    rows = "".join(f"2026-06-13 10:00:{k / 5:06.3f},{k}\n" for k in range(50))
    told_all = convert(tmp_path, f"Time,Amps\n{rows}", options=("--zone", "UTC", "--explain")).said
    shown = [line.split()[-2] for line in told_all.splitlines() if re.search(r"10:00:0\d\.\d+ +\d+$", line)]
    assert shown[:2] == ["10:00:00.000", "10:00:09.800"]
    assert shown[2:] == ["10:00:00.000", "10:00:00.200", "10:00:00.400", "10:00:09.800"]


def test_each_cell_by_its_own_unit_is_told_so(tmp_path):
    """The unit that most cells carry would be taken for that of all."""
    rows = "".join(f"2026-06-13 10:00:{k:02d},{f'{k}.5 A' if k % 3 else f'{k}12.5 mA'}\n" for k in range(60))
    assert "'Current' in the unit of each cell (A and others)" in convert(tmp_path, f"Time,Current\n{rows}").said


def test_an_undated_log_counts_from_its_start(tmp_path):
    """Its readings show the time since then."""
    lines = convert(
        tmp_path, "Elapsed (s),Amps\n" + "".join(f"{k},5\n" for k in range(90)), options=()
    ).said.splitlines()
    assert lines[1].split() == ["after", "the", "log's", "start", "A"]
    assert lines[3].split() == ["last", "+0:01:29", "5"]


def test_two_readings_alone_are_both_shown(tmp_path):
    """And a reading that the meter did not give is a hyphen."""
    lines = convert(tmp_path, "Time,Amps,Volts\n2026-06-13 10:00:00,5,\n2026-06-13 10:00:01,6,12\n").said.splitlines()
    assert [line.split()[-2:] for line in lines[2:4]] == [["5", "-"], ["6", "12"]]


def test_explain_tells_all(tmp_path):
    """How the file is written, every column, what is not used, the span."""
    content = export(header="Time,Current (A),Voltage (V),Remark")
    brief, whole = (convert(tmp_path, content, options=("--zone", "UTC", *more)).said for more in ((), ("--explain",)))
    for words in (
        "header on line 1",
        "time: 'Time'",
        "current_A: 'Current (A)' in A",
        "not used: 'Remark'",
        "  sign: ",
    ):
        assert words in whole
        assert words not in brief
    assert whole.splitlines()[:6] == brief.splitlines()[:6]
    assert "More with --explain" in brief and "More with" not in whole
    assert "from 13 Jun 2026 10:00:00 to 10:09:59 (UTC)" in whole


def test_json_has_the_same(tmp_path):
    """Under keys of its own."""
    taken = document(tmp_path, export())["as_taken"]
    assert [reading["time"] for reading in taken["first"]] == [f"2026-06-13T10:00:0{k}Z" for k in range(3)]
    assert taken["last"] == {
        "time": "2026-06-13T10:09:59Z",
        "current_A": -4.25,
        "voltage_V": 25.5425,
        "power_W": -108.556,
    }
    assert taken["lowest"]["current_A"] == -4.25
    assert taken["highest"]["power_W"] == 768.447


def test_what_only_later_rows_ask_comes_with_its_choices(tmp_path):
    """For another program: JSON holds what is asked, why and what settles it, the sentence stands beside it."""
    rows = export().splitlines()
    for k in range(400, 450):
        rows[k] = rows[k].replace("2026-06-13", "2026-Cze-13")
    content = "\n".join(rows)
    done = convert(tmp_path, content, options=("--zone", "UTC", "--json"))
    assert done.status == 2
    assert "add --allow-rejects to keep the rest" in done.error
    asked = json.loads(done.said)["question"]
    assert asked["what"] == "May the rows that cannot be read be left out?"
    assert asked["evidence"].startswith("50 of 600 rows (8 %) could not be read; the first: ")
    assert asked["choices"] == [{"label": "yes: leave those rows out", "sets": {"allow_rejects": True}, "unused": []}]
    settled = Choices(zone="UTC").with_choice(Choice("", asked["choices"][0]["sets"]))
    assert len(convert(tmp_path, content, options=options_of(settled)).time_us) == 550
