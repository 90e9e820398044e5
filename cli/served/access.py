"""Who may look: the Host and Origin a browser names, links that open the page once, and the sessions they open."""

from __future__ import annotations

import secrets
from ipaddress import ip_address
from urllib.parse import urlsplit

#: 96 bits: short enough to be typed on a phone, and far more than can be tried over a network before a capture ends.
_KEY_BYTES = 12
_SESSION_BYTES = 32


class Access:
    """The link that stands open, and the sessions that earlier links were changed for.

    It is `guarded` where others can reach it; on this computer alone no link is needed. ``standing_key``, where there
    is one, opens it again and again: it is for whoever began it, and stands only in a file that they alone can read.
    """

    def __init__(self, *, guarded: bool, standing: bool = False) -> None:
        self.guarded = guarded
        self.standing_key = secrets.token_urlsafe(_SESSION_BYTES) if standing else ""
        self.key = secrets.token_urlsafe(_KEY_BYTES)
        self._sessions: set[str] = set()

    def spend(self, key: str) -> str | None:
        """Change the key of the open link for a session, and open a new link; None for any other key."""
        # A link is seen by whoever looks over a shoulder or at the browser's history: spent, it opens nothing.
        if self.is_standing(key):
            return self._session()
        if not self.guarded or not _same(key, self.key):
            return None
        self.key = secrets.token_urlsafe(_KEY_BYTES)
        return self._session()

    def is_standing(self, key: str) -> bool:
        """Tell whether a key is the standing one."""
        return self.guarded and bool(self.standing_key) and _same(key, self.standing_key)

    def _session(self) -> str:
        session = secrets.token_urlsafe(_SESSION_BYTES)
        self._sessions.add(session)
        return session

    def lets_in(self, session: str | None) -> bool:
        """Tell whether someone with this session, or with none, may look."""
        return not self.guarded or (session is not None and any(_same(session, known) for known in self._sessions))


def _same(a: str, b: str) -> bool:
    # in a time that does not depend on where the two differ, or keys could be guessed letter by letter
    return secrets.compare_digest(a.encode(), b.encode())


def is_own_host(header: str, reached: str, names: frozenset[str]) -> bool:
    """Tell whether a Host header names this computer.

    A page from elsewhere can make a browser look up its own name and end up here (DNS rebinding); the Host then still
    is that name, so only names (in small letters) and addresses of this computer pass. The connection came in at
    `reached`.
    """
    if "@" in header:  # user:password@host is no Host header, and parsers do not agree on it
        return False
    try:
        host = (urlsplit(f"//{header}").hostname or "").lower()
        here = ip_address(reached.partition("%")[0])  # a link-local address ends in its interface
    except ValueError:
        return False
    try:
        return ip_address(host) == here
    except ValueError:
        return host in names or (host == "localhost" and here.is_loopback)


def is_own_origin(origin: str | None, site: str | None, host: str) -> bool:
    """Tell whether a request comes from a page of ours, or from none: by its Origin and Sec-Fetch-Site, where given."""
    return (origin is None or origin.lower() == f"http://{host.lower()}") and site in (None, "same-origin", "none")
