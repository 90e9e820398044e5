"""Ask a running capture's live page how it stands, as a browser would: for a page that shows more beside it."""

from __future__ import annotations

import http.client
import json
import time
from contextlib import closing
from typing import Any, Final
from urllib.parse import urlsplit

#: A page on this computer answers within milliseconds; what takes longer is not shown this time. [s]
_PATIENCE_S: Final = 2.0
#: A state with all points of its charts is far smaller. [bytes]
_MOST: Final = 2_000_000
_DATA: Final = b"data: "


def newest_view(link: str) -> dict[str, Any] | None:
    """Return what the page behind a capture's own link shows now (`view.live_state`); None where it does not answer."""
    try:
        where = urlsplit(link)
        if where.scheme != "http" or where.hostname is None:
            return None
        until = time.monotonic() + _PATIENCE_S
        with closing(http.client.HTTPConnection(where.hostname, where.port, timeout=_PATIENCE_S)) as page:
            session = _session(page, where.path) if where.path.strip("/") else ""
            page.request("GET", "/updates", headers={"Cookie": session} if session else {})
            return _first_state(page.getresponse(), until)
    except (OSError, ValueError, http.client.HTTPException):
        return None


def _session(page: http.client.HTTPConnection, path: str) -> str:
    """Spend a link, where one is needed; return the cookie that it is changed for."""
    page.request("GET", path)
    answer = page.getresponse()
    answer.read()
    return (answer.headers["Set-Cookie"] or "").partition(";")[0]


def _first_state(answer: http.client.HTTPResponse, until: float) -> dict[str, Any] | None:
    while answer.status == http.client.OK and time.monotonic() < until:
        line = answer.readline(_MOST)
        if not line:
            return None
        if line.startswith(_DATA):
            state = json.loads(line.removeprefix(_DATA))
            return state if isinstance(state, dict) else None
    return None
