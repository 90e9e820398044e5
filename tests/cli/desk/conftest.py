"""A desk that the tests of a module share, since its start is dear, and who sits at it."""

import os
import signal
from contextlib import closing, suppress

import pytest
from desks import SharedDesk

from shuntbook.cli.capture.running import running_captures


@pytest.fixture(scope="module")
def seat(tmp_path_factory):
    """A desk for all tests of a module."""
    with closing(SharedDesk(tmp_path_factory.mktemp("desk"))) as seat:
        yield seat


@pytest.fixture
def client(seat):
    """Someone at a desk over an empty folder; no capture that they began is left running."""
    client = seat.client()
    client.processes = set()
    yield client
    client.processes |= {capture.state.process for capture in running_captures(client.folder)}
    for process in client.processes:
        with suppress(ProcessLookupError):
            os.kill(process, signal.SIGKILL)
