"""Logs read by the workers of a Dask cluster.

`distributed` is imported here alone; it comes with the extra ``fleet``. It has no types of its own.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any, Final

from ... import __version__
from ...ingest.errors import InputError
from ..exit import PortFailedError
from .one_log import Done, Task, not_read, read_logs
from .pool import LOST

#: A list of logs is a task: one by one, telling the scheduler of each costs more. From trials on two cores. [1]
LOGS_A_TASK: Final = 50
#: So many lists each worker should get at least, so that none waits long for the last. [1]
_TASKS_A_WORKER: Final = 4
#: How long a scheduler may take to answer, and after that its first worker to be there. [s]
_PATIENCE_S: Final = 10
_WORKER_PATIENCE_S: Final = 10
#: So often a connection is tried whose greeting the library does not understand. [1]
_GREETINGS: Final = 3


def on_cluster(tasks: Sequence[Task], address: str) -> Iterator[Done]:
    """Read logs on the workers of a scheduler (such as ``tcp://192.0.2.7:8786``), and yield each as it is done.

    A worker that is lost has its logs read by another. Where a list of logs ends worker after worker, its logs are read
    last, one by one; one that still does is told as lost. Every worker must see the logs, and their site files, in the
    same places.

    Raises
    ------
    InputError
        If `distributed` is missing, the address is none, or the workers have another version of this package.
    PortFailedError
        If the scheduler cannot be reached, has no workers, or goes away.
    """
    dask = _library()
    with _client(dask, address) as client:
        workers = _ready_workers(client, address)
        size = max(1, min(LOGS_A_TASK, len(tasks) // (_TASKS_A_WORKER * workers)))
        parts = {_send(client, tasks[k : k + size]): tasks[k : k + size] for k in range(0, len(tasks), size)}
        suspects: list[Task] = []
        try:
            for future in dask.as_completed(list(parts), loop=client.loop):
                part = parts.pop(future)
                try:
                    yield from future.result()
                except dask.KilledWorker:
                    # One of the fifty ended its workers, and which is not known: all are read once more at the end,
                    # when nobody else's work is lost with it.
                    suspects += part
            for task in suspects:
                yield from _alone(dask, client, task)
        except (dask.CancelledError, OSError):
            raise _gone(address) from None


def _alone(dask: Any, client: Any, task: Task) -> list[Done]:  # noqa: ANN401 - the library's own
    """Read a log while nothing else is read, so that a worker that ends then ended by it."""
    try:
        done: list[Done] = _send(client, [task]).result()
    except dask.KilledWorker:
        return [Done(not_read(task, LOST), 0.0)]
    return done


def _send(client: Any, tasks: Sequence[Task]) -> Any:  # noqa: ANN401 - the library's own
    # Not pure: asked again after a file changed, the cluster must not answer from memory.
    return client.submit(read_logs, list(tasks), pure=False)


def _library() -> Any:  # noqa: ANN401 - a module without types
    try:
        return import_module("distributed")
    except ModuleNotFoundError:
        raise InputError("--scheduler needs the extra 'fleet': pip install 'shuntbook[fleet]'") from None


@contextmanager
def _client(dask: Any, address: str) -> Iterator[Any]:  # noqa: ANN401 - the library's own
    """Give a connection to a scheduler; what the library has to say of it is said by us."""
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        client = _connected(dask, address)
    except ValueError as error:
        raise InputError(f"--scheduler: {address!r} is no address ({error}); write it like tcp://host:8786") from None
    except OSError:
        raise PortFailedError(
            f"--scheduler: nothing answers at {address} within {_PATIENCE_S} s; is the scheduler running there?"
        ) from None
    with client:
        yield client


def _connected(dask: Any, address: str) -> Any:  # noqa: ANN401 - the library's own
    # A greeting that comes together with what follows it, as on a busy machine, is none to the library: once more.
    for _ in range(_GREETINGS - 1):
        with suppress(AssertionError):
            return dask.Client(address, timeout=_PATIENCE_S, set_as_default=False)
    return dask.Client(address, timeout=_PATIENCE_S, set_as_default=False)


def _ready_workers(client: Any, address: str) -> int:  # noqa: ANN401 - the library's own
    """Return how many workers there are; all must have this version of the package."""
    try:
        client.wait_for_workers(1, timeout=_WORKER_PATIENCE_S)
    except TimeoutError:
        raise PortFailedError(
            f"--scheduler: {address} has no worker; start some with 'dask worker {address}'"
        ) from None
    try:
        by_worker = client.run(_version)
    except ModuleNotFoundError:
        by_worker = {address: "none"}
    # Another version may find other runs: a ranking of both would rank versions.
    versions = set(by_worker.values())
    if versions != {__version__}:
        raise InputError(
            f"--scheduler: the workers of {address} have shuntbook {', '.join(sorted(versions))}, not {__version__}; "
            "install the same there"
        )
    return len(by_worker)


def _version() -> str:
    return __version__


def _gone(address: str) -> PortFailedError:
    return PortFailedError(
        f"--scheduler: {address} went away; the logs that were finished are kept, so run the same command again"
    )
