"""The one error of the analysis for a figure that cannot be had from what is known."""

from __future__ import annotations


class Refusal(ValueError):  # noqa: N818 - the word users of the analysis read
    """A figure cannot be had from what is known: one plain sentence that says what is missing and what to add."""
