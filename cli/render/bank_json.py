"""The word on a bank as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .json_parts import Document, told

if TYPE_CHECKING:
    from ...analysis.bank_limits import BankCheck


def bank_check_document(check: BankCheck) -> Document:
    """Return the word on a bank, null and why where it was not judged, and the comparisons behind it."""
    return {
        "verdict": check.verdict,
        "not_judged": [each.sentence for each in check.not_judged],
        "add": list(check.decides),
        "compared": [told(each) for each in check.parts],
    }
