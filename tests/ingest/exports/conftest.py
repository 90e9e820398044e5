"""What the tests of exports share."""

import pytest

from shuntbook.cli import door


@pytest.fixture(autouse=True)
def wide_lines(monkeypatch):
    """Let each remark stand on one line: how lines are laid out is tested elsewhere, here it is what they say."""
    monkeypatch.setattr(door, "USUAL_WIDTH", 2000)
