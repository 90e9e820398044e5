"""What a report makes to be shown to others, beside its page: the options, and what they must not be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import is_same, refuse_existing, refuse_input
from ..opening.prepared_log import Command

if TYPE_CHECKING:
    from ..render.card.card import CardSize


@dataclass(frozen=True)
class ToShow:
    """What was asked for: a card of a size; captions for a film, and when and for how long that film runs."""

    card: Path | None
    card_size: CardSize | None
    captions: Path | None
    film_start: str | None
    film_length: str | None

    @property
    def files(self) -> list[tuple[str, Path]]:
        """The options that name a file, each with that file."""
        return [
            (what, path) for what, path in (("--card", self.card), ("--captions", self.captions)) if path is not None
        ]

    def refuse(self, logs: Sequence[Path], site: Path | None, others: Sequence[Path | None], *, force: bool) -> None:
        """Stop before anything is worked out where one cannot be made, or would replace what is not to be replaced.

        `others` are results of the same call.

        Raises
        ------
        InputError
            With the option, and what to do.
        """
        if self.card is None and self.card_size is not None:
            raise InputError("--card-size goes with --card FILE.png")
        if self.captions is None and (self.film_start is not None or self.film_length is not None):
            raise InputError("--film-start and --film-length go with --captions FILE.vtt")
        if self.captions is not None and self.film_start is None:
            raise InputError("--captions: say when the film's first frame was taken, such as --film-start 10:30:05")
        if self.captions is not None and len(logs) != 1:
            raise InputError("--captions: a film has the captions of one log; name that log alone")
        taken = [path for path in others if path is not None]
        for what, path in self.files:
            refuse_input(path, [*logs, site], what=what)
            refuse_existing(path, force=force, what=what)
            if any(is_same(path, other) for other in taken):
                raise InputError(f"{what}: {path} is where another result goes; give each a file of its own")
            taken.append(path)


def options_to_show(command: Command) -> Command:
    """Give a command the options that `ToShow` holds, as ``show``."""
    names = [each.name for each in fields(ToShow)]

    @wraps(command)
    def bundled(*args: object, **options: Any) -> object:  # noqa: ANN401 - what click hands on
        show = ToShow(**{name: options.pop(name) for name in names})
        return command(*args, show=show, **options)

    options = (
        click.option(
            "--card",
            type=click.Path(path_type=Path),
            metavar="FILE.png",
            help="A still for posting, to write: the verdict, what the load took, its runs.",
        ),
        click.option(
            "--card-size",
            type=click.Choice(("wide", "square")),
            help="How large the card is: wide, 1200 x 630 pixels (the default), or square, 1080 x 1080.",
        ),
        click.option(
            "--captions",
            type=click.Path(path_type=Path),
            metavar="FILE.vtt",
            help="Captions for a film of it, to write (WebVTT): amps, volts, watts and Ah so far, second by second.",
        ),
        click.option(
            "--film-start",
            metavar="TIME_OR_NOTE",
            help="When the film's first frame was taken, or a note of the log; TIME@1:23 is when the film's 1:23 was.",
        ),
        click.option("--film-length", metavar="LENGTH", help="How long the film is. Default: to the log's end."),
    )
    for option in reversed(options):
        bundled = option(bundled)
    return bundled
