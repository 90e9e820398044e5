"""What a field of a system's form is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

#: ``required``: the file is not taken without it; ``usual``: most plates have it; ``optional`` is folded.
Need = Literal["required", "usual", "optional"]


@dataclass(frozen=True)
class Field:
    """One thing that a plate or a data sheet says.

    Parameters
    ----------
    key : str
        The key of the site file; ``loss_model.idle_W`` for one in a table of its own.
    label : str
        What it is called, in plain words.
    where : str
        Where it stands: a sentence, empty where nothing can be said.
    need : {'required', 'usual', 'optional'}
    units : tuple of str
        Units to choose from, the most usual first; empty for a plain number, a text or a choice.
    others : tuple of str
        Keys that say the same in another unit.
    choices : mapping
        By the file's word, what it is called; empty where anything can be typed.
    names : tuple of str
        Groups whose names may stand here, such as ``inverters``.
    """

    key: str
    label: str
    where: str = ""
    need: Need = "optional"
    units: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    choices: Mapping[str, str] = field(default_factory=dict)
    names: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key that says this."""
        return (self.key, *self.others)


@dataclass(frozen=True)
class Group:
    """Fields that belong together: a table of the file, or a list of tables; the file's first keys have the key ``""``.

    A `folded` group is of use to few.
    """

    key: str
    label: str
    about: str
    fields: tuple[Field, ...]
    several: bool = False
    folded: bool = False
