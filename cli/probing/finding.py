"""Find the register of a value on the meter's display: on the terminal, with more values as they are typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from ...ingest.errors import InputError
from ...ingest.live.source import Clock
from ...ingest.modbus.find import Candidate, SeenRound, find, found_profile, settled
from ...ingest.modbus.shown_value import ShownValue, parse_shown
from ...ingest.modbus.watch import Look, Watch
from ..render.terminal.answer import Block, Reply
from ..render.terminal.columns import Columns
from ..render.wording.numbers import counted, true_minus
from .watching import device_document, refusal_lines, units_words

#: So often all registers are read for one value, since it may change while it is typed, with pauses. [1], [s]
_LOOKS, _PAUSE_S = 5, 0.2
#: So many candidates of a value are shown before the others are asked for.
_MOST_SHOWN = 4


@dataclass
class DisplaySearch:
    """The search for what one display shows: each value with what was read while it was shown."""

    watch: Watch
    clock: Clock
    rounds: dict[str, list[SeenRound]] = field(default_factory=dict)

    def take(self, shown: Sequence[ShownValue]) -> None:
        """Read the device for values that its display shows now; of one that was searched before, as one more.

        `InputError` if two of the values are of one kind.
        """
        names = [_name(each) for each in shown]
        if len(set(names)) < len(names):
            raise InputError(
                "--find: two values of one kind; give one of each, such as --find '74.5 A' --find '11.9 V'"
            )
        # All values of one display at once: those of one moment belong together.
        looks = self._looks()
        for name, each in zip(names, shown, strict=True):
            self.rounds.setdefault(name, []).append(SeenRound(each, looks))

    def candidates(self) -> dict[str, list[Candidate]]:
        """Return for each value what gives it, the most plausible first."""
        alone = {name: find(rounds) for name, rounds in self.rounds.items()}
        # Each by itself first, then each beside what was found for the others.
        if len(alone) < 2:
            return alone
        return {
            name: find(rounds, others=[ranked for other, ranked in alone.items() if other != name])
            for name, rounds in self.rounds.items()
        }

    def settled(self) -> dict[str, Candidate | None]:
        """Return for each value the candidate that is left or far ahead."""
        return {name: settled(ranked, self.rounds[name]) for name, ranked in self.candidates().items()}

    def shown(self) -> dict[str, ShownValue]:
        """Return the last value of each."""
        return {name: rounds[-1].shown for name, rounds in self.rounds.items()}

    def next_value(self, text: str) -> ShownValue:
        """Return a value that is typed next: without a unit it is one more of the only one searched."""
        shown = parse_shown(text)
        if shown.quantity is None and len(self.rounds) == 1:
            (only,) = self.shown().values()
            return ShownValue(shown.text, shown.value, shown.digit, only.unit, only.quantity)
        return shown

    def _looks(self) -> list[Look]:
        looks: list[Look] = []
        for _ in range(_LOOKS):
            self.watch.step()
            looks.append(self.watch.look())
            self.clock.sleep(_PAUSE_S)
        if not any(looks):
            troubles = "; ".join(device.trouble for device in self.watch.devices if device.trouble)
            raise InputError(f"the device gave no registers ({troubles}); try again")
        return looks


def _name(shown: ShownValue) -> str:
    return shown.quantity or ""


def narrow(search: DisplaySearch, ask: Callable[[str], str | None], tell: Callable[[str], None]) -> None:
    """Ask for more values as long as several candidates are left and something is typed."""
    while not all(search.settled().values()):
        left = max(len(ranked) for ranked in search.candidates().values())
        # None is left where a slip was typed, or the device has no such value: more of the same would not help.
        if left == 0:
            return
        tell(f"{counted(left, 'candidate')}; switch the load, wait until the display stands still")
        typed = ask("what it shows now (nothing: end)")
        if not typed:
            return
        try:
            search.take([search.next_value(typed)])
        except InputError as error:  # a slip of the pen ends no search
            tell(str(error))


def find_reply(search: DisplaySearch) -> Reply:
    """Return the candidates for each value, and what tells them apart."""
    blocks: list[Block] = []
    reasons: list[Block] = [units_words(device.units) for device in search.watch.devices]
    last = ""
    for name, candidates in search.candidates().items():
        shown = search.shown()[name]
        blocks += _blocks(shown, candidates[:_MOST_SHOWN], len(candidates), search)
        reasons += [f"{shown.text}:", _table(candidates, search, shown)] if candidates else []
        if len(candidates) > 1 and search.settled()[name] is None:
            last = (
                "To tell them apart, switch the load and type the new value where this is asked for, or add what else "
                "the display shows: --find '74.5 A' --find '11.95 V'"
            )
    refused = refusal_lines(search.watch.devices)
    return Reply(blocks, [*reasons, *refused], more="all candidates, why each, what was refused", last=last)


def _blocks(shown: ShownValue, best: Sequence[Candidate], total: int, search: DisplaySearch) -> list[Block]:
    registers = sum(len(device.places) for device in search.watch.devices)
    if not best:
        return [
            f"{shown.text}: none of {counted(registers, 'register')} gives it; type what the display shows at this "
            "moment, with all its digits, or name other registers with --registers FIRST-LAST"
        ]
    chosen = search.settled()[_name(shown)]
    if chosen is not None:
        others = f"; {counted(total - 1, 'other', 'others')} far less plausible" if total > 1 else ""
        return [f"{shown.text}: {candidate_words(chosen, search, shown)}{others}"]
    return [f"{shown.text}: {total:,} may be it, the likeliest first", _table(best, search, shown)]


def candidate_words(candidate: Candidate, search: DisplaySearch, shown: ShownValue) -> str:
    """Return in a line where a value stands and how it is read."""
    unit = f"unit {candidate.unit}, " if len(search.watch.devices) > 1 else ""
    order = ", low word first" if candidate.word_order == "little" else ""
    sign = ", sign turned" if candidate.is_turned else ""
    gives = given_words(candidate, shown)
    why = f" ({'; '.join(candidate.reasons)})" if candidate.reasons else ""
    place = f"{unit}{candidate.table} {candidate.address}, {candidate.type}{order}"
    return f"{place}, scale {candidate.scale:g}{sign}, gives {gives}{why}"


def _table(candidates: Sequence[Candidate], search: DisplaySearch, shown: ShownValue) -> Columns:
    several = len(search.watch.devices) > 1
    rows = [
        [
            f"{f'unit {each.unit} ' if several else ''}{each.table} {each.address}",
            f"{each.type}{', low word first' if each.word_order == 'little' else ''}",
            f"{each.scale:g}",
            given_words(each, shown),
            "; ".join([*each.reasons, *(f"the same at {table} {at}" for table, at in each.same_at)]),
        ]
        for each in candidates
    ]
    return Columns(rows, ("register", "type", "scale", "gives", "why"), right=(2, 3))


def given_words(candidate: Candidate, shown: ShownValue) -> str:
    """Return what a candidate gives, with all digits that it has."""
    # All digits that a float32 holds: what is compared with a display must not be rounded.
    return true_minus(f"{candidate.value:.7g} {shown.unit or ''}".strip())


def profile_of(search: DisplaySearch) -> str:
    """Return the text of a profile of what is settled.

    `InputError` if of any value several candidates are left, none is, or nobody said what it is.
    """
    shown = search.shown()
    chosen: dict[str, Candidate] = {}
    for name, candidates in search.candidates().items():
        # A profile that may be wrong would be believed: without one the person knows that something is open.
        best = search.settled()[name]
        if best is None:
            what = f"{len(candidates)} registers may be it" if candidates else "no register gives it"
            raise InputError(
                f"--keep-profile: {shown[name].text}: {what}, so no profile was written; add another value of the "
                "display, such as --find '11.95 V', or type the value again after the load was switched"
            )
        if not name:
            raise InputError(
                f"--keep-profile: {shown[name].text}: say in what unit, such as --find '{shown[name].text} A', so that "
                "the profile can say what it is"
            )
        chosen[name] = best
    return found_profile(chosen, shown)


def find_document(place: str, search: DisplaySearch) -> dict[str, object]:
    """Return the same for scripts."""
    shown: Mapping[str, ShownValue] = search.shown()
    return {
        "place": place,
        "devices": [device_document(device) for device in search.watch.devices],
        "values": [
            {
                "shown": shown[name].text,
                "quantity": shown[name].quantity,
                "settled": search.settled()[name] is not None,
                "candidates": [_candidate_document(each) for each in candidates],
            }
            for name, candidates in search.candidates().items()
        ],
    }


def _candidate_document(candidate: Candidate) -> dict[str, object]:
    return {
        "unit": candidate.unit,
        "table": candidate.table,
        "address": candidate.address,
        "type": candidate.type,
        "word_order": candidate.word_order,
        "scale": candidate.scale,
        "sign_turned": candidate.is_turned,
        "gives": candidate.value,
        "reasons": list(candidate.reasons),
        "same_at": [{"table": table, "address": at} for table, at in candidate.same_at],
    }
