"""A meter: what is there, what it holds, which register its display shows; and what a profile of the folder says."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final

from ...ingest.errors import InputError
from ...ingest.live.address import Address, parse_address
from ...ingest.live.serial_port import NO_PORTS, list_ports
from ...ingest.live.source import SourceLost
from ...ingest.modbus.connection import TCP_PORT
from ...ingest.modbus.find import Candidate
from ...ingest.modbus.shown_value import parse_shown
from ...ingest.safe_files.whole_file import write_text
from ..probing.by_document import TYPES, read_by_document
from ..probing.finding import DisplaySearch
from ..probing.flow_seen import flow_seen
from ..probing.kept_profile import SIGNED, BankFlow, ChosenRegister, with_register
from ..probing.meter_search import MeterSearch, usual_tries
from ..probing.profile_words import ProfileWords, profile_words
from ..probing.seen_words import candidate_row, change_row, device_lines, sunspec_choices
from .chosen import as_argument, tried
from .desk_handler import DeskHandler
from .jobs import typed

#: The rates that meters are set to, the commonest first. Common practice, no source. [baud]
RATES: Final = (9600, 19200, 115200, 38400, 4800, 2400)
#: So long a page waits for what answers before it is shown; then it is loaded again and again. [s]
_WAIT_S: Final = 1.5
_MOST_CANDIDATES: Final = 12
_UNITS: Final = re.compile(r"\d{1,3}")
_SPAN: Final = re.compile(r"(\d+)(?:-(\d+))?")
_FLOWS: Final[dict[str, BankFlow]] = {"out": "out", "in": "in", "ac": "ac"}
_OF_DOCUMENT: Final = ("address", "from", "table", "type", "order", "scale", "unit_of_value")
_TYPED: Final = ("host", "port", "unit", "registers", "cable", "speaks", "rate")


class Meters(DeskHandler):
    """Where a meter may be; what answers there; a profile of the folder."""

    step = "Meter"

    async def get(self) -> None:
        """Show it."""
        search = self.desk.searches.get(self.field("search"))
        if search is not None and self.field("part") == "changes":
            self.show("changes.html", **self._watched(search))
        elif search is not None:
            await self.show_search(search)
        elif self.field("file") and not self.field("search"):
            await self.show_profile({})
        else:
            # The desk was closed meanwhile: what was looked at is known, what answered is not.
            gone = {"": "What answered is no longer known here; look at it again."} if self.field("search") else {}
            await self.show_places(gone)

    async def post(self) -> None:
        """Look at a place, and lead to what answers."""
        search, sentences = await self.in_thread(tried, self._search, self.desk.folder, {
            "host": "host", "port to a": "cable", "The unit id ": "unit", "--registers": "registers", "": "host",
        })  # fmt: skip
        if search is None:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self.show_places(sentences)
            return
        self.lead_on(self.desk.searches.add(search), search)

    def lead_on(self, key: str, search: MeterSearch, **more: str) -> None:
        """Lead to a search; its source stands in the address, so that a desk that was closed can look at it again."""
        profile = {"file": self.field("file")} if self.field("file") else {}
        self.lead_to("/meter", search=key, source=search.source, **{**profile, **more})

    def _search(self) -> MeterSearch:
        unit = self.field("unit")
        if unit and not (_UNITS.fullmatch(unit) and int(unit) <= 255):
            raise InputError(f"The unit id {unit!r} must be a number from 0 to 255, or nothing")
        tries = self._on_cable(unit) if self.field("by") == "cable" else [self._in_network(unit)]
        return MeterSearch(tries, registers=_span(self.field("registers")))

    def _in_network(self, unit: str) -> Address:
        host, _, with_port = self.field("host").partition(":")
        if not host:
            raise InputError("say the meter's host or address in the network, such as 192.0.2.7")
        # Written together, as people copy it, or in the field of its own.
        port = with_port or self.field("port") or str(TCP_PORT)
        return parse_address(f"modbus-tcp:{host}:{port}{f'?unit={unit}' if unit else ''}")

    def _on_cable(self, unit: str) -> list[Address]:
        port = self.field("cable")
        if not port:
            raise InputError("choose a port to a meter, or type its name")
        # Without a word on it both kinds are tried at each rate, the one that only listens first.
        rates = [int(self.field("rate"))] if self.field("rate") in map(str, RATES) else list(RATES)
        kind = {"text": "serial", "modbus": "modbus-rtu"}.get(self.field("speaks"))
        every = usual_tries(port, rates)
        with_unit = f"&unit={unit}" if unit else ""
        return [
            parse_address(each.text + (with_unit if each.kind == "modbus-rtu" else ""))
            for each in every
            if kind in (None, each.kind)
        ]

    async def show_places(self, sentences: Mapping[str, str]) -> None:
        """Show where a meter may be."""
        values = {name: self.field(name) for name in _TYPED}
        if self.field("source") and not any(values.values()):
            values |= _parts_of(self.field("source"))
        ports = await self.in_thread(list_ports)
        self.show(
            "meter.html",
            ports=ports,
            no_ports=NO_PORTS,
            usual_port=TCP_PORT,
            rates=RATES,
            values=values,
            file=self.field("file"),
            profiles=await self.in_thread(self.desk.folder.of_kind, "profile"),
            sentences=sentences,
        )

    async def show_search(self, search: MeterSearch, sentences: Mapping[str, str] | None = None) -> None:
        """Show what answers, what its display was found to show, and what changes."""
        # A device in the network answers at once, as a rule: then nobody sees that it was waited for.
        looked = await self.in_own_thread(lambda: search.wait(_WAIT_S))
        if looked and search.wrong and search.watch is None:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self.show_places({"": _in_page_words(search.wrong)})
            return
        display = search.display
        of = self.field("of")
        asked: dict[str, Any] = {"shown": None, "settled": False}
        if display is not None and of in display.rounds:
            asked = _asked(search, display, of)
        file = self.field("file")
        self.show(
            "met.html",
            key=self.field("search"),
            search=search,
            looked=looked,
            devices=device_lines(search.watch) if search.watch is not None else [],
            models=sunspec_choices(search) if looked else [],
            of=of,
            value=self.field("value") if sentences else "",
            file=file,
            rows=(await self._profile_of(file))[0] if file else None,
            taken=self.field("taken"),
            types=TYPES,
            document={name: self.field(name) for name in _OF_DOCUMENT},
            name=self.field("name") or self.desk.folder.free_name("meter.toml").removesuffix(".toml"),
            watching=self.field("watch") == "1",
            same_find=typed(["probe", search.source, "--find", asked["shown"].text]) if asked["shown"] else "",
            same_watch=typed(["probe", search.source, "--watch"]),
            sentences=dict(sentences or {}),
            **asked,
            **self._watched(search),
        )

    async def _profile_of(self, name: str) -> tuple[ProfileWords | None, dict[str, str]]:
        folder = self.desk.folder
        return await self.in_thread(tried, lambda: profile_words(folder.existing(name)), folder, {})

    def _watched(self, search: MeterSearch) -> dict[str, Any]:
        changes = [] if search.watch is None else [change_row(each, search.watch) for each in search.changes]
        return {
            "is_watching": search.is_watching,
            "resting": search.resting,
            "by_load": [row for row in changes if not row.by_itself],
            "by_itself": [row.place for row in changes if row.by_itself],
            "trouble": search.wrong if search.watch is not None else "",
        }

    async def show_profile(self, sentences: Mapping[str, str], gives: Mapping[str, float] | None = None) -> None:
        """Show what a profile says, and where it is used."""
        name = self.field("file")
        rows, wrong = await self._profile_of(name)
        self.show(
            "profile.html",
            file=name,
            rows=rows,
            source=self.field("source") or (rows.usual_source if rows is not None else ""),
            gives=gives,
            sentences={**wrong, **sentences},
            same=typed(["probe", self.field("source"), "--profile", as_argument(name)]) if gives is not None else "",
        )


class MeterAsked(Meters):
    """What is asked of a meter that answers: a value of its display, a register that is taken, a watch."""

    async def get(self) -> None:
        """Show the meter: these are sent, not asked for."""
        self.lead_to("/meter", **{name: self.field(name) for name in ("search", "source", "file") if self.field(name)})

    async def post(self) -> None:
        """Do it, and lead back."""
        search = self.desk.searches.get(self.field("search"))
        # The desk was closed meanwhile: where to look again stands in the address that this leads to.
        if search is None:
            await self.get()
            return
        deeds = {"take": self._take, "watch": self._watch, "document": self._read}
        work = deeds.get(self.field("do"), self._find)
        fields = {"which way": "flow", "file's name": "name", "no bank carries": "sure", "begin another": "name"}
        fields |= {"The address": "address", "The type": "type", "The scale": "scale", "The unit": "unit_of_value"}
        folder = self.desk.folder
        more, sentences = await self.in_own_thread(
            lambda: tried(lambda: _told(work, search), folder, {**fields, "": "value"})
        )
        if more is None:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self.show_search(search, sentences)
        else:
            self.lead_on(self.field("search"), search, **more)

    def _find(self, search: MeterSearch) -> dict[str, str]:
        shown = parse_shown(self.field("value"), what="--find")
        if shown.quantity is None:
            raise InputError(f"--find: say in what unit, such as {shown.text} A or {shown.text} V")
        search.take(shown)
        return {"of": shown.quantity}

    def _read(self, search: MeterSearch) -> dict[str, str]:
        return {"of": read_by_document(search, {name: self.field(name) for name in _OF_DOCUMENT})}

    def _watch(self, search: MeterSearch) -> dict[str, str]:
        if self.field("on") == "1":
            search.begin_watch()
            return {"watch": "1"}
        search.end_watch()
        return {"watch": "0"}

    def _take(self, search: MeterSearch) -> dict[str, str]:
        """Write the register into the profile, or into a new one."""
        of, folder = self.field("of"), self.desk.folder
        display = search.display
        candidate = next((each for each in search.ranked.get(of, ()) if key_of(each) == self.field("candidate")), None)
        if display is None or candidate is None:
            raise InputError("--find: that is no longer the value that was searched; type what the display shows now")
        flow = _FLOWS.get(self.field("flow"))
        if flow is None and of in SIGNED:
            raise InputError("Say which way it flowed while the display showed it; nothing else tells draw from charge")
        chosen = ChosenRegister(candidate, display.shown()[of], flow or "out", sure=self.field("sure") == "1")
        name = self.field("file")
        text = folder.existing(name).read_text(encoding="utf-8-sig") if name else None
        written = with_register(text, chosen)
        name = name or folder.free_name(f"{(self.field('name') or 'meter').removesuffix('.toml')}.toml")
        write_text(folder.place(name), written)
        return {"file": name, "taken": of}


class ProfileTried(Meters):
    """What a profile's registers give now."""

    async def get(self) -> None:
        """Show the profile: the meter is asked by a button."""
        self.lead_to("/meter", file=self.field("file"), source=self.field("source"))

    async def post(self) -> None:
        """Read the meter once."""

        def command() -> list[str]:
            name = self.desk.folder.existing(self.field("file")).name
            return ["probe", parse_address(self.field("source")).text, "--profile", as_argument(name), "--json"]

        words, sentences = await self.in_thread(tried, command, self.desk.folder, {"": "source"})
        if words is None:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self.show_profile(sentences)
            return
        if self.field("do") == "read":
            self.lead_to("/capture", source=self.field("source"), profile=self.field("file"))
            return
        ended = await self.desk.jobs.run(words)
        if ended.status:
            await self.show_profile({"source": ended.sentence})
            return
        document = json.loads(ended.result)
        odd = " ".join(document["odd"])
        await self.show_profile({"source": odd} if odd else {}, document["values"])


def key_of(candidate: Candidate) -> str:
    """Return what names a candidate in a form."""
    order = candidate.word_order or "-"
    place = f"{candidate.unit} {candidate.table} {candidate.address} {candidate.type} {order}"
    return f"{place} {candidate.scale:g} {int(candidate.is_turned)}"


def _asked(search: MeterSearch, display: DisplaySearch, of: str) -> dict[str, Any]:
    """Return what the page tells of a value that was typed: what gives it, and which way it seems to flow."""
    ranked = search.ranked.get(of, ())
    return {
        "shown": display.shown()[of],
        "candidates": [(key_of(each), candidate_row(each, display, of)) for each in ranked[:_MOST_CANDIDATES]],
        "total": len(ranked),
        "settled": search.settled(of) is not None,
        "rounds": [each.shown.text for each in display.rounds[of]],
        "asks_flow": of in SIGNED,
        "flow": flow_seen(search, of) if of in SIGNED else None,
    }


def _told(work: Any, search: MeterSearch) -> dict[str, str]:  # noqa: ANN401 - one of several
    try:
        result: dict[str, str] = work(search)
    except SourceLost as lost:
        raise InputError(str(lost)) from None
    return result


def _span(text: str) -> tuple[int, int] | None:
    if not text:
        return None
    parts = _SPAN.fullmatch(text)
    if parts is None:
        raise InputError(f"--registers: {text!r} must be a number or FIRST-LAST, such as 0-39")
    return int(parts[1]), int(parts[2] or parts[1])


def _parts_of(source: str) -> dict[str, str]:
    """Return the form's fields for a source that was looked at before."""
    try:
        address = parse_address(source)
    except InputError:
        return {}
    unit = address.settings.get("unit", "")
    if address.kind.endswith("tcp"):
        host, _, port = address.place.rpartition(":")
        return {"host": host, "port": port, "unit": unit}
    speaks = "text" if address.kind == "serial" else "modbus"
    return {"cable": address.place, "unit": unit, "speaks": speaks, "rate": address.settings.get("baud", "")}


def _in_page_words(sentence: str) -> str:
    """Return a command's sentence without its options' names, which the page's fields do not have."""
    return sentence.replace("--units", "unit ids").replace("--registers FIRST-LAST", "registers")
