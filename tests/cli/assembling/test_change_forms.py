"""Changes as a form offers them are those that a line takes, all of them."""

import pytest

from shuntbook.cli.assembling.change_forms import CHANGE_FORMS, chosen_changes
from shuntbook.cli.assembling.changes_asked import FORMS, change_of

ALL = [form for _, forms in CHANGE_FORMS for form in forms]


def test_each_change_that_a_line_takes_can_be_chosen():
    """And no other; none under two keys."""
    assert {form.kind for form in ALL} == set(FORMS)
    assert len({form.key for form in ALL}) == len(ALL)


@pytest.mark.parametrize("form", ALL, ids=lambda form: form.key)
def test_what_a_form_names_as_an_example_is_understood(form):
    """Each of its figures, by itself."""
    figures = form.examples.replace(", or ", " or ").replace("500 L, 130 gal", "500 L or 130 gal").split(" or ")
    for figure in figures:
        (row,) = chosen_changes([(form.key, figure)])
        assert (row.wrong_choice, row.wrong_figure) == ("", "")
        assert change_of(row.text).text == row.text


@pytest.mark.parametrize(
    ("key", "figure", "text"),
    [
        ("use", "500 L", "use 500 L a day"),
        ("use", " 500  L a day", "use 500 L a day"),
        ("strings", "3", "bank 3 strings"),
        ("strings", "3 strings", "bank 3 strings"),
        ("bank_for", "3", "bank for 3 days"),
        ("bank_for", "1 day", "bank for 1 day"),
        ("pressures", "40 to 60 psi", "pressures 40 to 60 psi"),
        ("cable_for", "", "cable"),
        ("cable_for", "2 %", "cable 2 %"),
        ("drive", "", "drive"),
    ],
)
def test_a_figure_becomes_the_line(key, figure, text):
    """As short or as long as it was typed."""
    assert [row.text for row in chosen_changes([(key, figure)])] == [text]


def test_rows_that_are_empty_are_none():
    """Whoever chooses nothing asks for nothing."""
    assert chosen_changes([("", ""), ("tank", "300 L"), ("", "")]) == chosen_changes([("tank", "300 L")])
