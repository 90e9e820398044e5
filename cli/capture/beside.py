"""What lies beside a log while it is captured: its inbox and its state, so that others can find it and speak to it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import reason_of
from ..door import tell
from .inbox import Inbox
from .plan import Plan
from .state_file import CaptureState, StateFile

#: A page is shown under this name where nobody gave it one.
UNTITLED = "What is being measured"


@dataclass(frozen=True)
class Announced:
    """What others are told of a capture: its source as it was asked for, its title, the link of its page."""

    source: str
    title: str | None = None
    page: str | None = None

    def called(self, plans: Sequence[Plan]) -> str:
        """Return its title, or that of the site, or one for any."""
        site = plans[0].site
        return self.title or (site.name if site is not None else UNTITLED)


@contextmanager
def beside_the_log(plans: Sequence[Plan], announced: Announced, since_us: int) -> Iterator[Inbox | None]:
    """Make a capture's inbox and its state while the block lasts; gives the inbox.

    A capture goes on without them where they cannot be made: that it reads its meters matters more.
    """
    logs = tuple(plan.log for plan in plans)
    state = CaptureState(
        logs[0], logs, announced.source, announced.called(plans), announced.page, since_us, os.getpid()
    )
    with ExitStack() as stack:
        inbox = None
        try:
            inbox = Inbox(state.log)
            stack.callback(inbox.close)
            # The state after the inbox: who finds the capture can leave something for it.
            stack.callback(StateFile(state).close)
        except (InputError, OSError) as error:
            why = reason_of(error) if isinstance(error, OSError) else error
            tell(f"note: nobody else can find this capture or leave a note for it ({why})")
        yield inbox
