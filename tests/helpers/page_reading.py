"""Read a page as a browser would, and hold it against what every page must keep."""

import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest

from shuntbook.cli.render.page import figures, several_view, site_sections

# Elements that HTML never closes (HTML standard, "void elements").
VOID = {"meta", "br", "hr", "img", "input", "link", "area", "base", "col", "embed", "source", "track", "wbr"}


NASTY = '<script>alert("x")</script> & \' " $x^2$ \u202eabc\u200f \x07 עברית'
#: A text of the user's that would break out of a chart.
NASTY_LABEL = "</script><script>hit=1</script> \u2028 \" ' \\ & $$x$$ \u202e עברית var(--ink) " + "marrow " * 1500


@pytest.fixture
def undrawn(monkeypatch):
    """Blank drawings: drawing takes nearly all of a page's time, and does nothing to its words and tables."""
    for module in (figures, several_view, site_sections):
        monkeypatch.setattr(module, "both_sizes", lambda *_: lambda: ("<svg></svg>",) * 2)


OF_WORDS_ALONE = pytest.mark.usefixtures("undrawn")


class Reader(HTMLParser):
    """Reads a page: which elements stay open, what text there is, which ids and links."""

    def __init__(self, page):
        super().__init__()
        self.open, self.wrong, self.ids, self.links, self.text = [], [], [], [], []
        self.tags = set()
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        for key, value in attrs:
            if key == "id":
                self.ids.append(value)
            elif key in {"href", "src", "action", "data", "poster", "srcset"}:
                self.links.append(value)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        self.handle_endtag(tag)

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        if not {"style", "script"} & set(self.open):
            self.text.append(data)

    @property
    def said(self):
        return " ".join(" ".join(self.text).split())


def without_scripts(page):
    """The page without its scripts, and these: what stands in the tag, and the text."""
    pattern = re.compile(r"<script([^>]*)>(.*?)</script>", re.DOTALL)
    return pattern.sub("", page), pattern.findall(page)


def assert_sound(page):
    """Balanced, ids once each, links only within, nothing that fetches, and no script but the one of ours."""
    page, scripts = without_scripts(page)
    assert [kind for kind, _ in scripts if kind != ' type="application/json"'] == [""]
    assert all("<" not in text for kind, text in scripts if kind)
    reader = Reader(page)
    assert reader.open == []
    assert reader.wrong == []
    assert len(reader.ids) == len(set(reader.ids))
    assert {link.removeprefix("#") for link in reader.links} <= set(reader.ids)
    assert not reader.tags & {"script", "iframe", "object", "link", "img", "base", "form"}
    assert not re.search(r"https?:|url\((?!#)|@import|javascript:| on\w+=", page)
    for drawing in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        ElementTree.fromstring(drawing)
        used = set(re.findall(r'(?:url\(#|href="#)([^")]+)', drawing))
        assert used <= set(re.findall(r' id="([^"]+)"', drawing))
    assert not re.search(r"\b(nan|None|inf)\b", reader.said)
    return reader.said
