"""Styles and kinds of damage that are wrong in silence as yet, each with its reason; the suite demands that it shrinks.

A style that stands here and comes out right fails the suite until its line is gone, and so does one that does not
stand here and comes out wrong.
"""

KNOWN_WRONG: dict[str, str] = {
    "damaged_minus_lost_from_a_row_on": "a bank that is no longer charged looks the same, but for its volts",
}
