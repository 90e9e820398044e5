"""Changes of a system as a form offers them: chosen from a list, with the figure beside it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from ...ingest.errors import InputError, quoted
from .changes_asked import change_of


@dataclass(frozen=True)
class ChangeForm:
    """A change that can be chosen.

    Parameters
    ----------
    key : str
        What the form sends.
    kind : str
        What it is a change of, as `changes_asked.FORMS` calls it.
    label : str
        What it is called.
    begins, ends : str
        What stands before and after its figure where it is typed in a line: ``bank for`` and ``days``.
    examples : str
        What its figure looks like; empty where it takes none.
    is_asking : bool
        Whether it may go without a figure, and then asks for it.
    """

    key: str
    kind: str
    label: str
    begins: str
    examples: str = ""
    ends: str = ""
    is_asking: bool = False

    def text(self, figure: str) -> str:
        """Return the change as it is typed in a line.

        Raises
        ------
        InputError
            If the figure is none of this change, with what to type.
        """
        if not figure and self.examples and not self.is_asking:
            raise InputError(f"Type the figure, such as {self.examples}")
        if figure and not self.examples:
            raise InputError("Leave this empty: the change has no figure")
        plain = " ".join(figure.split())
        # Whoever types "3 days" in full has said the same as 3.
        last = self.ends.rpartition(" ")[2].rstrip("s")
        ends = "" if last and plain.lower().rstrip("s").endswith(last) else self.ends
        text = " ".join(part for part in (self.begins, plain, ends) if part)
        try:
            change_of(text)
        except InputError:
            raise InputError(f"{quoted(figure)} is not understood; type it like {self.examples}") from None
        return text


#: All of them, under a heading each few.
CHANGE_FORMS: Final[tuple[tuple[str, tuple[ChangeForm, ...]], ...]] = (
    (
        "The pump and its tank",
        (
            ChangeForm("tank", "tank", "another pressure tank", "tank", "300 L or 80 gal"),
            ChangeForm("tank_for", "tank", "a tank for runs of", "tank for", "60 s or 2 min"),
            ChangeForm("precharge", "pre-charge", "another pre-charge", "pre-charge", "2.5 bar or 38 psi"),
            ChangeForm("pressures", "pressures", "other pressures", "pressures", "2.8 to 4.1 bar or 40 to 60 psi"),
            ChangeForm("soft", "start", "a soft start", "soft start"),
            ChangeForm("drive", "start", "a drive of any speed", "drive"),
            ChangeForm("direct", "start", "a start straight on", "direct start"),
            ChangeForm("use", "use", "another use a day", "use", "500 L, 130 gal or 90 min", "a day"),
        ),
    ),
    (
        "What feeds it",
        (
            ChangeForm(
                "inverter", "inverter", "another inverter", "inverter", "3000 W, or 3000 VA, surge 6000 VA for 5 s"
            ),
            ChangeForm("bank", "bank", "another bank", "bank", "400 Ah, or 300 Ah lifepo4"),
            ChangeForm("strings", "bank", "more or fewer strings of it", "bank", "3", "strings"),
            ChangeForm("bank_for", "bank", "a bank for days without sun", "bank for", "3", "days"),
            ChangeForm("array", "array", "another array", "array", "1200 W or 1,2 kW"),
            ChangeForm("charger", "charger", "another charger or generator", "charger", "40 A"),
            ChangeForm("cable", "cable", "another cable", "cable", "35 mm2 or 2 AWG"),
            ChangeForm("cable_for", "cable", "the smallest cable that loses at most", "cable", "3 %", is_asking=True),
        ),
    ),
)
_BY_KEY: Final = {form.key: form for _, forms in CHANGE_FORMS for form in forms}


@dataclass(frozen=True)
class ChosenChange:
    """A row of the form: which change was chosen and what was typed beside it; and what that comes to, or is wrong.

    ``wrong_choice`` and ``wrong_figure`` are what is wrong with either; empty where nothing is.
    """

    key: str = ""
    figure: str = ""
    text: str = ""
    wrong_choice: str = ""
    wrong_figure: str = ""


def chosen_changes(rows: Iterable[tuple[str, str]]) -> tuple[ChosenChange, ...]:
    """Return the rows of a form in which something was chosen or typed, each looked at by itself."""
    return tuple(_chosen(key, figure) for key, figure in rows if key or figure)


def _chosen(key: str, figure: str) -> ChosenChange:
    form = _BY_KEY.get(key)
    if form is None:
        return ChosenChange(key, figure, wrong_choice="Choose from the list what this is a figure of")
    try:
        return ChosenChange(key, figure, text=form.text(figure))
    except InputError as error:
        return ChosenChange(key, figure, wrong_figure=str(error))
