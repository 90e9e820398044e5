"""Which way a current flows: two columns, a column of words, or a name that says what is positive."""

from __future__ import annotations

import pytest
from exporting import convert

ROWS = 40


def converted(tmp_path, header, row, *options, count=ROWS):
    """Convert an export of seconds."""
    lines = [f"{1_780_000_000 + k},{','.join(str(x) for x in row(k))}" for k in range(count)]
    return convert(tmp_path, "\n".join([f"epoch,{header}", *lines, ""]), options=("--zone", "UTC", *options))


@pytest.mark.parametrize(
    "header",
    [
        "Amps In,Amps Out",
        "Charging A,Discharging A",
        "Charge current (A),Discharge current (A)",
        "Ladestrom (A),Entladestrom (A)",
        "Courant de charge (A),Courant de décharge (A)",
        "A in,A out",
    ],
)
def test_two_columns_of_one_way_each(tmp_path, header):
    """Out less in, in any order; both may flow at once."""
    done = converted(tmp_path, header, lambda k: (0.5, 20))
    assert done["current_A"].tolist() == [19.5] * ROWS
    turned = ",".join(reversed(header.split(",")))
    assert converted(tmp_path, turned, lambda k: (0, 3))["current_A"].tolist() == [-3.0] * ROWS


@pytest.mark.parametrize("header", ["+A,-A", "I+,I-", "Import (A),Export (A)", "Positive A,Negative A"])
def test_two_columns_of_opposite_words_are_asked_about(tmp_path, header):
    """Which of them draws only the person knows; a plainer column settles it, too."""
    done = converted(tmp_path, f"{header},Voltage (V)", lambda k: (0.5, 20, 25))
    into, out = header.split(",")
    assert done.status == 2
    assert f'quantities.current_A = {{column = "{out}", minus = "{into}"}}' in done.error
    assert converted(tmp_path, f"Current (A),{header}", lambda k: (7, 0.5, 20))["current_A"][0] == 7.0


def test_a_line_above_the_table_that_says_that_charging_is_positive_is_asked_about(tmp_path):
    """With its line; not where the person said so, or where it says what is taken anyway."""
    rows = "".join(f"{1_780_000_000 + k},5,25\n" for k in range(ROWS))
    for words, asks in (("positive = charging, negative = discharging", True), ("+ is discharging", False)):
        content = f"# a logger\n# Current: {words}\nepoch,Current (A),Voltage (V)\n{rows}"
        done = convert(tmp_path, content)
        assert (done.status == 2) == asks
        assert ("line 2, '# Current: positive = charging" in done.error) == asks
        assert convert(tmp_path, content, options=("--reverse-sign",))["current_A"][0] == -5.0


@pytest.mark.parametrize(
    ("header", "counts"),
    [
        ("Ah", lambda k: (abs(k % 20 - 10) / 10,)),
        ("Charged (Ah),Discharged (Ah)", lambda k: (k // 2 / 9, (k + 1) // 2)),
    ],
)
def test_counters_beside_amps_without_a_sign_are_asked_about(tmp_path, header, counts):
    """They rise and fall, or both rise, and the amps do not say so."""
    done = converted(tmp_path, f"Current (A),{header}", lambda k: (5, *counts(k)))
    assert done.status == 2
    assert "by what was counted it flowed both ways" in done.error


def test_counters_that_say_the_other_sign_are_asked_about(tmp_path):
    """What was charged counts up while the amps are positive; one of what was drawn does not ask."""
    done = converted(tmp_path, "Current (A),Charged (Ah)", lambda k: (5 if k < 30 else -2, min(k, 30) / 10))
    assert done.status == 2
    assert "--reverse-sign" in done.error
    right = converted(tmp_path, "Current (A),Discharged (Ah)", lambda k: (5 if k < 30 else -2, min(k, 30) / 10))
    assert right["current_A"][0] == 5.0


def test_two_columns_with_signs_of_their_own_are_asked_about(tmp_path):
    """Charging below nothing would be added to the draw."""
    done = converted(tmp_path, "Charging A,Discharging A", lambda k: (-5, 0))
    assert done.status == 2
    assert "below nothing" in done.error


@pytest.mark.parametrize(
    ("column", "draw", "back"),
    [
        ("Direction", "OUT", "IN"),
        ("Dir", "d", "c"),
        ("Mode", "discharging", "charging"),
        ("State", "CC_DChg", "CC_Chg"),
        ("Richtung", "Entladen", "Laden"),
        ("Sens", "décharge", "charge"),
        ("Estado", "Descarga", "Carga"),
        ("Remark", "Discharging", "Charging"),
    ],
)
def test_words_give_an_unsigned_current_its_sign(tmp_path, column, draw, back):
    """In three languages and any case, also where the other way first comes beyond the sample."""
    done = converted(tmp_path, f"Current (A),{column}", lambda k: (5, back if k % 2 else draw))
    assert done["current_A"].tolist() == [5.0, -5.0] * (ROWS // 2)
    late = converted(tmp_path, f"Current (A),{column}", lambda k: (5, back if k >= 19_000 else draw), count=19_001)
    assert late["current_A"][-2:].tolist() == [5.0, -5.0]


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("State", ("0", "1")),
        ("Direction", ("1", "1")),
        ("Sign", ("+", "-")),
        ("Mode", ("charging", "idle")),
        ("Mode", ("source", "sink")),
        ("Info", ("Import", "Export")),
        ("x", ("->", "<-")),
        ("Flag", ("1", "-1")),
        ("Charging", ("no", "yes")),
    ],
)
def test_words_that_are_not_known_are_asked_about(tmp_path, column, words):
    """Codes below such a name, and a word beside a current that says no way: never read as draw in silence."""
    done = converted(tmp_path, f"Current (A),{column}", lambda k: (5, words[k % 2]))
    assert done.status == 2
    assert f"column '{column}'" in done.error
    assert "direction = {column" in done.error


def test_words_of_which_nothing_is_known_are_asked_about_where_the_volts_go_with_them(tmp_path):
    """Two notes, and the volts rise with the amps beside one of them; beside a pump's on and off they do not."""

    def row(k):
        return 3 + k % 4, ("x", "y")[k % 2], 25 - 0.02 * (3 + k % 4) * (-1) ** k

    done = converted(tmp_path, "Current (A),Info,Voltage (V)", row)
    assert done.status == 2
    assert "column 'Info' ('x', 'y') may say which way" in done.error
    falls = converted(tmp_path, "Current (A),Info,Voltage (V)", lambda k: (*row(k)[:2], 25 - 0.02 * row(k)[0]))
    assert falls["current_A"].min() == 3.0


@pytest.mark.parametrize(("early", "late"), [("", "charging"), ("0", "1"), ("ok", "sinking")])
def test_words_that_come_late_are_asked_about(tmp_path, early, late):
    """With the line where they come."""
    done = converted(tmp_path, "Current (A),State", lambda k: (5, late if k >= 19_000 else early), count=19_001)
    assert done.status == 2
    assert "line 19002" in done.error


def test_words_that_come_late_beside_a_sign_that_counts_charging_are_asked_about(tmp_path):
    """Rest for as long as the beginning of a file reaches, then charging as positive: --reverse-sign settles it."""
    rows = [f"2026-06-13 {k // 3600 % 24:02d}:{k // 60 % 60:02d}:{k % 60:02d},0.0,25.1,Rest" for k in range(6000)]
    rows += [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{x},25.1,{word}" for k, x, word in _charged_and_drawn()]
    text = "Time,Current (A),Voltage (V),Step Type\n" + "\n".join(rows) + "\n"
    outcome = convert(tmp_path, text)
    assert "line 6002, column 'Step Type' says 'Charge' here" in outcome.error
    assert "--reverse-sign" in outcome.error
    turned = convert(tmp_path, text, options=("--zone", "UTC", "--reverse-sign"))
    assert turned["current_A"][-1] == 3.0
    plain = text.replace("Discharge", "X").replace("Charge", "Discharge").replace("X", "Charge")
    assert convert(tmp_path, plain)["current_A"][-1] == -3.0


def _charged_and_drawn():
    """Return seconds, amps and words: charging counted as positive."""
    return [(k, 2.0, "Charge") if k < 60 else (k, -3.0, "Discharge") for k in range(120)]


@pytest.mark.parametrize(
    ("column", "words"), [("Status", ("ok", "ok")), ("Pump", ("on", "off")), ("State", ("0", "0"))]
)
def test_words_that_say_no_way_are_no_question(tmp_path, column, words):
    """A relay, a word that stays."""
    done = converted(tmp_path, f"Current (A),{column}", lambda k: (5, words[k % 2]))
    assert done["current_A"].tolist() == [5.0] * ROWS


def test_words_beside_a_current_with_a_sign(tmp_path):
    """They bear its sign out, or say that return is positive."""
    ways = ("discharging", "charging")
    right = converted(tmp_path, "Current (A),Mode", lambda k: (5 - 10 * (k % 2), ways[k % 2]))
    assert right["current_A"][:2].tolist() == [5.0, -5.0]
    other = converted(tmp_path, "Current (A),Mode", lambda k: (10 * (k % 2) - 5, ways[k % 2]))
    assert other["current_A"][:2].tolist() == [5.0, -5.0]
    assert "its sign is turned" in other.said
    assert "does not go with" not in right.said + other.said
    mixed = converted(tmp_path, "Current (A),Mode", lambda k: (5 - 10 * (k % 2), ways[k // 2 % 2]))
    assert mixed["current_A"][:2].tolist() == [5.0, -5.0]
    assert "does not go with the sign of 'Current (A)', which is taken as it is" in mixed.said


@pytest.mark.parametrize(
    "name", ["Current (A, + = charging)", "Current (A) charging positive", "Strom (A; + Laden)", "Amps (- = out)"]
)
def test_a_name_that_says_that_charging_is_positive(tmp_path, name):
    """The sign is turned, once, whether the person says so as well or not."""
    for options in ((), ("--reverse-sign",)):
        done = converted(tmp_path, name, lambda k: (-5 if k % 2 else 3,), *options)
        assert done["current_A"][:2].tolist() == [-3.0, 5.0]
    out = converted(tmp_path, name.replace("+", "~").replace("-", "+").replace("~", "-"), lambda k: (5,))
    assert "positive" in name or out["current_A"][0] == 5.0


@pytest.mark.parametrize(
    "name", ["Charging current (A)", "Ladestrom (A)", "Charger current (A)", "Import (A)", "Current In (A)"]
)
def test_a_current_of_one_way_alone_is_asked_about(tmp_path, name):
    """It would be read as draw."""
    done = converted(tmp_path, name, lambda k: (5,))
    assert done.status == 2
    assert "--reverse-sign" in done.error
    assert 'sign = "draw_positive"' in done.error
    assert converted(tmp_path, name, lambda k: (5,), "--reverse-sign")["current_A"][0] == -5.0


@pytest.mark.parametrize("name", ["Current in A", "Strom in [A]", "Current out (A)"])
def test_a_current_in_its_unit_is_no_way(tmp_path, name):
    """The word before a unit says none, and out is draw."""
    assert converted(tmp_path, name, lambda k: (5,))["current_A"][0] == 5.0
