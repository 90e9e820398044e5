"""An export as it is taken by a person's answers, and the one question that matters first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pydantic import TypeAdapter

from ...ingest.errors import Choice, InputError, Question
from ...ingest.exports.choices import ChoiceError, Choices, stated_of
from ...ingest.exports.preview import preview
from ..opening.sign_seen import sign_seen
from .answers import OF_PROFILES, OF_SIGN, ExportAnswers
from .profiles import fitting_profiles, is_of_folder

if TYPE_CHECKING:
    from ...ingest.exports.preview import Preview
    from ..opening.sign_seen import SignSeen

#: A page is asked for again at each choice, and much of it is as it was.
_REMEMBERED: Final = 64
_CHOICES: Final = TypeAdapter(Choices)
#: The form's field for an option that a sentence names.
_FIELDS: Final = {
    "--dates": "times",
    **{f"--{name}": name for name in ("zone", "start", "times", "decimal", "sheet", "side", "sampling", "gap", "out")},
}


@dataclass(frozen=True)
class ExportSeen:
    """What an export is taken for, and what is open.

    ``settles`` is what an answer to the question has settled besides what it chooses; ``likely`` the answer that the
    readings speak for. ``wrong`` are sentences by the form's field, "" for what is about none.
    """

    preview: Preview
    sign: SignSeen | None = None
    question: Question | None = None
    settles: str = ""
    likely: Choice | None = None
    wrong: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_ready(self) -> bool:
        """Whether nothing stands between it and a log, as far as its beginning shows."""
        return self.question is None and not self.wrong and bool(self.preview.readings)

    def asking(self, question: Question) -> ExportSeen:
        """Return it with what only later rows ask."""
        return replace(self, question=question, settles="", likely=None)


def export_seen(path: Path, answers: ExportAnswers, profiles: Sequence[Path] = ()) -> ExportSeen:
    """Return what an export is taken for by a person's answers; `profiles` are those of the folder, newest first."""
    choices, wrong = answers.choices, {}
    try:
        seen, sign = _looked_at(path, choices)
    except ChoiceError as error:
        wrong[f"q-{error.column}" if error.column else ""] = str(error)
        seen, sign = _looked_at(path, replace(choices, columns={}, time=()))
    except InputError as error:
        wrong["profile"] = str(error)
        seen, sign = _looked_at(path, replace(choices, profile=None))
    if seen.error is not None:
        wrong.setdefault(_column_of(seen) or field_of(seen.error), seen.error)
    elif seen.question is None and not seen.readings:
        first = next(iter(seen.rejects), "")
        wrong.setdefault("", f"{path.name}: none of its first rows can be read{'; ' if first else ''}{first}")
    question, settles, likely = seen.question, "", None
    if question is None and sign is not None and _is_asked(sign, answers):
        question, settles, likely = sign.question, OF_SIGN, sign.likely
    if not wrong and OF_PROFILES not in answers.asked and choices == Choices():
        fitting = fitting_profiles(path, seen, profiles, is_asked=question is not None)
        if fitting is not None:
            question, settles, likely = fitting, OF_PROFILES, fitting.choices[0]
    return ExportSeen(seen, sign, question, settles, likely, wrong)


def _is_asked(sign: SignSeen, answers: ExportAnswers) -> bool:
    # A profile that says nothing of the sign was good enough for whoever keeps it, unless the volts speak against it.
    asked = sign.agrees is False and not sign.is_settled if answers.choices.profile else sign.asked
    return asked and OF_SIGN not in answers.asked


def _column_of(seen: Preview) -> str:
    """Return the field of the column that is told what is wrong with it; "" where it is none of those on show."""
    named = (column for column in seen.columns if column.name and f"column {column.name!r}" in (seen.error or ""))
    return next((f"q-{column.number}" for column in named), "")


def field_of(sentence: str) -> str:
    """Return the form's field that a sentence of the command line is about; "" where it is about none."""
    return next((name for word, name in _FIELDS.items() if word in sentence), "")


def _looked_at(path: Path, choices: Choices) -> tuple[Preview, SignSeen | None]:
    """Return what an export is taken for; what was looked at before is remembered until the files change."""
    if choices.profile is not None and is_of_folder(choices.profile):
        choices = replace(choices, profile=str(path.with_name(choices.profile)))
    stamps = tuple(stamp for file in (path, Path(choices.profile or path)) for stamp in _stamps(file))
    return _looked(path, _CHOICES.dump_json(choices), stamps)


def _stamps(path: Path) -> tuple[int, ...]:
    try:
        facts = path.stat()
    except OSError:
        return ()
    return facts.st_mtime_ns, facts.st_size


@lru_cache(maxsize=_REMEMBERED)
def _looked(path: Path, choices: bytes, _stamps: tuple[int, ...]) -> tuple[Preview, SignSeen | None]:
    stated = stated_of(_CHOICES.validate_json(choices))
    seen = preview([str(path)], stated)
    if seen.question is not None or seen.error is not None:
        return seen, None
    try:
        return seen, sign_seen([str(path)], stated)
    except Question as question:
        return replace(seen, question=question), None
    except InputError:
        return seen, None  # rows beyond the beginning, which a conversion tells


def is_read_alike(path: Path, one: Choices, other: Choices) -> bool:
    """Tell whether an export's beginning is taken for the same by either choices."""
    try:
        (a, _), (b, sign) = _looked_at(path, one), _looked_at(path, other)
    except InputError:
        return False
    # By those choices `convert` would ask which way is positive, and read nothing.
    is_asked = sign is not None and sign.agrees is False and not sign.is_settled
    return b.question is None and b.error is None and not is_asked and _as_read(a) == _as_read(b)


def _as_read(seen: Preview) -> tuple[object, ...]:
    columns = [(c.use, c.quantity, c.unit, c.factor, c.sign) for c in seen.columns]
    return columns, seen.readings, seen.time_style, seen.side
