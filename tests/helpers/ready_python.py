"""A Python that begins with the whole program loaded: a process of its own for a twentieth of what its start takes.

`ready_python` is called as Python is, with ``-c CODE WORDS``. A process that has everything loaded is forked, once a
request, with the asker's streams, folder and environment. What is asked stands for its fork: it hands on the signals
that can be heard, and ends as it ends; where it is killed the fork is. A capture tells its number as its own.

Not for tests of what is loaded when, of the start, of encodings, of threads or of groups of processes.
"""

import atexit
import gc
import io
import marshal
import os
import pkgutil
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from functools import cache
from importlib import import_module
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

#: What stands for a fork. It imports next to nothing, since that is what it is to spare.
_STAND_IN = """#!{python} -IS
import _signal, _socket, marshal, os, sys
if sys.argv[1] != "-c":  # Python itself is asked for, with flags of its own
    os.execv({python!r}, [{python!r}, *sys.argv[1:]])
HEARD = (_signal.SIGHUP, _signal.SIGINT, _signal.SIGTERM)
deaf = [n for n in HEARD if _signal.getsignal(n) == _signal.SIG_IGN]
_signal.pthread_sigmask(_signal.SIG_BLOCK, HEARD)  # until it is known whom they are handed on to
asked = marshal.dumps((sys.argv[2], sys.argv[3:], os.getcwd(), dict(os.environ), os.getpid(), list(map(int, deaf))))
wire = _socket.socket(_socket.AF_UNIX)
wire.connect({address!r})
streams = b"".join(n.to_bytes(4, sys.byteorder) for n in range(3))
wire.sendmsg([len(asked).to_bytes(8, "big")], [(_socket.SOL_SOCKET, _socket.SCM_RIGHTS, streams)])
wire.sendall(asked)
fork = int.from_bytes(wire.recv(8), "big")
def hand_on(number, _):
    try:
        os.kill(fork, number)
    except ProcessLookupError:
        pass
for number in set(HEARD) - set(deaf):
    _signal.signal(number, hand_on)
_signal.pthread_sigmask(_signal.SIG_UNBLOCK, HEARD)
status = int.from_bytes(wire.recv(8), "big", signed=True)
if status < 0:
    if -status in HEARD:
        _signal.signal(-status, _signal.SIG_DFL)
    os.kill(os.getpid(), -status)
os._exit(status)
"""


@cache
def ready_python() -> str:
    """Return what to call in place of ``sys.executable``; where processes cannot be forked it is that."""
    if sys.platform != "linux":
        return sys.executable
    folder = Path(tempfile.mkdtemp(prefix="ready-"))
    ours = folder / "python"
    ours.write_text(_STAND_IN.format(python=sys.executable, address=str(folder / "asked")), encoding="utf-8")
    ours.chmod(0o700)
    words = [sys.executable, __file__, str(folder)]
    # A fork would have none of the threads that Arrow and algebra begin.
    alone = os.environ | {"JE_ARROW_MALLOC_CONF": "background_thread:false", "OPENBLAS_NUM_THREADS": "1"}
    server = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True, env=alone)
    atexit.register(_end, server, folder)
    assert server.stdout is not None and server.stdout.readline() == b"ready\n"
    return str(ours)


def _end(server: subprocess.Popen[bytes], folder: Path) -> None:
    with server:
        server.communicate()  # it ends with its standard input
    shutil.rmtree(folder, ignore_errors=True)


def _load_all() -> None:
    """Import every module that a command may load."""
    for room in ("analysis", "ingest", "cli"):
        package = import_module(f"shuntbook.{room}")
        for each in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            with suppress(ImportError):  # of an extra that is not installed
                import_module(each.name)
    for heavy in ("matplotlib.figure", "pandas", "scipy.stats", "scipy.optimize", "tornado.web"):
        import_module(heavy)
    import_module("multiprocessing.spawn")  # keeps the executable that a command's own workers are begun by
    assert len([*Path("/proc/self/task").iterdir()]) == 1, "a fork would have none of the other threads"
    gc.freeze()  # what stays for ever is copied by no search for what does not


def _serve(folder: Path) -> tuple[str, list[str]]:
    """Fork for each who asks, until standard input ends; returns, in the fork, the code and its words."""
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(folder / "asked"))
        listening.listen(64)
        os.write(1, b"ready\n")
        while listening in select.select([listening, sys.stdin], [], [])[0]:
            wire, _ = listening.accept()
            if os.fork():
                wire.close()
                with suppress(ChildProcessError):
                    while os.waitpid(-1, os.WNOHANG)[0]:  # those that have watched their fork to its end
                        pass
                continue
            listening.close()
            return _forked(wire, folder / "python")
    sys.exit()


def _forked(wire: socket.socket, ours: Path) -> tuple[str, list[str]]:
    """Fork once more: one of the two runs what is asked, the other tells who asked of its end."""
    head, streams, *_ = socket.recv_fds(wire, 8, 3)
    size, parts = int.from_bytes(head, "big"), b""
    while len(parts) < size:
        parts += wire.recv(size - len(parts))
    code, words, folder, environment, stands_for, deaf = marshal.loads(parts)
    if fork := os.fork():
        for stream in (*streams, 0, 1):
            os.close(stream)
        os._exit(_watch(wire, fork))
    wire.close()
    for number, stream in enumerate(streams):
        os.dup2(stream, number)
        os.close(stream)
    for number in deaf:
        signal.signal(number, signal.SIG_IGN)
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    time.tzset()
    # A capture tells others its number, by which it is known to who began it, and ended.
    import_module("shuntbook.cli.capture.beside").os = SimpleNamespace(**vars(os) | {"getpid": lambda: stands_for})
    sys.executable = str(ours)
    _take_streams()
    return code, words


def _watch(wire: socket.socket, fork: int) -> int:
    wire.sendall(fork.to_bytes(8, "big"))
    ended = os.pidfd_open(fork)
    if ended not in select.select([ended, wire], [], [])[0]:
        os.kill(fork, signal.SIGKILL)  # who stood for it was killed
    status = os.waitstatus_to_exitcode(os.waitpid(fork, 0)[1])
    with suppress(OSError):
        wire.sendall(status.to_bytes(8, "big", signed=True))
    return 0


def _take_streams() -> None:
    """Give the fork the streams of who asked, as Python opens them at its start."""
    errors = "strict" if os.environ.get("PYTHONIOENCODING") else sys.stdout.errors
    at_once = bool(os.environ.get("PYTHONUNBUFFERED"))

    def written(number: int, errors: str) -> Any:
        raw = io.FileIO(number, "w", closefd=False)
        lines = number == 2 or raw.isatty()
        binary: Any = raw if at_once else io.BufferedWriter(raw)
        return io.TextIOWrapper(binary, "utf-8", errors, line_buffering=lines, write_through=at_once)

    read = io.BufferedReader(io.FileIO(0, closefd=False))
    sys.stdin = sys.__stdin__ = io.TextIOWrapper(read, "utf-8", errors)
    sys.stdout = sys.__stdout__ = written(1, errors)
    sys.stderr = sys.__stderr__ = written(2, "backslashreplace")


def _run(code: str, words: list[str]) -> None:
    """Run code as ``python -c`` does."""
    main = sys.modules["__main__"] = ModuleType("__main__")
    sys.argv[:], sys.path[0] = ["-c", *words], ""
    try:
        exec(compile(code, "<string>", "exec"), main.__dict__)
        _status.append(0)
    except SystemExit as ended:
        if ended.code is None or isinstance(ended.code, int):
            _status.append(ended.code or 0)
        raise


def _end_at_once() -> None:
    """End a fork when all is done but to take the loaded program apart, which takes longer than the rest.

    Not one that had workers: what they shared is given back by that.
    """
    if _status and "multiprocessing.synchronize" not in sys.modules:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(_status[0])


#: How the code of a fork ended, where no more is to be said of it.
_status: list[int] = []

if __name__ == "__main__":
    atexit.register(_end_at_once)  # the first to be told is the last to be called
    _load_all()
    _run(*_serve(Path(sys.argv[1])))
