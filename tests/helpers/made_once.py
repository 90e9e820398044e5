"""What is dear to make and only read after that: one process of the tests makes it, and all of them have it."""

import os
import time

PATIENCE_S = 100.0


def made_once(factory, name, make):
    """Return a folder of that name which `make` has filled, now or in another process of this run.

    `factory` is pytest's own for temporary folders. Nobody who is handed the folder writes into it.
    """
    base = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:  # each process has its own folder in the one of the run
        base = base.parent
    whole, making, begun = base / name, base / f"{name}.making", base / f"{name}.begun"
    try:
        begun.mkdir()  # stays, so that nobody begins it again
    except FileExistsError:
        _wait_for(whole)
    else:
        making.mkdir()
        make(making)
        making.rename(whole)
    return whole


def _wait_for(whole):
    end = time.monotonic() + PATIENCE_S
    while not whole.exists():
        assert time.monotonic() < end, f"the process that began to make {whole.name} did not end it"
        time.sleep(0.1)
