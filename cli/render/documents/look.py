"""What is in a log and how good it is, as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shuntbook.cli.render.terminal.look import verdict_line

from .parts import Document, facts_document, fields, span_document, told

if TYPE_CHECKING:
    from shuntbook.analysis.quality.fitness import Fitness
    from shuntbook.analysis.quality.quality import Quality
    from shuntbook.analysis.readings.log_facts import LogFacts


def look_document(facts: LogFacts, quality: Quality, verdict: Fitness) -> Document:
    """Return what is in a log, what it is good for, and what is the matter with it."""
    return {
        "log": facts_document(facts),
        "span": span_document(quality.span),
        "availability": quality.availability,
        "spacing": told(quality.spacing) | {"irregularity": quality.spacing.irregularity},
        "quantities": {name: fields(part) for name, part in quality.ranges.items()},
        "verdict": {"text": verdict_line(verdict)} | told(verdict),
        "sign": told(quality.sign),
        "spikes": told(quality.spikes),
        "stuck": told(quality.stuck),
        "clipping": told(quality.clipping),
        "power_against_volts_amps": told(quality.agreement),
        "counter_resets": quality.counter_resets,
        "rest": told(quality.rest),
        "doubts": told(quality.doubts),
    }
