"""The templates of pages, filled: one look, every text escaped, nothing asked of a network."""

from __future__ import annotations

import re
from functools import cache, partial
from importlib.resources import files
from textwrap import wrap
from typing import TYPE_CHECKING

from ..wording import numbers
from .section import begun_and_rest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from types import CodeType

    from jinja2 import BytecodeCache, Environment
    from markupsafe import Markup

_FIGURE = re.compile(r"(?<=\d) (?=(?:[AVWhsdLm]|Ah|Wh|VA|min|mΩ|gal|ft|kPa|psi|bar)\b|%|°)|(?<=±) ")

# What stands in the page may run and style it; nothing may be fetched or compiled from text.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "font-src data:; form-action 'none'; base-uri 'none'"
)

#: A word longer than this may end a line anywhere, or it would burst its cell. [characters]
_RUN = 24
_UNBROKEN = re.compile(rf"\S{{{2 * _RUN},}}")
#: Longer than any text of ours, in characters.
_MOST = 2000


class Exact(str):
    """Text that is printed letter by letter: an address, a command to copy, what a form sends back."""

    __slots__ = ()


def filled(template: str, *, styles: tuple[str, ...] = (), **parts: object) -> str:
    """Return a page: a template with its `parts` by name, and with more style sheets beside that of all pages.

    Texts are escaped, and figures tied to their units.
    """
    return (
        environment(template_text)
        .get_template(template)
        .render(style="\n".join(template_text(name) for name in ("page.css", *styles)), policy=_POLICY, **parts)
    )


@cache
def _compiled() -> BytecodeCache:
    """Return what keeps templates compiled, which takes ten times as long as to fill one.

    What stands in them stays each page's own: its tables are counted from one.
    """
    from jinja2 import BytecodeCache
    from jinja2.bccache import Bucket

    class Kept(BytecodeCache):
        def __init__(self) -> None:
            self._code: dict[tuple[str, str], CodeType | None] = {}

        def load_bytecode(self, bucket: Bucket) -> None:
            bucket.code = self._code.get((bucket.key, bucket.checksum))

        def dump_bytecode(self, bucket: Bucket) -> None:
            self._code[bucket.key, bucket.checksum] = bucket.code

    return Kept()


def environment(text_of: Callable[[str], str]) -> Environment:
    """Return what fills templates, whose texts `text_of` gives by their names."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # not for commands that make no page

    filling = Environment(
        loader=FunctionLoader(text_of),
        bytecode_cache=_compiled(),
        autoescape=True,
        # A name that a template misspells is a mistake, not an empty place on somebody's page.
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_fit_to_print,
    )
    filling.filters["short"] = numbers.shortened
    # Long enough for any sentence of ours with a user's words in it.
    filling.filters["full"] = partial(numbers.shortened, most=600)
    filling.filters["begun"] = lambda text: begun_and_rest(text)[0]
    filling.filters["exact"] = Exact
    filling.filters["sentence"] = numbers.sentence
    filling.filters["capital"] = numbers.capital
    filling.filters["timed"] = _timed
    filling.globals["unknown"] = numbers.UNKNOWN
    return filling


def template_text(name: str) -> str:
    """Return a template's, style sheet's or script's text by its file name."""
    return files(__package__).joinpath("templates", name).read_text("utf-8")


def _fit_to_print(value: object) -> object:
    """Return text without what could harm the page, and its figures tied to their units; other things unchanged.

    No text that is printed escapes this, wherever it comes from, unless it is `Exact`; so a line never ends between a
    figure and its unit.
    """
    if type(value) is not str:
        return value
    tied = _FIGURE.sub("\N{NO-BREAK SPACE}", numbers.shortened(value, _MOST))
    return _UNBROKEN.sub(lambda run: "\N{ZERO WIDTH SPACE}".join(wrap(run[0], _RUN)), tied)


def _timed(text: str, times: Iterable[tuple[str, str]]) -> Markup:
    """Return text as HTML with its instants marked as such; they stand in it in the order given."""
    from markupsafe import Markup, escape

    done, rest = Markup(""), text
    # Each is looked for after the one before, since start and stop may be written alike.
    for machine, shown in times:
        before, mark, rest = rest.partition(shown)
        done += escape(_fit_to_print(before)) + Markup('<time datetime="{}">{}</time>').format(machine, mark)
    return done + escape(_fit_to_print(rest))
