"""Questions on how times are written, and by which clock."""

from __future__ import annotations

from collections.abc import Mapping

from ...errors import Choice, Question, quoted

#: What a count may be in, the commonest first; microseconds and clocks are written otherwise.
_UNITS = {
    "elapsed s": "seconds",
    "elapsed ms": "milliseconds",
    "elapsed min": "minutes",
    "elapsed h": "hours",
    "elapsed days": "days",
}


def date_order(evidence: str, sentence: str, orders: Mapping[str, str]) -> Question:
    """Ask which number of a date is which; `orders` are told in words."""
    choices = [Choice(f"{words} ({order})", {"dates": order}) for order, words in orders.items()]
    return Question(sentence, "In which order do day, month and year stand?", evidence, choices)


def day_ahead(name: str, cell: str) -> Question:
    """Ask where dates with the year in front have no such month."""
    evidence = f"dates such as {cell} have no such month as year-month-day"
    sentence = f"{name}: {evidence}; if the day stands ahead of the month, say --dates y-d-m, else mend these rows"
    return date_order(evidence, sentence, {"y-d-m": "year, day, month"})


def count_unit(name: str, word: str, cells: tuple[str, str]) -> Question:
    """Ask in what a column counts from its start."""
    evidence = f"{quoted(word)} counts from the start ({cells[0]}, {cells[1]} ...), but nothing says in what"
    sentence = (
        f"{name}: {evidence}: seconds, "
        'milliseconds, minutes, hours or days; say --times "elapsed s" (or "elapsed ms", "elapsed min", '
        '"elapsed h", "elapsed days"); of ticks write into the header how long one lasts, as in "ticks (10 ms)"'
    )
    choices = [Choice(label, {"times": style}) for style, label in _UNITS.items()]
    return Question(sentence, f"In what does {quoted(word)} count?", evidence, choices)


def clock_digits(name: str, word: str, cells: tuple[str, str]) -> Question:
    """Ask whether bare digits count seconds; written as a clock they cannot be read."""
    evidence = (
        f"{quoted(word)} looks like a clock's hours, minutes and seconds in bare digits ({cells[0]} ... "
        f"{cells[1]}), which could be a count of seconds as well"
    )
    sentence = f'{name}: {evidence}; write them as 09:30:00, or say --times "elapsed s" if they count seconds'
    return Question(
        sentence, f"Does {quoted(word)} count seconds?", evidence, [Choice("seconds", {"times": "elapsed s"})]
    )


def two_numbers(name: str, word: str, cell: str) -> Question:
    """Ask whether two numbers are hours and minutes, or minutes and seconds."""
    evidence = f"{quoted(word)} holds two numbers ({cell}), which could be hours:minutes or minutes:seconds"
    sentence = f'{name}: {evidence}; say --times "elapsed h:m:s" or "elapsed m:s"'
    choices = [
        Choice("hours:minutes", {"times": "elapsed h:m:s"}),
        Choice("minutes:seconds", {"times": "elapsed m:s"}),
    ]
    return Question(sentence, f"What are the two numbers of {quoted(word)}?", evidence, choices)


def whose_clock(name: str, word: str, place: str) -> Question:
    """Ask for the place of a clock whose word several places use."""
    evidence = f"its times say {word}, which several places call their clock's"
    sentence = f"{name}: {evidence}; say whose it is, such as --zone {place}"
    # The second place is for the person to name: no list of zones is short enough to be chosen from here.
    choices = [Choice(f"as in {place}", {"zone": place}), Choice("as in another place", {"zone": None})]
    return Question(sentence, f"Whose clock is {word}?", evidence, choices)


def other_clock(name: str, word: str, other: str, place: str) -> Question:
    """Ask for the place of a clock whose word the stated zone does not have."""
    evidence = f"its times say {word}, but {other}"
    sentence = f"{name}: {evidence}; say whose clock it is, such as --zone {place}, or take the word out of the times"
    return Question(sentence, f"Whose clock is {word}?", evidence, [Choice(f"as in {place}", {"zone": place})])


def two_clocks(evidence: str, columns: Mapping[str, int | None]) -> Question:
    """Ask which of two clocks holds the time: their columns by name, None for one that is made of several."""
    # A time that is made of several columns is what is taken without an answer, and so cannot be chosen by one.
    choices = [Choice(name, {"time.column": number}) for name, number in columns.items() if number is not None]
    sentence = f"{evidence}; say in a profile (--profile) which column holds the time, and how: [time] column and style"
    return Question(sentence, "Which column holds the time?", evidence, choices)


def sampling(name: str, evidence: str) -> Question:
    """Ask what a reading stands for."""
    sentence = (
        f"{name}: {evidence}: if each value stands until the next row, say --sampling held; if it "
        "is the value at its time, on the way to the next, say --sampling instant"
    )
    choices = [
        Choice("it stands until the next row", {"sampling": "held"}),
        Choice("it is the value at its time, on the way to the next", {"sampling": "instant"}),
    ]
    return Question(sentence, "What does each value stand for?", evidence, choices)
