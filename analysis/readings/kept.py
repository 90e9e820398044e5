"""What is worked out once for an object, when first asked for, and kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeVar, overload

Value = TypeVar("Value")


class kept(Generic[Value]):  # noqa: N801
    """Make a method an attribute that is worked out when first asked for.

    `functools.cached_property` does so, too, but up to Python 3.11 it lets no other thread work out the same attribute
    of another object meanwhile. Two threads that ask the same object at once may both work it out, to the same value.
    """

    def __init__(self, work: Callable[[Any], Value]) -> None:
        self._work = work
        self.__doc__ = work.__doc__

    @overload
    def __get__(self, of: None, owner: type) -> kept[Value]: ...

    @overload
    def __get__(self, of: object, owner: type) -> Value: ...

    def __get__(self, of: object | None, owner: type) -> Value | kept[Value]:
        """Work it out and leave the value in the object, where Python finds it from then on."""
        if of is None:
            return self
        value: Value = self._work(of)
        vars(of)[self._work.__name__] = value
        return value
