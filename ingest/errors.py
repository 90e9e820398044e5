"""The error a user can cause, told in one plain sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

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


#: What an option or a line of a profile is set to.
Setting = str | int | float | bool | Sequence[str] | None


class NamedColumn(NamedTuple):
    """A column by its number counted from 1 and its name, and the number of the one that is taken off it."""

    number: int
    name: str
    minus: int | None = None


@dataclass(frozen=True)
class Choice:
    """One answer to a question: in words, and what settles it.

    ``sets`` are options of `Stated` by their name (``dates``) and lines of a profile by their keys joined with points
    (``quantities.current_A.unit``), where a column is told by its number counted from 1. None stands for what the
    person still has to type; ``unused`` are the numbers of columns that are then left out.
    """

    label: str
    sets: Mapping[str, Setting]
    unused: tuple[int, ...] = ()


class Question(InputError):  # noqa: N818 - asked of the person, who made no mistake
    """What is given can be read in two ways, and nothing in it says which.

    ``what`` is asked, because of ``evidence``; ``choices`` are the answers. As an error it is the one sentence that
    names both readings and what settles each.
    """

    def __init__(self, sentence: str, what: str, evidence: str, choices: Sequence[Choice]) -> None:
        super().__init__(sentence)
        self.what, self.evidence, self.choices = what, evidence, tuple(choices)

    def at(self, where: str) -> Question:
        """Return the same question with the place that it is about before its sentence."""
        return Question(f"{where}{self}", self.what, self.evidence, self.choices)


def placed(error: InputError, where: str) -> InputError:
    """Return an error with the place that it is about before its sentence; a question stays one."""
    return error.at(where) if isinstance(error, Question) else InputError(f"{where}{error}")


def in_toml(name: str) -> str:
    """Return a name that a file gives in quotes, as TOML has it, and not endless."""
    name = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
    return "'" + name + "'" if '"' in name else '"' + name + '"'


def quoted(word: str) -> str:
    """Return a name that a file gives, as a sentence shows it: in quotation marks, and not endless."""
    return repr(word if len(word) <= LONGEST_NAME else word[: LONGEST_NAME - 1] + "…")


class ReadAnew(Exception):  # noqa: N818 - no error: what only the last row could tell is known now
    """All rows of an export are to be read again, by what is known of them now."""
