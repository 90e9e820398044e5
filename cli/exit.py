"""Exit statuses: what a script may rely on."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """How a command ended."""

    DONE = 0
    FAULT_OF_OURS = 1
    BAD_INPUT = 2
    DEVICE_FAILED = 3
    FINDING = 4
    INTERRUPTED = 130
    TERMINATED = 143
