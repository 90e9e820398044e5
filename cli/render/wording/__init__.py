"""The one place for English: numbers, clock times and sentences, the same on the terminal and on the page."""

__all__ = [
    "answer",
    "checks",
    "clock",
    "film",
    "how_it_runs",
    "lesson",
    "log_sentences",
    "numbers",
    "several_sentences",
    "shown",
    "site_sentences",
    "sureness",
    "verdict",
    "wear",
    "what_if",
]
