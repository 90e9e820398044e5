"""Meters that send lines of text over a serial port, by themselves or when they are asked."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import serial

from ..errors import InputError
from ..events import Event, Reading, Refused, Remark
from ..exports.delimited.header import looks_ac
from ..profiles.model import Profile
from ..profiles.serial_part import SerialPart
from ..quantities import QUANTITIES
from .address import Address
from .amount_lines import AmountLines
from .line_reader import LineReader, NoReading, recognise
from .lines import LINE_MOST, LineCutter, RawLine, WrongChecksum, covered
from .serial_port import GONE, open_port, port_settings
from .source import Cadence, Clock, LiveSource, SourceLost

#: How long a meter without a profile is listened to for a line that explains itself. [s]
LISTEN_S = 10.0
#: The longest wait for the next bytes, after which the line counts as being at rest. [s]
_SLICE_S = 0.2
#: Control characters as they are kept and shown: a terminal must not obey what a line brought.
_UNPRINTED = {code: f"\\x{code:02x}" for code in (*range(32), 127) if chr(code) != "\t"}
_NEEDS = (
    "a profile must say how its lines are laid out, in a table [serial] with layout and what belongs to it, and which "
    "value is which quantity, in tables such as [quantities.current_A]; give it with --profile"
)


class SerialLines(LiveSource):
    """A meter on a serial port that tells its readings in lines of text.

    The address is ``serial:PORT?baud=19200&parity=none&stop_bits=1&data_bits=8&timeout=1``. Without a profile, lines
    that are JSON objects or ``name=value`` pairs explain themselves, if their names are words that the header of an
    export may have, and so do lines of amounts with their units; ``quantities`` and ``side`` are then known for sure
    once it has been opened, and until then all there are, and ``dc``. `InputError` if the address or the profile is
    wrong.

    The time of a line is when its last byte came; of an answer, the middle between question and answer. The first line
    after opening may have begun before: it counts only if its checksum is right, or if nothing came before it for a
    while. After silence or an answer that cannot be read, what comes late is waited for and thrown away.
    """

    def __init__(self, address: Address, profile: Profile | None, clock: Clock) -> None:
        super().__init__(clock)
        part = profile.serial if profile is not None else None
        self._address, self._part = address, part
        self._settings = port_settings(address, part)
        self._reader: LineReader | AmountLines | None = _reader(address, profile)
        self._question = part.question if part is not None else None
        end, self._encoding = (part.line_end, part.encoding) if part is not None else ("\n", "utf-8")
        self._cutter = LineCutter(end.encode(), self._settings.byte_us)
        self.cadence: Cadence = "pushed" if self._question is None else "polled"
        self.quantities: Sequence[str] = self._reader.quantities if self._reader else tuple(QUANTITIES)
        self._side: str = (profile and profile.side) or "dc"
        self.sampling: str = (profile and profile.sampling) or "instant"
        self._side_is_stated = profile is not None and profile.side is not None
        self._port: serial.Serial | None = None
        self._ever_open = self._in_doubt = False
        self._waiting: list[Event] = []

    @property
    def side(self) -> str:
        """Where the meter sits; once it was set, what the lines speak of does not change it."""
        return self._side

    @side.setter
    def side(self, side: str) -> None:
        self._side, self._side_is_stated = side, True

    def open(self) -> None:
        """Open the port; without a profile, listen until a line explains itself (`InputError` if none does)."""
        self.close()
        self._port = open_port(self._address.place, self._settings, ever_open=self._ever_open)
        now_us = self._clock.now_us()
        if left := self._cutter.begin(now_us):
            self._waiting.append(self._refused(RawLine(now_us, left), "torn", "the line broke off"))
        self._in_doubt = False
        if self._reader is None:
            try:
                self._listen()
            except BaseException:
                self.close()
                raise
        self._ever_open = True

    def read(self, timeout_s: float) -> list[Event]:
        """Ask once, or return what the next bytes complete."""
        events, self._waiting = self._waiting, []
        if self._question is None:
            return events or [self._event(line) for line in self._hear(timeout_s)]
        return events + self._ask(self._question)

    def close(self) -> None:
        """Close the port."""
        port, self._port = self._port, None
        if port is not None:
            with suppress(*GONE):
                port.close()

    def _hear(self, wait_s: float) -> list[RawLine]:
        """Return the lines that the next bytes complete, if any come within `wait_s`."""
        port = self._port
        if port is None:
            raise SourceLost("port gone", f"{self._address.place}: the port is not open")
        try:
            if port.timeout != wait_s:
                port.timeout = wait_s
            chunk = port.read(max(1, port.in_waiting))
        except GONE:
            raise self._gone() from None
        if chunk:
            return self._cutter.feed(chunk, self._clock.now_us())
        self._cutter.at_rest()
        return []

    def _gone(self) -> SourceLost:
        return SourceLost("port gone", f"{self._address.place}: the port is gone; was the cable pulled out?")

    def _ask(self, question: bytes) -> list[Event]:
        """Send the question and return the reading that answers it, with whatever else came before."""
        # Answers carry no number: whatever is still on its way would be taken for this one's answer.
        self._settle()
        asked_us = self._send(question)
        events: list[Event] = []
        while (rest_us := asked_us + self._settings.timeout_s * 1e6 - self._clock.now_us()) > 0:
            for line in self._hear(min(rest_us / 1e6, _SLICE_S)):
                if line.data.strip() == question.strip():
                    continue  # an echo
                event = self._event(line)
                if isinstance(event, Reading):
                    # When in the exchange the meter measured is not known; the middle is at most half of it off.
                    return [*events, replace(event, time_us=(asked_us + event.time_us) // 2)]
                events.append(event)
        self._in_doubt = True
        silence = Remark(self._clock.now_us(), "no answer", f"nothing came within {self._settings.timeout_s:g} s")
        return events or [silence]

    def _send(self, question: bytes) -> int:
        """Send the question; return when. [us]."""
        asked_us = self._clock.now_us()
        try:
            assert self._port is not None  # what was heard while settling came from it
            self._port.write(question)
        except GONE:
            raise self._gone() from None
        return asked_us

    def _settle(self) -> None:
        """Throw away what came unasked; where an answer is missing, wait for it as long as it was waited for."""
        until_us = self._clock.now_us() + (self._settings.timeout_s * 1e6 if self._in_doubt else 0)
        self._hear(0.0)
        while (rest_us := until_us - self._clock.now_us()) > 0:
            self._hear(min(rest_us / 1e6, _SLICE_S))
        self._cutter.begin(self._clock.now_us())
        self._cutter.at_rest()
        self._in_doubt = False

    def _event(self, line: RawLine) -> Event:
        """Return what a line is: a reading, or why it is none."""
        if line.too_long:
            return self._refused(line, "too long", f"it is longer than {LINE_MOST} bytes")
        try:
            text = self._text(line)
        except NoReading as why:
            return self._refused(line, why.kind, str(why))
        assert self._reader is not None  # found while the port was opened
        try:
            return Reading(line.time_us, self._reader.read(text))
        except NoReading as why:
            return self._refused(line, why.kind, str(why))

    def _text(self, line: RawLine) -> str:
        """Return a line's text without its checksum; `NoReading` if it may be torn, is garbled, or that is wrong."""
        checksum = self._part.checksum if self._part is not None else None
        # Half a number is a number: without a checksum a line that was not seen to begin cannot be trusted.
        if not line.whole and checksum is None:
            raise NoReading("torn", "the first line may have begun before the port was opened")
        try:
            data = covered(line.data, checksum) if checksum is not None else line.data
        except WrongChecksum as why:
            raise NoReading("checksum" if line.whole else "torn", str(why)) from None
        text = data.decode(self._encoding, "replace")
        if not text.replace("\t", " ").isprintable() or "\ufffd" in text:
            raise NoReading("garbage", f"it holds bytes that are no text in {self._encoding}; is the baud rate right?")
        return text

    def _refused(self, line: RawLine, kind: str, reason: str) -> Refused:
        text = line.data.decode("ascii", "backslashreplace").translate(_UNPRINTED)
        return Refused(line.time_us, kind, text, reason)

    def _listen(self) -> None:
        """Wait for a line that explains itself, and keep all lines until then."""
        until_us = self._clock.now_us() + round(LISTEN_S * 1e6)
        lines: list[RawLine] = []
        amounts = AmountLines()
        while self._reader is None and not amounts.complete and self._clock.now_us() < until_us:
            for line in self._hear(_SLICE_S):
                lines.append(line)
                self._recognise(line, amounts)
        if self._reader is None and amounts.quantities:
            self._reader, self.quantities = amounts, amounts.quantities
        if self._reader is None:
            raise self._not_understood(lines, amounts.doubt)
        # What was listened to while nothing was understood are readings too.
        self._waiting += [self._event(line) for line in lines]

    def _recognise(self, line: RawLine, amounts: AmountLines) -> None:
        try:
            text = self._text(line)
            recognised = recognise(text) if self._reader is None else None
        except NoReading:
            return
        except InputError as error:
            raise InputError(f"{self._address.text}: {error}") from None
        if recognised is None:
            amounts.hear(text)
            return
        self._reader, names = recognised
        self.quantities = self._reader.quantities
        # Words such as a power factor tell of alternating current; what a person stated goes before that.
        if not self._side_is_stated and looks_ac(names, self.quantities):
            self._side = "ac"

    def _not_understood(self, lines: Sequence[RawLine], doubt: str | None) -> InputError | SourceLost:
        at = f"{self._address.place} at {self._settings.baud} baud"
        if not lines:
            return SourceLost("silence", f"{at}: no line came within {LISTEN_S:g} s; check cable, baud rate and meter")
        event = self._refused(lines[-1], "", "")
        why = f" ({doubt})" if doubt else ""
        return InputError(f"{at}: lines such as {event.text[:100]!r} do not explain themselves{why}; {_NEEDS}")


def _reader(address: Address, profile: Profile | None) -> LineReader | None:
    """Return what reads the lines; None where they must explain themselves."""
    if profile is None:
        return None
    part: SerialPart | None = profile.serial
    if part is None or not profile.quantities:
        raise InputError(f"{address.text}: {_NEEDS}")
    try:
        return LineReader(part, profile.quantities)
    except InputError as error:
        raise InputError(f"{address.text}: {error}") from None
