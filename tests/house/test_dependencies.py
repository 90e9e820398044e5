"""The table of what is needed to run is that of what is installed and pinned."""

from dependencies import ROOT, needed, pinned, rows


def test_the_table_is_true():
    """``python tests/dependencies.py`` prints it again."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "\n".join(rows()) in text


def test_whatever_is_needed_is_pinned():
    """Also what is needed by what is needed."""
    assert needed().keys() <= pinned().keys()
    assert {"numpy", "pyarrow", "python-dateutil", "weasyprint", "pydyf", "distributed"} <= needed().keys()
