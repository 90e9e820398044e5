"""The one place for English: numbers, clock times and sentences, the same on the terminal and on the page."""

__all__ = [
    "answer",
    "checks",
    "clock",
    "film",
    "lesson",
    "log_sentences",
    "numbers",
    "pump_pulse",
    "several_sentences",
    "shown",
    "site_sentences",
    "speeds",
    "sureness",
    "verdict",
    "wear",
    "what_if",
]
