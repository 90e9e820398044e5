"""A capture with its live page, and someone who looks at it."""

import http.client
import json
import re
import subprocess
from collections import Counter
from contextlib import contextmanager

from places import SAMPLES
from ready_python import ready_python

from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.cli.capture.live_meter import LiveMeter
from shuntbook.cli.live_page.view import live_state
from shuntbook.ingest.events import Reading

WEEK = f"replay:{SAMPLES / 'week_later.csv.gz'}?speed=%s&zone=Europe/London&sign=return_positive"
NASTY = "<script>window.hit=1</script><img src=x onerror='window.hit=2'>\"'&amp; \u202eabc\u05d0\u05d1 " + "x" * 10_000


def ask(page, path="/", *, method="GET", port=None, **headers):
    """Ask once, by the loopback address; headers are given with underscores. Returns status, headers and text."""
    connection = http.client.HTTPConnection("127.0.0.1", port or port_of(page), timeout=30)
    try:
        connection.request(method, path, headers={k.replace("_", "-"): v for k, v in headers.items()})
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read().decode()
    finally:
        connection.close()


def port_of(page):
    """The port a page is served at."""
    return int(re.search(r":(\d+)/", page.link)[1])


def key_of(page):
    """The key in the link that stands open."""
    return page.link.rpartition("/")[2]


class Viewer:
    """Someone who watches: takes the updates one by one."""

    def __init__(self, port, cookie=""):
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self._connection.request("GET", "/updates", headers={"Cookie": cookie})
        self._answer = self._connection.getresponse()
        self.status = self._answer.status

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._answer.close()
        self._connection.close()

    def next(self):
        """Return the next state; None when there are no more."""
        while line := self._answer.readline():
            if line.startswith(b"data: "):
                return json.loads(line[6:])
        return None


@contextmanager
def capture(tmp_path, *words, speed=3000, source=None, typing=False):
    """A capture in a process of its own, with its page; yields the process, the page's port and the link's key.

    The page goes with the capture, unless it is said for how long it stays.
    """
    code = "import sys; from shuntbook.cli.main import main; main(sys.argv[1:])"
    own = source or ("" if "--site" in words else WEEK % speed)
    arguments = ["capture", *([own] if own else []), *words]
    arguments += [] if "--page-stays" in words else ["--page-stays", "0"]
    child = subprocess.Popen(
        [ready_python(), "-c", code, *arguments, "--out", str(tmp_path / "a.parquet")],
        stdin=subprocess.PIPE if typing else subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        first = child.stderr.readline()
        found = re.search(r"live page.*: http://[^/]+:(\d+)/(\S*)", first)
        assert found, first + child.stderr.read()
        yield child, int(found[1]), found[2]
    finally:
        child.terminate()
        child.communicate(timeout=60)


def state_of(name, *, title="", mark=None, trouble=()):
    """The state of a meter that saw a pump run for 20 s in every minute."""
    how = HowRead("dc", "instant", 10.0, 1.0)
    meter = LiveMeter(name, how, ("current_A", "voltage_V"), limits_for(None, None), load=name)
    start_us = 1_780_000_000_000_000
    amps = [30.0 if k % 60 >= 40 else 1.0 for k in range(1200)]
    meter.add([Reading(start_us + k * 10**6, {"current_A": a, "voltage_V": 25.0}) for k, a in enumerate(amps)])
    if mark is not None:
        meter.marked(mark, start_us + 1199 * 10**6)
    shot = meter.snapshot(connected=True, trouble=Counter(trouble), final=True)
    return live_state([shot], title=title or name, elapsed_s=1200.0, left_s=None, ended=False)


def text_of(driven, where):
    """The text of a part of the page; empty where there is none."""
    return driven.execute_script("return document.querySelector(arguments[0])?.textContent || ''", where)
