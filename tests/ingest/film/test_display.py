"""What a display profile may say, and what values digits become by it."""

import pytest
from places import SAMPLES

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.film.display import load_display
from shuntbook.ingest.film.figures import NoFigureError, figure_of

FIELD = """[[fields]]
unit = "A"
corners = [[10, 10], [90, 12], [90, 40], [10, 40]]
digits = 4
decimals = 1
"""
IN_TURN = """[[fields]]
corners = [[10, 10], [90, 12], [90, 40], [10, 40]]
digits = 4
in_turn = [{ unit = "mA", decimals = 0, between = [0, 900] }, { unit = "V", decimals = 0, between = [10, 60] }]
"""
LETTERS = FIELD.replace('unit = "A"\n', "").replace(
    "decimals = 1", 'in_turn = [{ unit = "A", decimals = 1, letter = "A" }, { unit = "V", decimals = 1, letter = "U" }]'
)


def field_of(tmp_path, text=FIELD):
    """Return the first field of a profile."""
    path = tmp_path / "display.toml"
    path.write_text(text, encoding="utf-8")
    return load_display(path).fields[0]


def test_the_sample_is_a_profile():
    """Whoever copies it begins with one that holds."""
    display = load_display(SAMPLES / "display.toml")
    assert display.quantities == ("current_A", "voltage_V")
    assert display.fields[0].box().digits == 4


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[90, 12], [90, 40]", "[90, 40], [90, 12]", "clockwise"),
        ("[[10, 10], [90, 12], [90, 40], [10, 40]]", "[[90, 12], [90, 40], [10, 40], [10, 10]]", "top left"),
        ('unit = "A"', 'unit = "furlong"', "furlong"),
        ('unit = "A"', "", "unit"),
        ("digits = 4", "digits = 1", "behind the point"),
        ("digits = 4", "digits = 40", "digits"),
        ("digits = 4", "digitz = 4", "digitz"),
        ("corners = [[10, 10], [90, 12], [90, 40], [10, 40]]", "corners = [10, 10, 90, 40]", "four corners"),
        (", [10, 40]]", "]", "four corners"),
        ("[[10, 10]", '[["a", 10]', "four corners"),
        ("decimals = 1", 'decimals = "auto"', "how many digits stand behind the point"),
        ("decimals = 1", "decimals = -1", "how many digits stand behind the point"),
    ],
)
def test_a_mistake_is_told_with_its_line(tmp_path, old, new, told):
    """In a sentence, with the file."""
    with pytest.raises(InputError, match=told) as caught:
        field_of(tmp_path, FIELD.replace(old, new))
    assert "display.toml:" in str(caught.value)


def test_two_boxes_round_one_display_are_refused(tmp_path):
    """Each would be read, as amps and as volts; boxes that touch by a slip of the hand are none."""
    second = FIELD.replace('"A"', '"V"')
    with pytest.raises(InputError, match=r"fields\[1\] and fields\[2\] have corners round the same place"):
        field_of(tmp_path, FIELD + second.replace("[10, 10]", "[30, 10]"))
    field_of(
        tmp_path,
        FIELD + second.replace("[[10, 10], [90, 12], [90, 40], [10, 40]]", "[[10, 39], [90, 37], [90, 70], [10, 70]]"),
    )


@pytest.mark.parametrize(("from_x", "is_refused"), [(70, True), (80, False)])
def test_boxes_may_share_a_quarter(tmp_path, from_x, is_refused):
    """100 pixels wide each: 30 of them are one display's, 20 a slip of the hand."""
    first, second = (
        FIELD.replace(
            "[[10, 10], [90, 12], [90, 40], [10, 40]]", f"[[{x}, 0], [{x + 100}, 0], [{x + 100}, 9], [{x}, 9]]"
        )
        for x in (0, from_x)
    )
    text = first + second.replace('"A"', '"V"')
    if not is_refused:
        assert field_of(tmp_path, text).digits == 4
        return
    with pytest.raises(InputError, match="round the same place"):
        field_of(tmp_path, text)


def test_a_unit_that_there_is_not_is_told_at_its_line(tmp_path):
    """Of a display, and of what is shown in turn."""
    for text, line in ((FIELD.replace('"A"', '"furlong"'), 2), (IN_TURN.replace('"mA"', '"furlong"'), 4)):
        with pytest.raises(InputError, match=rf"display\.toml:{line}: .*furlong"):
            field_of(tmp_path, text)


def test_two_displays_of_one_quantity_are_refused(tmp_path):
    """Whatever their units; both are named."""
    second = FIELD.replace('"A"', '"mA"').replace(" 10]", " 110]").replace(" 12]", " 112]").replace(" 40]", " 140]")
    with pytest.raises(InputError, match=r"fields\[1\] and fields\[2\] show current_A twice"):
        field_of(tmp_path, FIELD + second)


def test_ranges_that_meet_are_refused(tmp_path):
    """Nobody could tell which of the two a value is."""
    with pytest.raises(InputError, match="in common"):
        field_of(tmp_path, IN_TURN.replace('"mA"', '"A"').replace("[0, 900]", "[0, 12]"))


@pytest.mark.parametrize(
    ("glyphs", "point", "value"),
    [("1234", -1, 123.4), ("  05", -1, 0.5), (" 250", 2, 25.0), (" 888", 2, 88.8)],
)
def test_digits_become_a_value(tmp_path, glyphs, point, value):
    """A fixed number of them stands behind the point, whether that is seen or not."""
    assert figure_of(field_of(tmp_path), glyphs, point).value == pytest.approx(value)


@pytest.mark.parametrize(
    ("glyphs", "told"),
    [
        ("12 4", "dark place"),
        ("123 ", "dark place"),
        ("-123", "minus"),
        ("   5", "before its decimal"),
        ("1-23", "stroke"),
        ("8888", "all segments lit"),
    ],
)
def test_what_has_not_the_form_of_a_figure_is_none(tmp_path, glyphs, told):
    """A dark digit between others, a stroke, a minus that nobody expects."""
    with pytest.raises(NoFigureError, match=told):
        figure_of(field_of(tmp_path), glyphs, -1)


def test_a_point_that_stands_elsewhere_is_doubted(tmp_path):
    """The profile may be wrong, or the display has another range."""
    with pytest.raises(NoFigureError, match=r"after digit 4; by the profile it is after digit 3"):
        figure_of(field_of(tmp_path), " 250", 3)


def test_a_minus_that_is_expected_turns_the_sign(tmp_path):
    """A nought stays one."""
    field = field_of(tmp_path, FIELD + "signed = true\n")
    assert figure_of(field, " -75", -1).value == -7.5
    assert str(figure_of(field, " -00", -1).value) == "0.0"


def test_a_point_that_is_seen_decides(tmp_path):
    """Where it is not seen, or stands before the digits, there is no value."""
    field = field_of(tmp_path, FIELD.replace("decimals = 1", 'decimals = "seen"'))
    assert figure_of(field, "1234", 1).value == pytest.approx(12.34)
    assert figure_of(field, "1234", 2).value == pytest.approx(123.4)
    for glyphs, point in (("1234", -1), ("1234", None), ("  34", 0)):
        with pytest.raises(NoFigureError, match="point"):
            figure_of(field, glyphs, point)


@pytest.mark.parametrize(("text", "told"), [("12", None), ("500", "current_A"), ("25", "voltage_V")])
def test_what_is_shown_in_turn_is_told_by_its_range(tmp_path, text, told):
    """A value that could be either is neither."""
    apart = IN_TURN.replace('"mA"', '"A"').replace("[0, 900]", "[100, 900]")
    field = field_of(tmp_path, apart)
    if told is None:
        with pytest.raises(NoFigureError, match="ranges"):
            figure_of(field, "   5", -1)
    else:
        assert figure_of(field, text.rjust(4), -1).quantity == told


def test_what_is_shown_in_turn_is_told_by_its_letter(tmp_path):
    """The letter stands in the last place, and nowhere else."""
    field = field_of(tmp_path, LETTERS)
    assert figure_of(field, "745A", -1) == figure_of(field, "745A", 1)
    assert figure_of(field, "251U", -1).quantity == "voltage_V"
    for glyphs in ("7451", "7A5A"):
        with pytest.raises(NoFigureError, match="letter"):
            figure_of(field, glyphs, -1)
