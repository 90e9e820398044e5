"""A figure that is left out because something it needs is not known: said plainly, with what to add."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Missing:
    """What stands in the place of a result that cannot be had yet.

    Parameters
    ----------
    what : str
        The figure that is left out, as it stands in a sentence.
    add : tuple of str
        Keys of the site file that would make it possible, such as ``bank.usable_depth_pct``; empty where no key helps.
    because : str
        Why it cannot be had; empty where the missing keys say it all.
    """

    what: str
    add: tuple[str, ...] = ()
    because: str = ""

    @property
    def not_judged(self) -> str:
        """Why it was not judged and what to add, as it stands after the name of the thing."""
        return f"not judged{self._why}"

    @property
    def sentence(self) -> str:
        """What is left out, why, and what to add."""
        return f"No {self.what}{self._why}."

    @property
    def _why(self) -> str:
        # Read after the name of the thing: what is wrong first, then what would mend it.
        reason = f": {self.because}" if self.because else ""
        remedy = f"; add {' or '.join(self.add)} to the site file" if self.add else ""
        return f"{reason}{remedy}"


class Refusal(ValueError):  # noqa: N818 - the word users of the analysis read
    """A figure cannot be had from what is known: one plain sentence that says what is missing and what to add."""
