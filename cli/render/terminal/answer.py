"""What a command says: the answer first, in a few lines, and on request all that it rests on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from ...door import say, terminal_width
from ..wording.numbers import TradeTerms
from .columns import Columns, breadth, wrapped

#: A line of text, or a table.
Block = str | Columns

#: An answer has no more lines than these, whatever the terminal's width: it is read at a glance.
MOST_LINES: Final = 12
#: So many of them the last words may take from the rest.
_MOST_LAST: Final = 2

#: The option of every command that answers.
explain_option: Final[Callable[[Any], Any]] = click.option(
    "--explain", is_flag=True, help="Say also what the answer rests on, and all else that is known."
)


@dataclass(frozen=True)
class Reply:
    """An answer and its reasons.

    Parameters
    ----------
    lines : sequence of str or Columns
        The answer, what matters most first: what finds no place in the few lines stands among the reasons alone.
    reasons : sequence of str or Columns
        Everything else; a line that the answer has already is not said twice.
    more : str
        What the reasons tell, in a few words: ``each run, every check``.
    last : str
        What stands at the very end once more, where the eye rests.
    caution : str
        What nobody may miss: room is kept for it, whatever else finds none.
    """

    lines: Sequence[Block]
    reasons: Sequence[Block] = ()
    more: str = ""
    last: str = ""
    caution: str = ""

    @property
    def other_reasons(self) -> list[Block]:
        """The reasons without what the answer has already."""
        return list(_not_twice(self.reasons, self.lines))

    @property
    def with_terms_once(self) -> Reply:
        """The same for whoever reads all of it: each of the trade's terms stands where it is first met."""
        terms = TradeTerms()
        lines, reasons = ([_with_terms(block, terms) for block in part] for part in (self.lines, self.other_reasons))
        return replace(self, lines=lines, reasons=reasons)

    def laid_out(self, width: int, *, explain: bool) -> list[str]:
        """Return the answer as lines for a terminal of this width, with its reasons where they are asked for."""
        last = wrapped(self.last, width) if self.last else []
        if explain:
            once = self.with_terms_once
            blocks = [*once.lines, *filter(None, [self.caution]), *(["", *once.reasons] if once.reasons else [])]
            return [*(line for block in blocks for line in _laid_out(block, width)), *([""] if last else []), *last]
        # Without reasons there is nothing to ask for; how to ask stands in one line on any terminal.
        more = [f"More with --explain: {self.more}"] if self.more else []
        more = [line if breadth(line) <= width else "More with --explain" for line in more]
        caution = wrapped(self.caution, width) if self.caution else []
        # A long path in the last lines is no reason to say less of what matters.
        few = self._few(width, MOST_LINES - min(len(last), _MOST_LAST) - len(caution))
        return [*few, *caution, *more, *last]

    def _few(self, width: int, room: int) -> list[str]:
        """Return as much of the answer as finds room; of a table as many rows."""
        lines: list[str] = []
        terms = TradeTerms()
        for block in self.lines:
            left = room - len(lines)
            if left <= 0:
                break
            laid = _laid_out(_with_terms(block, terms), width)
            if len(laid) > left and isinstance(block, Columns):
                most = min(left, len(block.rows) - 1)  # a row takes a line at least
                sizes = (_laid_out(block.cut(rows), width) for rows in range(most, 0, -1))
                laid = next((cut for cut in sizes if len(cut) <= left), laid)
            lines += laid if len(laid) <= left else []
        return lines


def say_answer(answer: Reply, *, explain: bool, err: bool = False) -> None:
    """Print an answer, laid out for the terminal it goes to; on standard error with `err`."""
    for line in answer.laid_out(terminal_width(err=err), explain=explain):
        say(line, err=err)


def _with_terms(block: Block, terms: TradeTerms) -> Block:
    return terms.once(block) if isinstance(block, str) else block


def _laid_out(block: Block, width: int) -> list[str]:
    return wrapped(block, width) if isinstance(block, str) else block.laid_out(width)


def _not_twice(reasons: Sequence[Block], lines: Sequence[Block]) -> Iterator[Block]:
    texts = {block for block in lines if isinstance(block, str)}
    tables = [block for block in lines if isinstance(block, Columns)]
    # A blank line parts what is around it, however often.
    yield from (block for block in reasons if block == "" or block not in (texts if isinstance(block, str) else tables))


def page_written(path: Path) -> str:
    """Say that a page was written, and how to see it: a browser shows the source of one with another ending."""
    if path.suffix.lower() in {".html", ".htm"}:
        return f"wrote {path}; open it in a browser"
    return f"wrote {path}; name it {path.name}.html to open it in a browser"
