"""The interview about a system: a site file that grows answer by answer, and the way back to any of them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from ...analysis.site.battery_kinds import LEAD_ACID
from ...ingest.errors import InputError
from ...ingest.toml.places import Where
from .compound import Compound, taken_apart
from .field import Field
from .form import form_of, nominal_V_of, text_of
from .questions import INVERTER, PLATE, PUMP, QUESTIONS, TANK, WATTS, SiteQuestion
from .remarks import in_units_of_fields, remarks_by_field
from .system import field_at
from .typed import Typed

#: What stands in each field after an answer.
_Change = Compound | dict[Where, Typed]
_CHEMISTRY: Final = ("bank", "chemistry")
_THE_PUMP: Final = {(*PUMP, "name"): "well pump", (*PUMP, "kind"): "pump"}
#: What is not asked since there is one of each, by the fields of which one must have been answered.
_FOLLOWS: Final = (
    ((WATTS,), {(*INVERTER, "name"): "inverter"}),
    # A tank has its pump, also where nobody knows what is on the pump's plate.
    ((*PLATE, TANK), _THE_PUMP),
    ((TANK,), {("water", "load"): "well pump"}),
)


@dataclass(frozen=True)
class Interview:
    """The answers so far.

    Parameters
    ----------
    text : str
        The site file.
    settled : frozenset of path
        Of the questions that have an answer, their own or another's.
    question, answer : SiteQuestion, str
        The last that was asked, and what was answered.
    taken : str
        How that was taken, where it is not as it was typed.
    odd : tuple of str
        What in all answers goes against practice.
    earlier : Interview
        Before that question; None where nothing was asked yet.
    """

    text: str = ""
    settled: frozenset[Where] = frozenset()
    question: SiteQuestion | None = None
    answer: str = ""
    taken: str = ""
    odd: tuple[str, ...] = ()
    earlier: Interview | None = None

    @property
    def asked(self) -> dict[SiteQuestion, str]:
        """What was asked, in its order, with what was answered."""
        before = {} if self.earlier is None else self.earlier.asked
        return before if self.question is None else {**before, self.question: self.answer}

    def next_question(self, repeated: Collection[SiteQuestion] = ()) -> SiteQuestion | None:
        """Return what is to be asked now; one that another answer has settled only where it is `repeated`."""
        for question in QUESTIONS[0 if self.question is None else QUESTIONS.index(self.question) + 1 :]:
            if self._asks(question) and (question in repeated or not self._has(question)):
                return question
        return None

    def before(self, question: SiteQuestion) -> Interview:
        """Return the interview as it was before it came to a question."""
        if self.question is None or self.earlier is None:
            return self
        behind = QUESTIONS.index(self.question) < QUESTIONS.index(question)
        return self if behind else self.earlier.before(question)

    def answered(self, question: SiteQuestion, answer: str) -> Interview:
        """Return the interview with an answer; an empty one skips.

        Raises
        ------
        InputError
            If that is no answer, or does not go together with one before; the sentence follows what was asked.
        """
        if not answer.strip():
            if question.needed:
                raise InputError("is needed for a site file")
            return self._with(question, answer, self.text, {}, "")
        typed = Typed(answer.strip())
        changes = [taken_apart(where, typed, nominal_V_of(self.text)) or {where: typed} for where in question.fields]
        results = [text_of(self.text, _instead(_fields(each)) | self._following(question)) for each in changes]
        errors = [next(iter(result.errors.values()), None) for result in results]
        # Of two fields the one whose unit it is; where neither takes it, the first says why.
        right = next((n for n, error in enumerate(errors) if error is None), None)
        if right is None:
            raise InputError(str(errors[0]))
        text = results[right].text
        if wrong := _wrong(text, question):
            raise InputError(wrong)
        taken = _taken(question, typed, changes[right], form_of(text))
        return self._with(question, answer, text, _fields(changes[right]), taken)

    def shown(self) -> Iterator[tuple[SiteQuestion, str]]:
        """Yield each question that was asked, or is answered by another's answer, with what stands in the file."""
        form, asked = form_of(self.text), self.asked
        for question in QUESTIONS:
            if question in asked or self._has(question):
                yield question, next((form[each].whole for each in question.fields if each in form), "")

    def _with(
        self, question: SiteQuestion, answer: str, text: str, changed: Collection[Where], taken: str
    ) -> Interview:
        settled = {each.where for each in QUESTIONS if not set(each.fields).isdisjoint(changed)}
        now = Interview(text, self.settled | settled, question, answer, taken, (), self)
        return replace(now, odd=tuple(now._oddities()))

    def _oddities(self) -> Iterator[str]:
        """Yield what goes against practice; not what is said of a figure that will be asked yet."""
        after = QUESTIONS[QUESTIONS.index(self.question) + 1 :] if self.question else QUESTIONS
        open_yet = {where for each in after if self._asks(each) and not self._has(each) for where in each.fields}
        places: dict[str, set[Where]] = {}
        for where, remarks in remarks_by_field(self.text).items():
            for remark in remarks:
                if remark.kind == "look again":
                    places.setdefault(remark.sentence, set()).add(where)
        yield from (in_units_of_fields(each) for each, wheres in places.items() if not wheres & open_yet)

    def _asks(self, question: SiteQuestion) -> bool:
        if question.where == ("bank", "max_discharge_A"):
            return form_of(self.text).get(_CHEMISTRY) == Typed("lifepo4")
        return not question.after or not self.settled.isdisjoint(question.after)

    def _has(self, question: SiteQuestion) -> bool:
        return question.where in self.settled

    def _following(self, question: SiteQuestion) -> dict[Where, Typed]:
        """Return what follows from the first answer on a thing without being asked."""
        following: dict[Where, Typed] = {}
        for of, values in _FOLLOWS:
            if question.where in of and self.settled.isdisjoint(of):
                following |= {where: Typed(value) for where, value in values.items()}
                if values is _THE_PUMP and WATTS in self.settled:
                    following[*PUMP, "inverter"] = Typed("inverter")
        return following


def _fields(change: _Change) -> dict[Where, Typed]:
    return dict(change.fields if isinstance(change, Compound) else change)


def _instead(changes: dict[Where, Typed]) -> dict[Where, Typed]:
    """Return the changes with the fields emptied that say the same in another unit: VA in place of W."""
    fields = {
        where for question in QUESTIONS if not changes.keys().isdisjoint(question.fields) for where in question.fields
    }
    return dict.fromkeys(fields, Typed("")) | changes


def _taken(question: SiteQuestion, typed: Typed, change: _Change, form: Mapping[Where, Typed]) -> str:
    """Return how an answer was taken, where that is not as it was typed."""
    if isinstance(change, Compound):
        return change.words
    shown = next(form[where] for where in question.fields if where in form)
    same = {_plain(shown.text), _plain(shown.whole), _plain(question.field.choices.get(shown.text, shown.text))}
    if _plain(typed.text) in same:
        return ""
    return _choice(question.field, shown.text) if question.field.choices else shown.whole


def _plain(text: str) -> str:
    return re.sub(r"[\s_-]+", "", text).lower().replace(",", ".")


def _choice(field: Field, value: str) -> str:
    """Return what another word for a choice was taken as, and what else it may mean: lead-acid is of several kinds."""
    others = [each for each in field.choices if each != value]
    if field.key == _CHEMISTRY[-1]:
        others = [each for each in others if (each in LEAD_ACID) == (value in LEAD_ACID)]
    return f"{value} ({field.choices[value]}); it may also be {' or '.join(others)}"


def _wrong(text: str, question: SiteQuestion) -> str | None:
    """Return what the file is not taken for, but for what was not asked yet."""
    for where, remarks in remarks_by_field(text).items():
        for remark in remarks:
            open_yet = "is missing" in remark.sentence or remark.sentence.startswith("needs ")
            if remark.kind == "mistake" and not open_yet:
                field = field_at(where)
                # An answer may make one before impossible: which, has to be said.
                elsewhere = field is not None and where not in question.fields
                return f"then '{field.label}' {remark.sentence}" if field and elsewhere else remark.sentence
    return None
