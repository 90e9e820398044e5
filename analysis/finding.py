"""Something a log shows that the person should act on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "watch", "act"]


@dataclass(frozen=True)
class Finding:
    """A finding with its evidence, its limit and where the limit comes from.

    ``severity``: ``note`` limits the log or states a fact, ``watch`` wants an eye kept on it, ``act`` wants something
    done. ``causes`` and ``check_first`` are plain sentences.
    """

    code: str
    severity: Severity
    title: str
    evidence: str
    limit: str
    source: str
    causes: str = ""
    check_first: str = ""
