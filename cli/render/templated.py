"""The templates of pages, filled: one look, every text escaped, nothing asked of a network."""

from __future__ import annotations

import re
from functools import partial
from importlib.resources import files

from . import words

_FIGURE = re.compile(r"(?<=\d) (?=(?:[AVWhsdLm]|Ah|Wh|VA|min|mΩ|gal|ft|kPa|psi|bar)\b|%|°)")


def filled(template: str, *, styles: tuple[str, ...] = (), **parts: object) -> str:
    """Return a page: a template with what it asks for by name, the style sheets inside.

    Parameters
    ----------
    template : str
        Its file name.
    styles : tuple of str
        File names of the style sheets it has beside the one of all pages.
    **parts
        What it shows. Texts are escaped, and figures tied to their units.
    """
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # not for commands that make no page

    environment = Environment(
        loader=FunctionLoader(template_text),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_kept_together,
    )
    environment.filters["short"] = words.shortened
    environment.filters["full"] = partial(words.shortened, most=600)
    environment.globals["unknown"] = words.UNKNOWN
    return environment.get_template(template).render(
        style="\n".join(template_text(name) for name in ("page.css", *styles)), **parts
    )


def template_text(name: str) -> str:
    """Return a template's, style sheet's or script's text by its file name."""
    return files(__package__).joinpath("templates", name).read_text("utf-8")


def _kept_together(value: object) -> object:
    """Return text with its figures tied to their units, so that no line ends between them; other things unchanged."""
    return _FIGURE.sub("\N{NO-BREAK SPACE}", value) if type(value) is str else value
