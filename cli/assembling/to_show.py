"""What a report makes to be shown to others, beside its page: the options, and what they must not be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import wraps
from pathlib import Path

import click

from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import is_same, refuse_existing, refuse_input
from ..opening.prepared_log import Command


@dataclass(frozen=True)
class ToShow:
    """What was asked for: captions for a film, and when and for how long that film runs."""

    captions: Path | None
    film_start: str | None
    film_length: str | None

    @property
    def files(self) -> list[tuple[str, Path]]:
        """The options that name a file, each with that file."""
        return [(what, path) for what, path in (("--captions", self.captions),) if path is not None]

    def refuse(self, logs: Sequence[Path], site: Path | None, others: Sequence[Path | None], *, force: bool) -> None:
        """Stop before anything is worked out where one cannot be made, or would replace what is not to be replaced.

        `others` are results of the same call.

        Raises
        ------
        InputError
            With the option, and what to do.
        """
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

    @wraps(command)
    def bundled(
        *args: object, captions: Path | None, film_start: str | None, film_length: str | None, **rest: object
    ) -> object:
        return command(*args, show=ToShow(captions, film_start, film_length), **rest)

    options = (
        click.option(
            "--captions",
            type=click.Path(path_type=Path),
            metavar="FILE.vtt",
            help="Captions for a film of it, to write (WebVTT): amps, volts, watts and Ah so far, second by second.",
        ),
        click.option(
            "--film-start", metavar="TIME_OR_NOTE", help="When the film's first frame was taken, or a note of the log."
        ),
        click.option("--film-length", metavar="LENGTH", help="How long the film is. Default: to the log's end."),
    )
    for option in reversed(options):
        bundled = option(bundled)
    return bundled
