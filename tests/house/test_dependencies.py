"""What is needed to run is pinned, and may be used and handed on."""

from dependencies import licence, needed, pinned, rows

#: Licences that ask for no more than to be named, or leave other files as they are; from memory of their texts.
FREE = ("MIT", "BSD", "Apache-2.0", "PSF-2.0", "Python Software Foundation", "Mozilla Public License")


def test_whatever_is_needed_is_pinned():
    """Also what is needed by what is needed."""
    assert needed().keys() <= pinned().keys()
    assert {"numpy", "pyarrow", "python-dateutil", "weasyprint", "pydyf", "distributed"} <= needed().keys()


def test_whatever_is_needed_has_a_licence_that_lets_it_be_used():
    """As each package says of itself; ``python tests/tools dependencies`` prints them."""
    licences = {name: licence(name) for name in needed()}
    assert {name: text for name, text in licences.items() if not any(free in text for free in FREE)} == {}


def test_a_row_each_is_printed():
    """With name, version, licence, and the extra that alone needs it."""
    table = [line.strip("| ").split(" | ") for line in rows()[2:]]
    assert [row[0] for row in table] == sorted(needed())
    assert all(row[1] == pinned()[row[0]] for row in table)
    extras = {row[0]: row[3].removesuffix(" |") for row in table if len(row) > 3}
    assert (extras["weasyprint"], extras["distributed"]) == ("extra pdf", "extra fleet")
    assert "numpy" not in extras
