"""What is read in a frame of a film, box by box."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .answer import Reply

if TYPE_CHECKING:
    from ....ingest.film.overlay import FilmLook


def film_answer(look: FilmLook, picture: str) -> Reply:
    """Return a line a box, and where the picture lies."""
    boxes = [f"{field.name}: {field.text if field.is_read else f'not read, {field.text}'}" for field in look.fields]
    minutes, rest_s = divmod(look.time_s, 60)
    return Reply(
        [f"at {int(minutes)}:{rest_s:04.1f} of the film", *boxes],
        last=f"wrote {picture}: look whether each outline holds one digit, and whether what is read is what you see",
    )
