"""The few questions whose answers make a site file that is of use, in the order in which they are asked."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from ...ingest.errors import InputError
from ...ingest.toml.places import Where
from .field import Field
from .form import form_of, text_of
from .remarks import remarks_by_field
from .system import field_at
from .typed import Typed

_INVERTER: Final = ("inverters", 0)
_PUMP: Final = ("loads", 0)


@dataclass(frozen=True)
class SiteQuestion:
    """What is asked of one field.

    `other` is a field that takes the answer where it is in a unit of that one. It is asked only where one of the fields
    `after` was answered; none: in any case. What is not `needed` can be skipped.
    """

    where: Where
    what: str
    other: Where | None = None
    after: tuple[Where, ...] = ()
    needed: bool = False

    @property
    def field(self) -> Field:
        """The field that it asks of."""
        field = field_at(self.where)
        assert field is not None  # a test holds every question to a field
        return field

    @property
    def sentence(self) -> str:
        """The whole question: what is meant, in which units, where it stands, and whether it can be skipped."""
        field = self.field
        units = field.units or tuple(field.choices)
        beside = field_at(self.other) if self.other else None
        other = beside.units if beside else ()
        in_units = f" ({', '.join((*units, *other))})" if units else ""
        skip = "" if self.needed else " Enter skips."
        return f"{self.what}{in_units}. {field.where}{skip}".replace(".  ", ". ")


_WATTS: Final = (*_INVERTER, "continuous_W")
_SURGE: Final = (*_INVERTER, "surge_W")
_PLATE: Final = tuple((*_PUMP, key) for key in ("hp", "voltage_V", "current_A"))
_TANK: Final = ("water", "tank_volume_L")

QUESTIONS: Final = (
    SiteQuestion(("name",), "The name of the place", needed=True),
    SiteQuestion(("bank", "nominal_V"), "The bank's nominal voltage", needed=True),
    SiteQuestion(("bank", "capacity_Ah"), "The bank's capacity", needed=True),
    SiteQuestion(("bank", "chemistry"), "The kind of battery"),
    # Only protection electronics have such a limit, and such a bank cannot be judged without it.
    SiteQuestion(("bank", "max_discharge_A"), "The most amps that the bank lets out", after=(("bank", "chemistry"),)),
    SiteQuestion(_WATTS, "The inverter's power without a break", (*_INVERTER, "continuous_VA")),
    SiteQuestion(_SURGE, "The inverter's power for a moment", (*_INVERTER, "surge_VA"), (_WATTS,)),
    SiteQuestion((*_INVERTER, "surge_s"), "How long the inverter gives that", after=(_SURGE,), needed=True),
    SiteQuestion((*_INVERTER, "output_V"), "The voltage that the inverter gives", after=(_WATTS,)),
    SiteQuestion(_PLATE[0], "The pump's power at the shaft"),
    SiteQuestion(_PLATE[1], "The pump's voltage"),
    SiteQuestion(_PLATE[2], "The pump's amps while running"),
    SiteQuestion(("array", "power_W"), "The solar array's peak power"),
    SiteQuestion(("array", "sun_hours_h"), "Hours of full sun a day", after=(("array", "power_W"),)),
    SiteQuestion(_TANK, "The pressure tank's whole volume", after=_PLATE),
    SiteQuestion(("water", "cut_in_kPa"), "The pressure at which the pump starts", after=(_TANK,), needed=True),
    SiteQuestion(("water", "cut_out_kPa"), "The pressure at which the pump stops", after=(_TANK,), needed=True),
    SiteQuestion(("water", "precharge_kPa"), "The air pressure of the empty tank", after=(_TANK,)),
    SiteQuestion(("water", "flow_L_per_min"), "What the pump gives", after=(_TANK,)),
)
#: What is not asked since there is one of each, by the fields of which one must have been answered.
_FOLLOWS: Final = (
    ((_WATTS,), {(*_INVERTER, "name"): "inverter"}),
    (_PLATE, {(*_PUMP, "name"): "well pump", (*_PUMP, "kind"): "pump"}),
    ((_TANK,), {("water", "load"): "well pump"}),
)


class Interview:
    """A site file that grows answer by answer."""

    def __init__(self) -> None:
        self.text = ""
        self._answered: set[Where] = set()

    def asks(self, question: SiteQuestion) -> bool:
        """Tell whether a question is to be asked after the answers so far."""
        if question.where == ("bank", "max_discharge_A"):
            return form_of(self.text).get(("bank", "chemistry")) == Typed("lifepo4")
        return not question.after or _any(self._answered, question.after)

    def answer(self, question: SiteQuestion, answer: str) -> None:
        """Take an answer; an empty one skips.

        Raises
        ------
        InputError
            If that is no answer, or does not go together with one before; the sentence follows what was asked.
        """
        if not answer.strip():
            if question.needed:
                raise InputError("is needed for a site file")
            return
        fields = [question.where, *([question.other] if question.other else [])]
        results = [text_of(self.text, {where: Typed(answer)} | self._following(question)) for where in fields]
        errors = [next(iter(result.errors.values()), None) for result in results]
        # Of two fields the one whose unit it is; where neither takes it, the first says why.
        right = next((result for result, error in zip(results, errors, strict=True) if error is None), None)
        if right is None:
            raise InputError(str(errors[0]))
        if wrong := _wrong(right.text, question):
            raise InputError(wrong)
        self.text = right.text
        self._answered.add(question.where)

    def _following(self, question: SiteQuestion) -> dict[Where, Typed]:
        """Return what follows from the first answer on a thing without being asked."""
        following: dict[Where, Typed] = {}
        for of, values in _FOLLOWS:
            if question.where in of and not _any(self._answered, of):
                following |= {where: Typed(value) for where, value in values.items()}
                if of is _PLATE and _WATTS in self._answered:
                    following[*_PUMP, "inverter"] = Typed("inverter")
        return following


def _any(answered: Collection[Where], of: Collection[Where]) -> bool:
    return any(where in answered for where in of)


def _wrong(text: str, question: SiteQuestion) -> str | None:
    """Return what the file is not taken for, but for what was not asked yet."""
    for where, remarks in remarks_by_field(text).items():
        for remark in remarks:
            open_yet = "is missing" in remark.sentence or remark.sentence.startswith("needs ")
            if remark.kind == "mistake" and not open_yet:
                field = field_at(where)
                # An answer may make one before impossible: which, has to be said.
                elsewhere = field is not None and where not in (question.where, question.other)
                return f"then '{field.label}' {remark.sentence}" if field and elsewhere else remark.sentence
    return None
