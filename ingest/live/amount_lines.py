"""Lines of a meter that are amounts with their units, ``11.95V 67.00A 800.4W``: read as what a person types is."""

from __future__ import annotations

from ..exports.display_line import QUANTITIES_BY_HAND, DoubtfulLine, parse_line
from .line_reader import NoReading

#: So many lines of one amount each that bring nothing new: a meter that tells volts and amps in turn, a line each, has
#: told all that it tells by then. Common practice, no source.
_TURNS = 5


class AmountLines:
    """Learns from the lines that are heard which quantities they tell, then reads them.

    ``quantities`` are those of the lines so far; ``complete`` is whether enough came that brought nothing new.
    ``doubt`` is what the newest line that looks like a reading could mean as well.
    """

    def __init__(self) -> None:
        self.complete = False
        self.doubt: str | None = None
        self._names: set[str] = set()
        self._nothing_new = 0

    @property
    def quantities(self) -> tuple[str, ...]:
        """What the lines tell, in the order of the glossary."""
        return tuple(name for name in QUANTITIES_BY_HAND if name in self._names)

    def hear(self, text: str) -> None:
        """Learn from a line; one that holds anything but amounts teaches nothing."""
        try:
            values = parse_line(text)
        except DoubtfulLine as why:
            self.doubt = why.fact
            return
        if isinstance(values, dict):
            self._nothing_new = self._nothing_new + 1 if values.keys() <= self._names else 0
            self._names |= values.keys()
            self.complete = self._nothing_new >= (1 if len(values) > 1 else _TURNS)

    def read(self, text: str) -> dict[str, float]:
        """Return the quantities of a line; `NoReading` if it holds anything else, or could mean several things."""
        try:
            values = parse_line(text)
        except DoubtfulLine as why:
            raise NoReading("doubtful", why.fact) from None
        if not isinstance(values, dict):
            raise NoReading("fields", "it is not only amounts with their units, such as 11.95V 67.00A")
        # The log's columns were fixed when the capture began; dropped in silence, an amount would be lost.
        if strange := sorted(values.keys() - self._names):
            raise NoReading("fields", f"it tells {', '.join(strange)}, which no line did when the capture began")
        return values
