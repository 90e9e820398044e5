"""What several files of tests start from."""

import pytest

from shuntbook.cli.main import run


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """A folder that the demo has written: the invented scenario's two logs, its site file and its page."""
    out = tmp_path_factory.mktemp("demo") / "demo"
    assert run(["demo", "--out", str(out)]) == 0
    return out
