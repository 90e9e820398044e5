"""Exit statuses: what a script may rely on."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..analysis.health.finding import Finding


class Exit(IntEnum):
    """How a command ended."""

    DONE = 0
    FAULT_OF_OURS = 1
    BAD_INPUT = 2
    DEVICE_FAILED = 3
    FINDING = 4
    INTERRUPTED = 130
    TERMINATED = 143


class PortFailedError(Exception):
    """A port could not be used: one sentence that says which, why and what to do. Ends with status 3."""


def strictly(findings: Iterable[Finding]) -> Exit:
    """Return how a command with ``--strict`` ends: notes are no reason to wake anybody."""
    serious = any(finding.severity != "note" for finding in findings)
    return Exit.FINDING if serious else Exit.DONE
