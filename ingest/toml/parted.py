"""Lists of tables whose items stand apart in a text, other tables between them, as when one was added at its end.

The library that changes TOML would bring them together. So each stretch of such a list is a list by itself, under a
name of its own, for as long as the text is changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .places import HEADER, Where, outer_lines


@dataclass(frozen=True)
class Parted:
    """A text in which each stretch of a list has a name of its own.

    ``stretches`` has for each list that stands apart, in their order, the names of its stretches and how many items
    each holds.
    """

    text: str
    stretches: Mapping[str, tuple[tuple[str, int], ...]]

    def at(self, where: Where) -> Where:
        """Return a path of the whole text as it is in this one; a new item belongs to the last stretch."""
        if len(where) < 2 or not isinstance(where[1], int) or str(where[0]) not in self.stretches:
            return where
        stretches, number = self.stretches[str(where[0])], where[1]
        for name, count in stretches[:-1]:
            if number < count:
                return (name, number, *where[2:])
            number -= count
        return (stretches[-1][0], number, *where[2:])

    def joined(self, text: str) -> str:
        """Return a text of this one's with the lists under their own names again."""
        for name, stretches in self.stretches.items():
            for alias, _ in stretches[1:]:
                text = text.replace(alias, name)
        return text


def parted(text: str, besides: str = "") -> Parted:
    """Return a text with each stretch of a list of tables under a name that stands in neither text nor `besides`."""
    lines = text.split("\n")
    stretches: dict[str, list[tuple[str, int]]] = {}
    before = ""
    for number, line in outer_lines(text):
        header = HEADER.fullmatch(line)
        if header is None:
            continue
        name = header[2].split(".")[0].strip()
        if header[1] == "[[" and header[2].strip() == name:
            of = stretches.setdefault(name, [])
            if before != name:
                of.append((_free(name, len(of), text + besides), 0))
            of[-1] = (of[-1][0], of[-1][1] + 1)
        if name in stretches and stretches[name][-1][0] != name:
            lines[number - 1] = lines[number - 1].replace(name, stretches[name][-1][0], 1)
        before = name
    apart = {name: tuple(of) for name, of in stretches.items() if len(of) > 1}
    return Parted("\n".join(lines), apart)


def _free(name: str, number: int, texts: str) -> str:
    """Return the name of a stretch: the first keeps the list's own."""
    if number == 0:
        return name
    alias = f"{name}-{number}-"
    while alias in texts:
        alias += "-"
    return alias
