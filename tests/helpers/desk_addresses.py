"""Every address of the desk and every field that its pages take, read from the code: new ones are held, too."""

import re
from pathlib import Path

import shuntbook
from shuntbook.cli.desk.server import _application

_DESK = Path(shuntbook.__file__).parent / "cli" / "desk"
_FIELD = re.compile(r"(?:\bfield|get_arguments?|get_body_arguments?|get_query_arguments?)\(\s*[\"']([\w.-]+)[\"']")
_NAMED = re.compile(r"\bname=\"([\w.-]+)\"|form\.(?:text|choice)\(\s*\"([\w.-]+)\"")


def addresses():
    """Yield the path of every page; what stands for something in it is such a thing that is not there."""
    for rule in _application(None).wildcard_router.rules:
        yield re.sub(r"\([^()]*\)", "nothing-of-the-kind", rule.matcher.regex.pattern.removesuffix("$"))


def field_names():
    """Return the names of all fields of forms and addresses that the desk's code and templates name."""
    code = (path.read_text(encoding="utf-8") for path in sorted(_DESK.glob("*.py")))
    templates = (path.read_text(encoding="utf-8") for path in sorted(_DESK.glob("templates/*.html")))
    named = {name for text in code for name in _FIELD.findall(text)}
    named |= {name for text in templates for pair in _NAMED.findall(text) for name in pair if name}
    return sorted(named - {"viewport", "color-scheme"})
