"""Values that damage or a meter put among the readings, anywhere in a file; ordinary days go by without a word."""

import re

import numpy as np
import pytest
from exporting import convert, shuntbook

from shuntbook.ingest.exports.amounts.around import Around
from shuntbook.ingest.log.arrow import strings

HEADER = "Time,Current (A),Voltage (V)"
ROWS = 600


@pytest.fixture
def day():
    """Amps and volts of a 24 V bank: standing draw, a pump's runs with surges, sun at noon."""
    rng = np.random.default_rng(3)
    amps = 1.5 + rng.normal(0, 0.05, ROWS)
    for at in range(40, ROWS, 90):
        amps[at : at + 30] += 31.0
        amps[at] += 140.0
    amps[300:450] -= 12.0
    return amps, 25.2 - 0.018 * amps + rng.normal(0, 0.01, ROWS)


def rows_of(amps, volts, form="{:.2f}"):
    """Rows of cells, one a second."""
    return [
        [f"2026-06-13 {10 + k // 3600}:{k // 60 % 60:02d}:{k % 60:02d}", form.format(a), form.format(v)]
        for k, (a, v) in enumerate(zip(amps, volts, strict=True))
    ]


def text(rows, header=HEADER):
    """The file."""
    return "\n".join([header, *map(",".join, rows)]) + "\n"


def moved(done):
    """What must be known before relying on the log."""
    return done.log.meta.moved


def test_an_ordinary_day_goes_by(tmp_path, day):
    """Surges of five times the running draw, sun, a disconnected bank, a deep sag."""
    amps, volts = day
    amps[500:510], volts[500:510] = 0.0, 0.0
    volts[520] = 17.0
    done = convert(tmp_path, text(rows_of(amps, volts)))
    assert (len(done.time_us), done.rejects, moved(done)) == (ROWS, [], [])


@pytest.mark.parametrize("code", ["-999", "9999", "-32768", "6553.5", "-9999.0", "655.35"])
def test_a_number_that_stands_for_none_is_left_out_and_told(tmp_path, day, code):
    """Also beyond what a first look sees; charge tells it, too."""
    rows = rows_of(*day)
    for k in (101, 222, 410):
        rows[k][1] = code
    done = convert(tmp_path, text(rows))
    assert np.flatnonzero(np.isnan(done["current_A"])).tolist() == [101, 222, 410]
    assert moved(done) == [
        f"column 'Current (A)': {float(code):.10g} in 3 rows stands for no reading, since it is far from all others, "
        "and is left out"
    ]
    assert "LOOK: column 'Current (A)'" in shuntbook("charge", str(done.log_path))[1]


def test_several_numbers_that_stand_for_none(tmp_path, day):
    """Of a meter that has one for each fault, and one that is not beyond the draws but stands alone below zero."""
    amps, volts = day
    rows = rows_of(np.abs(amps) + 1, volts)
    for k, code in ((101, "-99.99"), (200, "9999"), (222, "-99.99"), (410, "-99.99"), (411, "6553.5"), (500, "-999.9")):
        rows[k][1] = code
    done = convert(tmp_path, text(rows))
    assert np.flatnonzero(np.isnan(done["current_A"])).tolist() == [101, 200, 222, 410, 411, 500]
    assert len(moved(done)) == 4


def test_a_number_that_others_come_near_is_a_reading(tmp_path):
    """Nines among watts of that size; a lone 999 W may be a start; a charger that holds -999 mA."""
    watts = [[f"2026-06-13 10:00:{k:02d}", str(w)] for k, w in enumerate([5, 2000, 999, 9999, 5000, 999] * 6)]
    assert moved(convert(tmp_path, text(watts, "Time,Power (W)"))) == []
    lone = [[f"2026-06-13 10:00:{k:02d}", "999" if k == 20 else str(100 + k)] for k in range(40)]
    assert moved(convert(tmp_path, text(lone, "Time,Power (W)"))) == []
    charger = [[f"2026-06-13 10:00:{k:02d}", "-999" if k > 20 else str(2000 + k)] for k in range(40)]
    assert moved(convert(tmp_path, text(charger, "Time,Current (mA)"))) == []


def test_a_number_that_stands_alone_on_its_side_of_zero(tmp_path):
    """-999 mA, again and again beside draws of amps, and nothing else below zero."""
    rows = rows_of(2000.0 + np.arange(120), np.full(120, 25.0), "{:.0f}")
    for row in rows[4::30]:
        row[1] = "-999"
    assert (
        "-999 in 4 rows stands for no reading"
        in moved(convert(tmp_path, text(rows, "Time,Current (mA),Voltage (V)")))[0]
    )


@pytest.mark.parametrize("cell", ["12.399999e3", "0.45e3", "4250", "31250.55"])
def test_a_reading_that_damage_blew_up_is_rejected(tmp_path, day, cell):
    """An exponent where no other has one, a mark that is lost, or far more than any other."""
    rows = rows_of(*day)
    rows[333][1] = cell
    done = convert(tmp_path, text(rows))
    assert done.reject_lines == [335]
    assert f"column 'Current (A)': found '{cell}'" in done.rejects[0][1]


@pytest.mark.parametrize("cell", ["900.50", "5", "1e-05"])
def test_a_surge_and_small_numbers_are_readings(tmp_path, day, cell):
    """One start may be all that draws so much, a program may leave out zeros, or write the smallest with exponents."""
    rows = rows_of(*day)
    rows[333][1] = cell
    assert convert(tmp_path, text(rows)).rejects == []


def test_exponents_of_all_large_numbers_are_a_way_of_writing(tmp_path):
    """Where none that is as large is plain."""
    cells = ["1.2E+06" if k in (20, 21) else f"{500_000 + k}" for k in range(60)]
    rows = [[f"2026-06-13 10:00:{k:02d}", cell] for k, cell in enumerate(cells)]
    assert convert(tmp_path, text(rows, "Time,Current (uA)")).rejects == []


@pytest.mark.parametrize(("first", "stop", "line"), [(200, 260, 202), (350, 600, 352), (0, 90, 92), (0, 500, 502)])
def test_amps_and_volts_that_change_places_stop_it(tmp_path, day, first, stop, line):
    """For a stretch, to the end or from the start; the line is where it turns."""
    rows = rows_of(*day)
    for row in rows[first:stop]:
        row[1:] = row[:0:-1]
    done = convert(tmp_path, text(rows))
    assert done.status == 2
    assert f"line {line}, columns 'Current (A)' and 'Voltage (V)': in " in done.error
    assert "change places here" in done.error


def test_single_rows_that_change_places_are_rejected(tmp_path, day):
    """With the reason."""
    rows = rows_of(*day)
    rows[100][1:] = rows[100][:0:-1]
    done = convert(tmp_path, text(rows))
    assert [(line, reason.endswith("changed places in this row")) for line, reason, _ in done.rejects] == [(102, True)]


def test_amps_and_volts_that_cross_within_what_both_could_be(tmp_path):
    """36.4 V where 36.4 A flowed, and 24.6 A where there were 24.6 V."""
    rows = rows_of(np.full(ROWS, 36.4), np.full(ROWS, 24.6))
    for row in rows[200:206]:
        row[1:] = row[:0:-1]
    assert "line 202, columns 'Current (A)' and 'Voltage (V)': here the" in convert(tmp_path, text(rows)).error


@pytest.mark.parametrize(("mark", "header"), [(".", HEADER), (",", HEADER.replace(",", ";"))])
def test_cells_that_lost_their_mark_are_rejected(tmp_path, day, mark, header):
    """Where all others have two decimals; as they may be no more than others are."""
    rows = rows_of(*day)
    for row in rows[10:200:20]:
        row[1] = row[1].replace(".", "")
    lines = [",".join(row) if mark == "." else ";".join(row).replace(".", ",") for row in rows]
    done = convert(tmp_path, "\n".join([header, *lines, ""]))
    assert done.reject_lines == list(range(12, 202, 20))
    assert "without the decimals that all others have" in done.rejects[0][1]


def test_whole_numbers_of_a_program_that_leaves_out_noughts(tmp_path):
    """7 A between 6.9 and 7.1 A are no cell that lost its mark."""
    rows = [[f"2026-06-13 10:{k // 60:02d}:{k % 60:02d}", f"{60 + k % 35 / 10:g}"] for k in range(600)]
    assert convert(tmp_path, text(rows, "Time,Current (A)")).rejects == []


@pytest.mark.parametrize("decimals", [0, 2])
def test_thousandths_from_some_row_on_stop_it(tmp_path, day, decimals):
    """In both columns, whether they are whole numbers then or not."""
    amps, volts = day
    form = f"{{:.{decimals}f}}"
    rows = rows_of(amps[:400], volts[:400]) + rows_of(1000 * amps, 1000 * volts, form)[400:]
    done = convert(tmp_path, text(rows))
    assert done.status == 2
    assert "line 402, column" in done.error
    assert "unit changes here" in done.error


def test_thousandths_of_one_column_stop_it(tmp_path, day):
    """Without volts to hold them against, whole numbers tell; from the start, too."""
    small, large = (f"{1.5 + k % 7 / 10:.2f}" for k in range(60)), (str(1500 + k % 70) for k in range(60))
    rows = [[f"2026-06-13 10:{k // 60:02d}:{k % 60:02d}", cell] for k, cell in enumerate([*small, *large])]
    assert "line 62, column 'Current (A)'" in convert(tmp_path, text(rows, "Time,Current (A)")).error
    turned = [[one[0], other[1]] for one, other in zip(rows, rows[::-1], strict=True)]
    assert "line 62, column 'Current (A)'" in convert(tmp_path, text(turned, "Time,Current (A)")).error


@pytest.mark.parametrize("stop", [210, 600])
def test_amperes_for_a_stretch_among_whole_milliamperes(tmp_path, day, stop):
    """As few rows as that are another unit, too."""
    amps, volts = day
    rows = rows_of(1000 * amps, volts, "{:.0f}")
    for k in range(200, stop):
        rows[k][1] = f"{amps[k]:.2f}"
    assert "line 202, column 'mA'" in convert(tmp_path, text(rows, "Time,mA,Voltage (mV)")).error


def test_steps_between_whole_numbers_are_no_other_unit(tmp_path):
    """A load that draws 20 A where 0.02 A flow at rest, and stands still."""
    amps = np.where(np.arange(ROWS) % 60 < 20, 20.0, 0.02)
    assert convert(tmp_path, text(rows_of(amps, 25.2 - 0.01 * amps))).rejects == []


def test_volts_that_take_the_place_of_amps_below_zero(tmp_path, day):
    """Most of what stands for volts is below zero then."""
    amps, volts = day
    rows = rows_of(amps - 40.0, volts)
    for row in rows[300:]:
        row[1:] = row[:0:-1]
    assert "line 302, columns" in convert(tmp_path, text(rows)).error


@pytest.mark.parametrize("off_V", [2.2, 0.4])
def test_an_inverter_that_is_off_for_long_has_not_changed_places(tmp_path, off_V):
    """What its output shows then may be as many volts as it has amps when it is on."""
    on = np.arange(ROWS) % 100 < 60
    done = convert(tmp_path, text(rows_of(np.where(on, 2.0, 0.0), np.where(on, 230.0, off_V))))
    assert (done.rejects, moved(done)) == ([], [])


def test_a_cell_that_is_emptied_has_not_changed_places(tmp_path):
    """3.5 A from a cell that falls from 4.1 to 1.9 V, and rest between."""
    volts = np.tile(np.concatenate([np.full(50, 3.9), np.linspace(4.1, 1.9, 150)]), 3)
    amps = np.tile(np.concatenate([np.zeros(50), np.full(150, 3.5)]), 3)
    done = convert(tmp_path, text(rows_of(amps, volts)))
    assert (done.rejects, moved(done)) == ([], [])


def test_a_sign_that_turns_half_way_is_told(tmp_path, day):
    """By convert, with about the lines, and by charge; one that stays is not."""
    amps, volts = day
    turned = np.where(np.arange(ROWS) < 300, amps, -amps)
    done = convert(tmp_path, text(rows_of(turned, volts)))
    assert "the sign of 'Current (A)' seems to turn" in moved(done)[0]
    first, last = (int(word) for word in re.findall(r"\d+", moved(done)[0])[:2])
    assert last - 100 < first < 302 <= last
    assert "LOOK: near lines" in shuntbook("charge", str(done.log_path))[1]
    assert moved(convert(tmp_path, text(rows_of(-amps, volts)), options=("--zone", "UTC", "--reverse-sign"))) == []


@pytest.mark.parametrize(("before", "told"), [(3, True), (2, False)])
def test_a_sign_that_turns_soon_is_told_by_few_steps(tmp_path, before, told):
    """Where all volts answer in one way before it and in the other behind it, and not just one start and stop."""
    amps = np.where(np.arange(ROWS) // 30 % 2, 40.0, 2.0)
    volts = 25.2 - 0.02 * amps
    turned = np.where(np.arange(ROWS) < 30 * before + 15, amps, -amps)
    # Most of it charges by the volts: whoever converts it is asked for the sign before.
    done = convert(tmp_path, text(rows_of(turned, volts)), options=("--zone", "UTC", "--reverse-sign"))
    assert any("seems to turn" in sentence for sentence in moved(done)) is told


def test_blocks_are_held_against_those_before(day):
    """Places that change where one block ends and the next begins; a reading far beyond those of the first."""
    amps, volts = day
    around = Around("a.csv", {"current_A": "I", "voltage_V": "U"})
    assert around.changed({"current_A": amps, "voltage_V": volts}, lambda k: k, 2) == {}
    with pytest.raises(Exception, match=r"a.csv, line 7, columns 'I' and 'U': in \d+ rows"):
        around.changed({"current_A": volts, "voltage_V": amps}, lambda k: k + 7, 602)
    cells = strings([f"{x:.2f}" for x in amps])
    assert around.damaged(amps, "current_A", cells) == {}
    later = amps.copy()
    later[::100] = 3e4
    assert around.damaged(later, "current_A", strings([f"{x:.2f}" for x in later])) == {}
    later[100:] = 1.5
    assert list(around.damaged(later, "current_A", strings([f"{x:.2f}" for x in later]))) == []
    fresh = Around("a.csv", {})
    assert fresh.damaged(amps, "current_A", cells) == {}
    assert list(fresh.damaged(later, "current_A", strings([f"{x:.2f}" for x in later]))) == [0]
