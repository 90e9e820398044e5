"""Rows left out for one and the same reason stop a conversion however few they are; scattered damage does not."""

import pytest
from exporting import convert

from shuntbook.ingest.exports.one_kind import RejectKinds
from shuntbook.ingest.safe_files.rejects import Reject

ALLOWED = ("--zone", "UTC", "--allow-rejects")


def text(cells, name="Current (A)"):
    """A file of a reading a second, with these cells at every fiftieth row."""
    odd = dict(zip(range(49, 2000, 50), cells, strict=False))
    rows = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{odd.get(k, f'{1 + k % 9}.5')}" for k in range(1000)]
    return "\n".join([f"Time,{name}", *rows, ""])


@pytest.mark.parametrize("cells", [["?5.2", "?12.3", "?4.5"], ["1.62 CR", "3.25 CR", "10.1 CR"], ["1.2.5"] * 4])
def test_cells_of_one_form_stop_it(tmp_path, cells):
    """All that is charged, all surges, may be written so; the sentence names the first, and the option."""
    done = convert(tmp_path, text(cells))
    assert done.status == 2
    assert f"{len(cells)} of 1000 rows could not be read for one and the same reason" in done.error
    assert f"line 51: column 'Current (A)': found '{cells[0]}'" in done.error
    assert "--allow-rejects" in done.error
    assert done.reject_lines == [51 + 50 * k for k in range(len(cells))]
    assert len(convert(tmp_path, text(cells), options=ALLOWED).time_us) == 1000 - len(cells)


def test_one_number_grouped_in_a_way_that_is_not_known_stops_it(tmp_path):
    """As lakhs are written: it may be the only surge; two marks by chance are damage."""
    done = convert(tmp_path, text(['"1,69,190"'], "Current (mA)"))
    assert "1 of 1000 rows could not be read for one and the same reason" in done.error
    assert len(convert(tmp_path, text(['"1,6,1"'], "Current (mA)")).time_us) == 999


@pytest.mark.parametrize(
    "cells",
    [
        ["?5.2", "?12.3"],
        ["OL"] * 8,
        ["#", "*", "~"],
        ["1.2.5", "1-5", "1.5x", "?1.5", "5\x7f2", "1.2.7", "1.2.8", "7;5", "1 .5"],
    ],
)
def test_scattered_damage_does_not(tmp_path, cells):
    """Two alike, words that say that there is none, or each its own."""
    done = convert(tmp_path, text(cells))
    assert len(done.reject_lines) == len(cells)
    assert len(done.time_us) == 1000 - len(cells)


def test_times_of_one_form_stop_it(tmp_path):
    """A month that no name is known of; torn ones do not."""
    rows = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},1.5" for k in range(600)]
    for k in (100, 200, 300):
        rows[k] = rows[k].replace("-06-", "-Cze-")
    done = convert(tmp_path, "\n".join(["Time,Current (A)", *rows, ""]))
    assert done.status == 2
    assert "found '2026-Cze-13 10:01:40'" in done.error
    torn = [row[9:] if k in (100, 200, 300) else row for k, row in enumerate(rows)]
    assert len(convert(tmp_path, "\n".join(["Time,Current (A)", *torn, ""])).reject_lines) == 3


@pytest.mark.parametrize("word", ["OL", "OVER", "+OL", "1.#INF", "***", ">100"])
def test_what_is_above_the_range_stops_it_where_it_is_the_surges(tmp_path, word):
    """Beside the highest readings; the reason says what the word means. Scattered over all it is no more than that."""
    rows = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{[1.5, 40.5][k % 100 > 90]}" for k in range(1000)]
    cut = [row.replace("40.5", word) if k % 100 == 91 else row for k, row in enumerate(rows)]
    done = convert(tmp_path, "\n".join(["Time,Current (A)", *cut, ""]))
    assert done.status == 2
    assert f"'{word}' is above the meter's range, beside its highest readings" in done.error
    far = [row.replace("1.5", word) if k % 100 == 50 else row for k, row in enumerate(rows)]
    done = convert(tmp_path, "\n".join(["Time,Current (A)", *far, ""]))
    assert [reason for _, reason, _ in done.rejects] == [
        f"column 'Current (A)': '{word}' is above the meter's range"
    ] * 10


def most_of(*cells, expected="day/month/year"):
    """How many of these dates are told to be of one kind, where dates of one order are expected."""
    kinds = RejectKinds()
    kinds.add(
        Reject("a.csv", 2 + k, f"column 'Date': found '{cell}', expected dates as {expected}", "")
        for k, cell in enumerate(cells)
    )
    told = kinds.most()
    return told and told[0]


@pytest.mark.parametrize(
    ("cell", "expected", "count"),
    [
        ("05/13/2026", "day/month/year", 3),
        ("13/05/2026", "month/day/year", 3),
        ("12/31/2026", "day/month/year", 3),
        ("05/12/2026", "day/month/year", None),  # a date of either order
        ("13/13/2026", "day/month/year", None),  # of neither
        ("05/32/2026", "day/month/year", None),
        ("13/05/2026", "day/month/year", None),  # as expected: something else is wrong with it
    ],
)
def test_dates_of_the_other_order_are_one_kind(cell, expected, count):
    """Where the month would be beyond twelve, and the day not: another program's rows."""
    assert most_of(*[cell] * 3, expected=expected) == count
    assert most_of(*[cell] * 2, expected=expected) is None


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (range(2, 14), 12),
        (range(2, 13), None),
        (range(2, 14, 2), None),  # a blank line may stand between two
        (range(2, 15, 2), 13),
        (range(2, 100, 3), None),  # two such lines end it
    ],
)
def test_a_dozen_lines_of_another_width_are_a_kind(lines, told):
    """A column came or went: from the first of them on."""
    kinds = RejectKinds()
    kinds.add(Reject("a.csv", line, "has 3 fields, expected 2", "10:00:01,1.5,25.1") for line in lines)
    most = kinds.most()
    assert (most and (most[0], most[1].line)) == (told and (told, 2))
