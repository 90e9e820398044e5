"""The page on paper: the same HTML and its print style sheet, laid out as a PDF."""

from __future__ import annotations

import logging
import re
from importlib.util import find_spec

from ....ingest.errors import InputError

_HOW_ELSE = "or write the page (--out PAGE.html) and print it from a browser"
_DRAWING = re.compile(r"<svg\b.*?</svg>", re.DOTALL)
_FOR_SCREENS = re.compile(r'<div class="narrow">.*?</div>|<script\b.*?</script>', re.DOTALL)
_ROOT = re.compile(r":root \{(.*?)\}", re.DOTALL)
_VARIABLE = re.compile(r"--([a-z]+): ([^;]+);")

#: What tells a page that is to be one sheet, the size of its type, and smaller ones to be tried. [pt]
_ONE_PAGE, _USUAL = '<body class="one-page">', "html { font-size: 8.4pt; }"
_SMALLER = tuple(f"html {{ font-size: {size_pt}pt; }}" for size_pt in (7.6, 6.8, 6.0))


def refuse_without_library() -> None:
    """Raise an InputError where a PDF cannot be made here; say what to install."""
    if find_spec("weasyprint") is None:
        raise InputError(
            f"--pdf needs the library WeasyPrint: install it with  pip install 'shuntbook[pdf]'  {_HOW_ELSE}"
        )
    try:
        from weasyprint import HTML  # noqa: F401
    except OSError as error:  # the system's part of it is missing
        raise InputError(
            f"--pdf needs Pango, which is not there or too old ({str(error).splitlines()[0]}): on Debian install "
            f"libpango-1.0-0, libpangoft2-1.0-0 and libharfbuzz-subset0, {_HOW_ELSE}"
        ) from None


def to_pdf(page: str) -> bytes:
    """Return a page as a PDF, its fonts inside and its structure marked for those who listen to it.

    The same page gives the same bytes wherever the same fonts are installed. Without WeasyPrint, or without the
    system's Pango, an InputError is raised.
    """
    refuse_without_library()
    from weasyprint import HTML

    # It logs each rule of a style sheet that only screens have.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    paper = _for_paper(page)
    laid_out = HTML(string=paper, url_fetcher=_nothing).render(pdf_tags=True)
    # Long names and many findings take more room: one sheet stays one, in smaller type.
    for smaller in _SMALLER if _ONE_PAGE in page else ():
        if len(laid_out.pages) == 1:
            break
        laid_out = HTML(string=paper.replace(_USUAL, smaller), url_fetcher=_nothing).render(pdf_tags=True)
    return bytes(laid_out.write_pdf(pdf_identifier=b"shuntbook"))


def _nothing(url: str) -> dict[str, object]:
    """Fetch nothing: a page holds all it needs."""
    raise ValueError(f"a page asks for nothing, yet it named {url}")


def _for_paper(page: str) -> str:
    """Return the page without scripts and narrow drawings, and with the colours of the wide ones written out.

    Drawings know no style sheet on paper.
    """
    # The first :root is that of light and of paper; the dark one comes later in the style sheet.
    colours = dict(_VARIABLE.findall(_ROOT.findall(page)[0]))
    # Scripts are taken out before the page is parsed: a megabyte that paper does not run.
    page = _FOR_SCREENS.sub("", page)
    return _DRAWING.sub(lambda drawing: re.sub(r"var\(--([a-z]+)\)", lambda m: colours[m[1]], drawing[0]), page)
