"""The live page's own documents: no figure in them, nothing from a log, and nothing from anywhere else."""

from __future__ import annotations

from functools import cache
from html import escape
from importlib.resources import files
from string import Template

from shuntbook.analysis.cautions import CAUTIONS


def page(nonce: str) -> str:
    """Return the page; `nonce` marks its style and script as its own for the browser's content policy."""
    parts = {"style": f"{_text('page.css')}\n{_text('live.css')}", "script": _text("live.js"), "cautions": _cautions()}
    return Template(_text("live.html")).substitute(parts, nonce=escape(nonce))


def entrance() -> str:
    """Return the page behind a link: it leads on to the page, and so out of the address bar."""
    return _text("entrance.html")


def _cautions() -> str:
    return "\n".join(f"<li>{escape(text)}</li>" for text in CAUTIONS)


@cache
def _text(name: str) -> str:
    return files("shuntbook.cli.render.page").joinpath("templates", name).read_text("utf-8")
