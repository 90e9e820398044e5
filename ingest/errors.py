"""The error a user can cause, told in one plain sentence."""

from __future__ import annotations


class InputError(Exception):
    """The user's input or usage is wrong: one sentence that says what, where and what to do.

    Raised for a file that is missing, of the wrong kind or unreadable, for a setting that is not one, and for an
    output that already exists. The command line prints the sentence and ends with status 2.
    """
