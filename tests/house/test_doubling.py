"""The law of what a command costs: linear, times a logarithm, in all that a file can hold. The short form, counted."""

import pytest
from doubling import KINDS, counted, doubled, is_worse_than_linear

#: What once grew with the square, or cost megabytes each; the tool measures all of it.
CASES = [("days", "report --json"), ("notes", "charge"), ("notes", "report --json"), ("metadata", "look")]


@pytest.mark.parametrize(("kind", "command"), CASES)
def test_twice_as_much_costs_twice_as_much(kind, command):
    """In calls of the interpreter and in bytes asked for, which are the same on any machine."""
    costs = doubled(kind, command, KINDS[kind].few, counted)
    for figures in zip(*costs, strict=True):
        assert not is_worse_than_linear(figures), costs


def test_squares_are_seen_and_logarithms_are_not():
    """Beside a large constant, too."""
    assert is_worse_than_linear((100 + 1, 100 + 4 * 100, 100 + 16 * 100))
    assert not is_worse_than_linear((1010.0, 1021.0, 1043.0))
    assert not is_worse_than_linear((10 * 1.0, 20 * 1.1, 40 * 1.2))
    assert not is_worse_than_linear((50.0, 51.0, 53.0))
