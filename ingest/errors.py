"""The error a user can cause, told in one plain sentence."""

from __future__ import annotations

from typing import Final

#: What is shown of a name; a damaged file may give one of thousands. [characters]
LONGEST_NAME: Final = 60


class InputError(Exception):
    """The user's input or usage is wrong: one sentence that says what, where and what to do.

    Raised for a file that is missing, of the wrong kind or unreadable, for a setting that is not one, and for an
    output that already exists. The command line prints the sentence and ends with status 2. A settings file may have
    several mistakes, each of them a sentence.
    """

    def __str__(self) -> str:
        """Return the sentences, each a line."""
        return "\n".join(map(str, self.args))


def quoted(word: str) -> str:
    """Return a name that a file gives, as a sentence shows it: in quotation marks, and not endless."""
    return repr(word if len(word) <= LONGEST_NAME else word[: LONGEST_NAME - 1] + "…")


class ReadAnew(Exception):  # noqa: N818 - no error: what only the last row could tell is known now
    """All rows of an export are to be read again, by what is known of them now."""
