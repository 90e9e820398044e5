"""What is reckoned is held against what others print: enough of it, in each subject, and each says whose it is."""

import pytest
from worked_examples import KNOWN, examples

#: How many examples of published figures there are at least, by their files.
SUBJECTS = {
    "what_if/": 18,
    "test_cable_choice.py test_conductor.py": 14,
    "test_wear.py test_falls.py": 7,
    "test_battery_kinds.py test_bank_voltage.py": 11,
    "test_water.py": 5,
    "test_lesson.py": 13,
}


@pytest.fixture(scope="module")
def listed():
    """The marked tests."""
    return examples()


def test_each_example_says_whose_figures_it_is_held_against(listed):
    """And whether they were read, remembered, or are arithmetic."""
    assert [each for each in listed if not each.sources] == []
    wrong = [(each.name, text) for each in listed for text in each.sources if not text.endswith(KNOWN)]
    assert wrong == []


def test_there_are_enough_of_published_figures(listed):
    """Forty in all, and some of every subject."""
    published = [each for each in listed if each.published]
    assert len(published) >= 40
    for subject, least in SUBJECTS.items():
        assert sum(any(name in each.file for name in subject.split()) for each in published) >= least, subject
