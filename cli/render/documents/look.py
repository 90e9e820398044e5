"""What is in a log and how good it is, as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..terminal.look import verdict_line
from .parts import Document, document_of, named

if TYPE_CHECKING:
    from ....analysis.quality.fitness import Fitness
    from ....analysis.quality.quality import Quality
    from ....analysis.readings.log_facts import LogFacts


def look_document(facts: LogFacts, quality: Quality, verdict: Fitness) -> Document:
    """Return what is in a log, what it is good for, and what is the matter with it."""
    return {
        "log": document_of(facts),
        **named(quality, "span availability spacing quantities=ranges"),
        "verdict": {"text": verdict_line(verdict), **document_of(verdict)},
        **named(quality, "sign spikes stuck clipping power_against_volts_amps=agreement counter_resets rest doubts"),
    }
