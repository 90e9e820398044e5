"""A display profile's text, in the keys in which it is written by hand."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final

from ...ingest.errors import InputError
from ...ingest.toml.edit import Value, edited
from ...ingest.toml.places import Where

if TYPE_CHECKING:
    from ...ingest.film.display import Display

_REMARK: Final = """# Where the displays stand in a film, and what each of them shows.
#   shuntbook convert FILM --display THIS_FILE --start TIME --out LOG
# Corners: top left, top right, bottom right, bottom left, in pixels of the film's first frame.

"""


def display_text(display: Display) -> str:
    """Return the TOML that says a display profile, without what need not be said."""
    whole: dict[str, Any] = display.model_dump(exclude_none=True)
    fields = whole.pop("fields")
    changes: dict[Where, Value | None] = {(key,): value for key, value in whole.items()}
    for number, entry in enumerate(fields):
        # What is so anyway would only be more to read for whoever changes the file by hand.
        needless = [key for key, value in entry.items() if value in (False, [])]
        changes |= {("fields", number, key): value for key, value in entry.items() if key not in needless}
    text = _REMARK + edited("", changes).lstrip("\n")
    # A name may hold what no text of TOML can; then nothing is written.
    if type(display).model_validate(tomllib.loads(text)) != display:
        raise InputError("the display profile cannot be written as it was typed; look at its meter's name")
    return text
