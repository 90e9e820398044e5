"""The law of what a command costs: linear, times a logarithm, in all that a file can hold. The short form, counted."""

import pytest
from doubling import KINDS, Cost, OneMore, counted, doubled, is_worse_than_linear, table, words

from shuntbook.cli.main import COMMANDS

#: What once grew with the square, or cost megabytes each, and from which size; the tool measures all of it.
DEAR = [("days", "report --json"), ("notes", "report --json"), ("notes", "charge")]
CASES = [
    ("days", "report --json", 5),
    *(pytest.param(kind, command, KINDS[kind].few, marks=pytest.mark.night) for kind, command in DEAR),
    ("metadata", "look", KINDS["metadata"].few),
]


@pytest.mark.parametrize(("kind", "command", "few"), CASES)
def test_twice_as_much_costs_twice_as_much(kind, command, few):
    """In calls of the interpreter and in bytes asked for, which are the same on any machine."""
    costs = doubled(kind, [command], few, counted)[command]
    for figures in zip(*costs, strict=True):
        assert not is_worse_than_linear(figures), costs


def test_squares_are_seen_and_logarithms_are_not():
    """Beside a large constant, too."""
    assert is_worse_than_linear((100 + 1, 100 + 4 * 100, 100 + 16 * 100))
    assert not is_worse_than_linear((1010.0, 1021.0, 1043.0))
    assert not is_worse_than_linear((10 * 1.0, 20 * 1.1, 40 * 1.2))
    assert not is_worse_than_linear((50.0, 51.0, 53.0))


def test_what_is_less_than_noise_is_none_and_what_is_more_is_seen():
    """Of times on a busy machine."""
    assert not is_worse_than_linear((0.5, 0.5, 0.7), noise=0.3)
    assert is_worse_than_linear((0.5, 0.6, 1.2), noise=0.3)


def test_every_command_that_reads_files_is_measured():
    """But those that invent what they read, or wait for a device or a person."""
    measured = {argv[0] for kind in KINDS.values() for argv in kind.commands.values()}
    assert measured == COMMANDS.keys() - {"demo", "capture", "ports", "probe", "desk", "new-site"}


def test_no_place_is_left_open_in_a_command_and_nothing_of_the_one_before_stays(tmp_path):
    """A result in the way would stop a command; what a fleet keeps would spare it the work."""
    (tmp_path / "new.rows").touch()
    for kind in KINDS.values():
        for argv in kind.commands.values():
            assert not any("{" in part for part in words(argv, [tmp_path / "a", tmp_path / "b"]))
    assert list(tmp_path.iterdir()) == []


def test_the_table_says_what_one_more_costs():
    """From one to four times the size are three sizes more."""
    costs = [Cost(1.0, 100.0), Cost(2.0, 200.0), Cost(4.0, 400.0)]
    notes, readings = (OneMore.of(kind, "charge", 1000, costs) for kind in ("notes", "readings"))
    assert list(table([notes, readings])) == [
        "| one more, ms / kB | `charge` |",
        "| --- | --- |",
        "| notes | 1.0 / 100 |",
        "| 1,000 readings | 1,000 / 100,000 |",
    ]
