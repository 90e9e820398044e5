"""The entry point: commands by name, loaded only when asked for, and the one place where errors end."""

from __future__ import annotations

import codecs
import errno
import importlib
import io
import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Sequence
from contextlib import suppress
from difflib import get_close_matches
from types import FrameType
from typing import Final, TextIO

import click

from .. import __version__
from ..analysis.not_known import Refusal
from ..ingest.errors import InputError
from ..ingest.safe_files.whole_file import DISK_FAILED, reason_of, remove_unfinished
from .door import expanded, tell
from .exit import Exit, PortFailedError

#: Command name, the module that holds its ``command``, and its line in ``--help``: nothing else is imported for that.
COMMANDS = {
    "demo": ("demo", "Show it all on the invented scenario: convert, analyse, make the page."),
    "convert": ("convert", "Turn CSV exports into a log."),
    "capture": ("capture", "Read a meter while something runs, into a log that survives anything."),
    "ports": ("ports", "List the serial ports of this computer."),
    "probe": ("probe", "Say what a Modbus or SunSpec device answers."),
    "look": ("look", "Say what is in a log and how good it is."),
    "charge": ("charge", "Ah and Wh drawn and returned."),
    "cycles": ("cycles", "Runs of a load, surges, duty cycle, findings."),
    "report": ("report", "Make the page others understand."),
    "forecast": ("forecast", "What a load will take, and whether bank and inverter hold."),
    "compare": ("compare", "Two logs side by side: before and after."),
    "fleet": ("fleet", "Many logs at once: a line on each, and which to look after first."),
    "desk": ("desk", "One local page that leads from a meter or an export to the answer."),
    "new-site": ("new_site", "Ask the few things that a site file needs, and write it."),
    "check-site": ("check_site", "Check a site file and say what it means."),
}


_WRONG_NAME = (errno.ENAMETOOLONG, errno.ELOOP)
_WRONG_PLACE = (PermissionError, NotADirectoryError, IsADirectoryError, FileNotFoundError, FileExistsError)


class LazyGroup(click.Group):
    """A group whose commands are imported when they are run or asked for their own help."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the names in the order a newcomer meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command; an unknown name is answered with the nearest known ones."""
        if cmd_name not in COMMANDS:
            near = get_close_matches(cmd_name, COMMANDS, n=1)
            hint = f" (did you mean {near[0]}?)" if near else f"; the commands are {', '.join(COMMANDS)}"
            raise click.UsageError(f"there is no command {cmd_name!r}{hint}", ctx=ctx)
        module = importlib.import_module(f".commands.{COMMANDS[cmd_name][0]}", __package__)
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands without importing one."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="shuntbook")
def group() -> None:
    """Turn a shunt's or power meter's log into amp-hours, pump cycles and a page others understand.

    Start with `shuntbook demo`; then, with an export of your own,
    `shuntbook convert export.csv --out pump.parquet` and `shuntbook charge pump.parquet`.
    """


def main(argv: Sequence[str] | None = None) -> None:
    """Run one command and end the process: results on stdout, everything else on stderr."""
    # What is multiplied here is small: threads of their own wait for each other, and a film takes half as long again on
    # a busy machine. It must be said before numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    signal.signal(signal.SIGTERM, _terminated)
    _watch_signals()
    write_what_can_be(sys.stdout, sys.stderr)
    words = sys.argv[1:] if argv is None else argv
    sys.exit(run(words if os.name == "posix" else expanded(words), own_process=True))


def run(argv: Sequence[str], *, own_process: bool = False) -> int:
    """Run one command and return its exit status; in a process of its own it may begin another beside it."""
    try:
        status = group.main(
            args=list(argv) or ["--help"], prog_name="shuntbook", standalone_mode=False, obj=own_process
        )
        return int(status or Exit.DONE)
    except click.exceptions.Exit as ended:
        return ended.exit_code
    except (BrokenPipeError, SystemExit) as ended:
        # Whoever read our output (head, a pager) has had enough, which is no failure. What Python still holds back goes
        # nowhere, or it would complain once more while it ends.
        if isinstance(ended, SystemExit) and ended.code != 1:
            raise  # ended by a signal; with 1 click ends where whoever read its output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(Exit.DONE)
    except (click.Abort, KeyboardInterrupt):
        return _say([_STOPPED], Exit.INTERRUPTED)
    except Exception as error:
        if (signalled := _signal_behind(error)) is not None:
            return _say([_STOPPED] if signalled is Exit.INTERRUPTED else [], signalled)
        # A fault of ours is told in a sentence, too: a page of stack helps nobody who did not write it.
        sentences, status = _sentences(error)
        if status is Exit.FAULT_OF_OURS and os.environ.get("SHUNTBOOK_DEBUG"):
            sentences = "".join(traceback.format_exception(error)).splitlines()
        return _say(sentences, status)


def _signal_behind(error: BaseException | None) -> Exit | None:
    """Return how a signal ends the command while whose doing an error arose; None where none did."""
    # A signal may come while a library starts a thread or a process; what is put away then is half made and complains.
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return Exit.INTERRUPTED
        if isinstance(error, SystemExit) and error.code == Exit.TERMINATED:
            return Exit.TERMINATED
        error = error.__context__
    return None


def _sentences(error: Exception) -> tuple[Sequence[str], Exit]:
    """Return what is to be said of an error, and the status that it ends in."""
    sentence, status = _ended_by(error)
    return error.args if isinstance(error, InputError) else [sentence], status


def _ended_by(error: Exception) -> tuple[str, Exit]:
    """Return the sentence and the status that an error ends in."""
    from ..ingest.live.source import SourceLost  # most commands end without it

    if isinstance(error, (InputError, Refusal)):
        return str(error), Exit.BAD_INPUT
    if isinstance(error, click.ClickException):
        return _usage(error), Exit.BAD_INPUT
    if isinstance(error, (SourceLost, PortFailedError)):
        return str(error), Exit.DEVICE_FAILED
    # A full disk and a wrong name are both OSErrors; scripts must be able to tell them apart.
    if isinstance(error, OSError) and error.errno in DISK_FAILED:
        name = error.filename or "the disk"
        return f"{name}: {reason_of(error)}; no file is half-written", Exit.DEVICE_FAILED
    if isinstance(error, _WRONG_PLACE) or (isinstance(error, OSError) and error.errno in _WRONG_NAME):
        return (
            f"{error.filename or error}: {error.strerror or 'cannot be used'}; name another file or folder",
            Exit.BAD_INPUT,
        )
    return (
        f"a fault of ours ({type(error).__name__}: {error}); your files are as they were. "
        "Run it again with SHUNTBOOK_DEBUG=1 to see where, and tell the developers",
        Exit.FAULT_OF_OURS,
    )


def _usage(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    hint = f"; see {context.command_path} --help" if context is not None else ""
    message = error.format_message().rstrip(".")
    if isinstance(error, click.NoSuchOption) and (others := _having(error.option_name)):
        *most, last = others
        listed = f"{', '.join(most)} and {last} have" if most else f"{last} has"
        # What an option of another command is called is no slip of the pen: click's guesses are left out.
        message = f"no such option '{error.option_name}' here, but {listed} it"
    return message[:1].lower() + message[1:] + hint


def _having(option: str) -> list[str]:
    """Return the commands that have an option."""
    # All are loaded for this, which whoever mistyped an option can wait for.
    commands = {name: group.get_command(click.Context(group), name) for name in COMMANDS}
    return [name for name, command in commands.items() if command and _has(command, option)]


def _has(command: click.Command, option: str) -> bool:
    return any(option in (*one.opts, *one.secondary_opts) for one in command.params if isinstance(one, click.Option))


def _say(sentences: Sequence[str], status: Exit) -> int:
    for number, sentence in enumerate(sentences):
        tell(sentence if number else f"shuntbook: {sentence}")
    return int(status)


def _terminated(_number: int, _frame: FrameType | None) -> None:
    raise SystemExit(int(Exit.TERMINATED))


#: So long a command may take to end by itself, with all it holds put away; common practice, no source. [s]
_PATIENCE_S: Final = 0.5
_STOPPED: Final = "stopped; nothing half-written is left behind"


def _watch_signals() -> None:
    """See from now on that a signal ends this process, also where the main thread does not get to hear of it.

    Python runs what a signal asks for between two steps of the main thread, which may be seconds apart in a library, or
    never come while it waits for a thread; and where an exception passes through a library it may be lost.
    """
    if sys.platform == "win32":  # it would want a socket
        return
    reader, writer = os.pipe()
    os.set_blocking(writer, False)
    signal.set_wakeup_fd(writer, warn_on_full_buffer=False)
    threading.Thread(target=_watch, args=(reader,), name="signals", daemon=True).start()


def _watch(reader: int) -> None:
    statuses = {signal.SIGINT: Exit.INTERRUPTED, signal.SIGTERM: Exit.TERMINATED}
    while True:
        (number,) = os.read(reader, 1)
        if number in statuses:
            time.sleep(_PATIENCE_S)
            _end_at_once(statuses[signal.Signals(number)])


def _end_at_once(status: Exit) -> None:
    """End this process and those it started, with nothing half-written left behind."""
    if "multiprocessing" in sys.modules:
        from multiprocessing import active_children

        for child in active_children():
            child.kill()
    remove_unfinished()
    if status is Exit.INTERRUPTED:
        with suppress(OSError):
            os.write(2, f"shuntbook: {_STOPPED}\n".encode())
    os._exit(int(status))


#: What stands for a character that an encoding may lack; any other becomes a question mark.
_PLAIN = {"−": "-", "×": "x", "≥": ">=", "±": "+-", "“": '"', "”": '"', "‘": "'", "’": "'", "…": "...", "°": "deg"}
_HANDLER = "shuntbook.plain"


def write_what_can_be(*streams: TextIO) -> None:
    """Have streams write a plain character in place of one that their encoding lacks, and not fail for it."""
    codecs.register_error(_HANDLER, _plainly)
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_HANDLER)


def _plainly(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(_PLAIN.get(character, "?") for character in lacking), error.end
