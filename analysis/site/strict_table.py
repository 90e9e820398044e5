"""A table of a settings file that reports every mistake at once, each at its own key.

pydantic checks relations between keys only after every key is sound by itself. The person who wrote the file would
then mend it in several rounds; here relations are looked up in the raw table, and their mistakes join the others.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ModelWrapValidatorHandler, ValidationError, model_validator
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

FAULT = "fault"
T = TypeVar("T")

Several = Annotated[tuple[T, ...], Field(strict=False)]
"""A list in the file, kept as a tuple; strictness is off for the list only, its items stay strict."""


@dataclass(frozen=True)
class Fault:
    """A mistake that no single key shows: where it is, seen from the table, and what is wrong."""

    where: tuple[str | int, ...]
    text: str


class StrictTable(BaseModel):
    """A table of the file: strict types, no unknown keys, no infinities, unchangeable."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)

    also_called: ClassVar[Mapping[str, str]] = {}
    """Other words for its keys, tables and values, in the singular and small, with the right ones."""
    same_thing: ClassVar[tuple[tuple[str, ...], ...]] = ()
    """Groups of keys that say the same thing: at most one of each may be given."""
    needed: ClassVar[tuple[tuple[str, ...], ...]] = ()
    """Groups of keys of which at least one must be given."""

    @classmethod
    def faults(cls, data: Mapping[str, object]) -> Iterator[Fault]:
        """Yield the mistakes between the keys of the raw table `data`."""
        for keys in cls.same_thing:
            given = [key for key in data if key in keys]  # in the order of the file
            for key in given[1:]:
                yield Fault((key,), f"says again what {given[0]} says; keep one of them")
        for keys in cls.needed:
            if not any(key in data for key in keys):
                yield Fault((), f"needs {' or '.join(keys)}")

    @model_validator(mode="wrap")
    @classmethod
    def _every_fault(cls, data: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        # The raw table is asked before pydantic changes it, and whatever pydantic finds comes first.
        faults = [_details(fault, data) for fault in cls.faults(data)] if isinstance(data, Mapping) else []
        try:
            table = handler(data)
        except ValidationError as error:
            faults = [*map(_again, error.errors(include_url=False)), *faults]
        if faults:
            raise ValidationError.from_exception_data(cls.__name__, faults)
        return table


def _details(fault: Fault, data: object) -> InitErrorDetails:
    """Return a mistake of ours in pydantic's form."""
    return InitErrorDetails(type=_named(fault.text), loc=fault.where, input=data)


def _again(error: ErrorDetails) -> InitErrorDetails:
    """Return an error that pydantic has reported in the form in which it takes errors."""
    kind = _named(error["msg"]) if error["type"] == FAULT else error["type"]
    return InitErrorDetails(type=kind, loc=error["loc"], input=error["input"], ctx=error.get("ctx", {}))


def _named(text: str) -> PydanticCustomError:
    return PydanticCustomError(FAULT, "{text}", {"text": text})
