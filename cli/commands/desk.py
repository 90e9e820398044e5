"""The command that opens the desk: pages on this computer that lead from a meter or an export to the answer."""

from __future__ import annotations

from pathlib import Path

import click

from ..door import tell


@click.command("desk")
@click.argument("folder", default=".", type=click.Path(path_type=Path))
@click.option("--port", default=0, type=click.IntRange(0, 65535), help="Its port. Default: any that is free.")
@click.option("--no-browser", is_flag=True, help="Open no browser; print the link alone.")
def command(folder: Path, port: int, no_browser: bool) -> None:
    """Open the desk over FOLDER: drop an export, read a meter, describe the system, get the answer.

    It is a page in the browser of this computer, and no other computer can reach it; nothing is sent anywhere. All
    that it writes are ordinary files in FOLDER (made if it is not there; without one: the folder you are in), the same
    that the other commands read and write. Closing the page loses nothing; Ctrl-C closes the desk, and captures go on.

    Example: shuntbook desk pump-logs
    """
    from ..desk.server import serve_desk  # the server's library is not for help alone

    serve_desk(folder, port, opens_browser=not no_browser, say=tell)
