"""A desk over a folder, and a browser that asks it: with its session and its origin, unless told otherwise."""

import html
import http.client
import re
import shutil
import subprocess
import sys
from contextlib import ExitStack, contextmanager
from html.parser import HTMLParser
from urllib.parse import urlencode

from ready_python import ready_python

_MAIN = "from shuntbook.cli.main import main; main()"


class Asked:
    """An answer: its status, headers and text, and for which address it is."""

    def __init__(self, answer, path):
        self.path = path
        self.status, self.headers = answer.status, answer.headers
        self.text = answer.read().decode()


class Client:
    """Asks a desk as a browser would that has spent its link."""

    def __init__(self, port, key, process):
        self.port, self.process = port, process
        self.link = f"http://127.0.0.1:{port}/in/{key}"
        self.origin = f"http://127.0.0.1:{port}"
        self.cookie = ""

    def enter(self):
        """Spend the link."""
        answer = self.get(self.link.removeprefix(self.origin))
        assert answer.status == 200, answer.text
        self.cookie = answer.headers["Set-Cookie"].partition(";")[0]
        return self

    def ask(self, method, path, body=None, **headers):
        """Ask once; headers are given with underscores, None takes one away."""
        own = {"Cookie": self.cookie, "Origin": self.origin if method != "GET" else None}
        own |= {k.replace("_", "-"): v for k, v in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, path, body=body, headers={k: v for k, v in own.items() if v is not None})
            return Asked(connection.getresponse(), path)
        finally:
            connection.close()

    def get(self, path, **headers):
        """Ask for a page."""
        return self.ask("GET", path, **headers)

    def send(self, path, **fields):
        """Send a form, and be led where it leads; a field that is a list is sent once for each."""
        kind = {"Content_Type": "application/x-www-form-urlencoded"}
        answer = self.ask("POST", path, urlencode(fields, doseq=True), **kind)
        return self.get(answer.headers["Location"]) if answer.status == 303 else answer

    def again(self, answer):
        """Load the page again that an answer is of."""
        return self.get(answer.path)

    def drop(self, name, content):
        """Drop a file."""
        return self.ask("POST", f"/drop?{urlencode({'name': name})}", content)


@contextmanager
def desk(folder, *words, begun_by=(), from_scratch=False):
    """A desk in a process of its own, that opens no browser; yields who asks it, with a session.

    What it is `begun_by` may take rights from it. `from_scratch` is for tests of what is loaded, and of its death.
    """
    python = sys.executable if begun_by or from_scratch else ready_python()
    child = subprocess.Popen(
        [*begun_by, python, "-c", _MAIN, "desk", str(folder), "--no-browser", *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        first = child.stderr.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/in/(\S+)", first)
        assert found, first + child.stderr.read()
        yield Client(int(found[1]), found[2], child).enter()
    finally:
        child.terminate()
        child.communicate(timeout=60)


class SharedDesk:
    """One desk for all tests of a module, since its start is dear: over a folder that is emptied for each of them."""

    def __init__(self, folder):
        self.folder, self._open, self._client = folder, ExitStack(), None

    def client(self):
        """Return who asks the desk; it is begun anew where a test has ended it."""
        for path in self.folder.iterdir():
            shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()
        if self._client is None or self._client.process.poll() is not None:
            self.close()
            self._client = self._open.enter_context(desk(self.folder))
            self._client.folder = self.folder
        return self._client

    def close(self):
        """End the desk."""
        self._open.close()


def address(path, **query):
    """An address of the desk."""
    return f"{path}?{urlencode(query)}"


def text_of(answer):
    """What a page says in its main part, without its marks and its hard spaces."""
    body = answer.text.partition("<main")[2].partition("</main>")[0]
    plain = html.unescape(re.sub(r"<[^>]*>", " ", body)).replace("\xa0", " ").replace("\u200b", "")
    return re.sub(r"\s+", " ", plain)


def let_in(driven, client):
    """Give a browser the session of someone who was let in."""
    driven.get(f"{client.origin}/nothing")
    name, _, value = client.cookie.partition("=")
    driven.add_cookie({"name": name, "value": value, "path": "/", "httpOnly": True, "sameSite": "Strict"})


class _Form(HTMLParser):
    """Gathers what a page's forms that are posted would send: of each field the texts."""

    def __init__(self):
        super().__init__()
        self.fields, self._inside, self._select, self._area = {}, False, None, None

    def handle_starttag(self, tag, attributes):
        at = {name: value or "" for name, value in attributes}
        if tag == "form":
            self._inside = at.get("method") == "post"
        elif not self._inside:
            return
        elif tag == "input" and "name" in at and (at.get("type") != "checkbox" or "checked" in at):
            self.fields.setdefault(at["name"], []).append(at.get("value", ""))
        elif tag == "select":
            self._select = at["name"]
        elif tag == "option" and self._select and ("selected" in at or self._select not in self.fields):
            self.fields[self._select] = [at["value"]]
        elif tag == "textarea":
            self._area = at["name"]
            self.fields[self._area] = [""]

    def handle_endtag(self, tag):
        if tag == "form":
            self._inside = False
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._area = None

    def handle_data(self, data):
        if self._area:
            self.fields[self._area][0] += data


def fields_of(answer):
    """What a browser would send of a page's forms, were nothing changed in them."""
    form = _Form()
    form.feed(answer.text)
    return form.fields
