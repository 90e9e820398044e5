"""The search for a meter by somebody who may go away: looked at, asked and watched in threads that end by themselves.

A port or connection is open only while something is being read. What was found stays known without it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Final

from ...ingest.errors import InputError
from ...ingest.events import Reading, Refused
from ...ingest.live.address import Address, make_source, parse_address
from ...ingest.live.serial_port import open_port, port_settings
from ...ingest.live.source import SourceLost, SteadyClock
from ...ingest.modbus.find import Candidate, SeenRound, settled
from ...ingest.modbus.probe import UNITS, UnitSeen, unit_seen
from ...ingest.modbus.shown_value import ShownValue
from ...ingest.modbus.watch import REST_S, Change, Watch, watch
from .finding import DisplaySearch

#: Who does not ask for so long has gone: a watch ends then, and so does a long look for what answers. [s]
PATIENCE_S: Final = 6.0
_LOOK_PATIENCE_S: Final = 30.0
_PACE_S: Final = 0.25
#: How long a unit that was named may take to answer, at one rate or each of several. Common practice, no source. [s]
_ALONE_S: Final = 3.0
_ALONE_AT_EACH_RATE_S: Final = 0.8
#: A meter that sends lines of text does so at least as often, as a rule. Common practice, no source. [s]
_LISTEN_S: Final = 1.6
#: Of what is heard so much must be text, where it is a meter's lines and no other rate's noise. [1]
_TEXT_SHARE: Final = 0.9
#: A port that another page of the same program uses is waited for so long. [s]
_TURN_S: Final = 3.0
_turns: dict[str, threading.Lock] = {}


@dataclass(frozen=True)
class TextMeter:
    """A meter that sends lines which explain themselves: what they tell, the newest values, and lines as they came."""

    quantities: tuple[str, ...]
    values: Mapping[str, float]
    refused: tuple[str, ...]


class _LeftError(Exception):
    """Nobody asks any more."""


@dataclass
class MeterSearch:
    """What is known of what answers at one of some `tries`, addresses of which the first that answers is taken.

    ``doing`` says what is being done, ``wrong`` what came of it where nothing answers. ``units`` are the devices that
    speak Modbus with their SunSpec models, ``text`` is a meter of lines.
    """

    tries: Sequence[Address]
    units_tried: Sequence[int] = UNITS
    registers: tuple[int, int] | None = None
    doing: str = ""
    wrong: str = ""
    address: Address | None = None
    watch: Watch | None = None
    display: DisplaySearch | None = None
    ranked: Mapping[str, Sequence[Candidate]] = field(default_factory=dict)
    units: list[UnitSeen] = field(default_factory=list)
    text: TextMeter | None = None
    changes: tuple[Change, ...] = ()
    resting: bool = False
    _clock: SteadyClock = field(default_factory=SteadyClock)
    _asked_s: float = field(default_factory=time.monotonic)
    _looked: threading.Event = field(default_factory=threading.Event)
    _watcher: threading.Thread | None = None
    _stop: threading.Event = field(default_factory=threading.Event)

    @property
    def source(self) -> str:
        """The address as a capture takes it: that of what answered, else the first one tried."""
        return (self.address or self.tries[0]).text

    def begin(self) -> None:
        """Look for what answers, in a thread of its own."""
        threading.Thread(target=self._run, name="look at a meter", daemon=True).start()

    def ask(self) -> None:
        """Tell it that somebody is still there."""
        self._asked_s = time.monotonic()

    def wait(self, within_s: float) -> bool:
        """Wait until all was looked at; tell whether it was."""
        return self._looked.wait(within_s)

    @property
    def is_watching(self) -> bool:
        """Whether its registers are being watched."""
        return self._watcher is not None and self._watcher.is_alive()

    def take(self, shown: ShownValue) -> None:
        """Read it for a value that its display shows now. `InputError`, `SourceLost` as `DisplaySearch`."""
        self.end_watch()
        # One at a time on a bus: what is asked for by hand goes before what is watched.
        with self._opened() as watching:
            self.display = self.display or DisplaySearch(watching, self._clock)
            self.display.take([shown])
        # Worked out once: a device of a thousand registers takes a second or two.
        self.ranked = self.display.candidates()

    def read_now(self) -> DisplaySearch:
        """Read all registers once. `InputError`, `SourceLost` as `take`."""
        self.end_watch()
        with self._opened() as watching:
            watching.step()
            self.display = self.display or DisplaySearch(watching, self._clock)
        return self.display

    def keep(self, quantity: str, seen: SeenRound, candidate: Candidate) -> None:
        """Take a register for a quantity that was not searched: somebody knows it."""
        if self.display is not None:
            self.display.rounds[quantity] = [seen]
            self.ranked = {**self.ranked, quantity: [candidate]}

    def settled(self, quantity: str) -> Candidate | None:
        """Return the candidate for a quantity that is left or far ahead."""
        rounds = self.display.rounds.get(quantity, []) if self.display is not None else []
        return settled(self.ranked.get(quantity, ()), rounds)

    def begin_watch(self) -> None:
        """Watch what changes, in a thread of its own, for as long as somebody asks; `InputError` if it cannot be."""
        if self.is_watching:
            return
        if self.watch is None:
            raise InputError("there are no registers to watch here; look at the meter first")
        self.ask()
        self.wrong, self.changes, self.resting = "", (), True
        self._stop.clear()
        self._watcher = threading.Thread(target=self._watch, name="watch a meter", daemon=True)
        self._watcher.start()

    def end_watch(self) -> None:
        """End it, and wait until the connection is free."""
        self._stop.set()
        if self._watcher is not None:
            self._watcher.join(_TURN_S)

    def _run(self) -> None:
        try:
            self._look()
        except _LeftError:
            self.wrong = "nobody asked any more, so it was left; look again"
        except (InputError, SourceLost) as error:
            self.wrong = str(error)
        finally:
            self._looked.set()

    def _look(self) -> None:
        sentences: list[str] = []
        for address in self.tries:
            self.doing = f"asking {address.text}"
            try:
                with _turn_at(address):
                    self._look_at(address)
            except (InputError, SourceLost) as error:
                sentences.append(str(error))
                continue
            self.address = address
            return
        # Of many rates the last is no better than the first: what all say is said once.
        raise InputError(sentences[0] if len(set(sentences)) == 1 else self._nothing(sentences))

    def _nothing(self, sentences: Sequence[str]) -> str:
        if len(self.tries) == 1:
            return sentences[-1]
        return f"{self.tries[0].place}: nothing answers at the usual rates; check wiring and power"

    def _look_at(self, address: Address) -> None:
        self._tell(f"asking {address.text}")
        if address.kind == "serial":
            self._listen(address)
            return
        watching = watch(
            self._patient(address), self._clock, units=self.units_tried, registers=self.registers, tell=self._tell
        )
        with watching:
            self._tell("looking for SunSpec models")
            self.units = [unit_seen(device.line) for device in watching.devices]
        self.watch = watching

    def _patient(self, address: Address) -> Address:
        """Return an address that is waited for longer where one unit alone is asked: nobody waits for nine others."""
        if "unit" not in address.settings or "timeout" in address.settings:
            return address
        timeout_s = _ALONE_S if len(self.tries) == 1 else _ALONE_AT_EACH_RATE_S
        return replace(address, settings={**address.settings, "timeout": f"{timeout_s:g}"})

    def _listen(self, address: Address) -> None:
        # Where nobody knows what it speaks, a silent port costs a moment and not the ten seconds of a meter of text.
        if len(self.tries) > 1 and not _hears_text(address):
            raise InputError(f"{address.place}: no lines of text came")
        source = make_source(address.text, None, self._clock)
        source.open()
        try:
            events = source.read(_LISTEN_S)
            readings = [event.values for event in events if isinstance(event, Reading)]
            refused = [f"{event.text} ({event.reason})" for event in events if isinstance(event, Refused)]
        finally:
            source.close()
        values = {name: value for reading in readings for name, value in reading.items()}
        self.text = TextMeter(tuple(source.quantities), values, tuple(refused[-2:]))

    def _tell(self, what: str) -> None:
        if time.monotonic() - self._asked_s > _LOOK_PATIENCE_S:
            raise _LeftError
        self.doing = what

    @contextmanager
    def _opened(self) -> Iterator[Watch]:
        if self.watch is None or self.address is None:
            raise InputError("there are no registers to search here; look at the meter first")
        with _turn_at(self.address):
            self.watch.reopen()
            with self.watch:
                yield self.watch

    def _watch(self) -> None:
        try:
            with self._opened() as watching:
                watching.begin_anew()
                self._follow(watching)
        except (InputError, SourceLost) as error:
            self.wrong = str(error)
        finally:
            self.resting = False

    def _follow(self, watching: Watch) -> None:
        start_s, steps = time.monotonic(), 0
        while not self._stop.is_set() and time.monotonic() - self._asked_s < PATIENCE_S:
            if self.resting and steps > 1 and time.monotonic() - start_s >= REST_S:
                self.resting = False
                watching.rest_is_over()
            watching.step()
            steps += 1
            # Made here, and whole: a page asks for them while the next step is being read.
            self.changes = tuple(watching.changes())
            self._stop.wait(_PACE_S)


class MeterSearches:
    """The searches of a program, by a number that nobody guesses twice; the oldest make way."""

    _MOST = 16

    def __init__(self, new_key: Callable[[], str]) -> None:
        self._new_key = new_key
        self._searches: dict[str, MeterSearch] = {}

    def add(self, search: MeterSearch) -> str:
        """Begin a search, and return its key."""
        while len(self._searches) >= self._MOST:
            self._searches.pop(next(iter(self._searches))).end_watch()
        key = self._new_key()
        self._searches[key] = search
        search.begin()
        return key

    def get(self, key: str) -> MeterSearch | None:
        """Return a search, which then knows that somebody is there; None where there is none any more."""
        search = self._searches.get(key)
        if search is not None:
            search.ask()
        return search


def usual_tries(port: str, rates: Sequence[int]) -> list[Address]:
    """Return where a meter on a serial port may be: lines of text first, for which one only listens."""
    texts = [f"{kind}:{port}?baud={rate}" for rate in rates for kind in ("serial", "modbus-rtu")]
    return [parse_address(text) for text in texts]


def _hears_text(address: Address) -> bool:
    """Listen for a moment whether lines of text come by themselves."""
    port = open_port(address.place, port_settings(address, None), ever_open=False)
    try:
        port.timeout = _LISTEN_S
        data = port.read(400)
    finally:
        port.close()
    text = sum(32 <= byte < 127 or byte in b"\t\r\n" for byte in data)
    return len(data) > 3 and b"\n" in data and text >= _TEXT_SHARE * len(data)


@contextmanager
def _turn_at(address: Address) -> Iterator[None]:
    """Have a port or host for oneself: two pages that ask one meter at once would get each other's answers."""
    turn = _turns.setdefault(address.place, threading.Lock())
    if not turn.acquire(timeout=_TURN_S):
        raise InputError(f"{address.place}: is being read by another page of the desk; end the watching there")
    try:
        yield
    finally:
        turn.release()
