"""Styles and kinds of damage that are wrong in silence as yet, each with its reason; the suite demands that it shrinks.

A style that stands here and comes out right fails the suite until its line is gone, and so does one that does not
stand here and comes out wrong.
"""

_SCALE = "a factor in the name, or values no such bank can have, are not held against the volts"
_SWAPPED = "amps and volts that change places are not held against the rows around them"

KNOWN_WRONG = {
    "missing_number": "numbers that stand for no reading are read as readings, far as they are from all others",
    "unit_changes_without_a_head": _SCALE,
    "unit_hundredths": _SCALE,
    "unit_tenths": _SCALE,
    "columns_change_without_a_head": _SWAPPED,
    "damaged_amount_blown_up": "one row of thousands of amps beside others of tens is read as it stands",
    "damaged_columns_swapped": _SWAPPED,
}
