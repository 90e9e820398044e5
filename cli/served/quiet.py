"""A server that keeps what its library logs off the person's screen."""

from __future__ import annotations

import logging
import os


def keep_quiet() -> None:
    """Keep what the server's library logs off the screen; ``SHUNTBOOK_DEBUG=1`` shows it."""
    if not os.environ.get("SHUNTBOOK_DEBUG"):
        for name in ("tornado", "asyncio"):
            logging.getLogger(name).addHandler(logging.NullHandler())
            logging.getLogger(name).propagate = False
