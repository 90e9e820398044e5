"""Styles and kinds of damage that are wrong in silence as yet, each with its reason; the suite demands that it shrinks.

A style that stands here and comes out right fails the suite until its line is gone, and so does one that does not
stand here and comes out wrong.
"""

_UP = "a name that says that charging counts up leads to no question"
_WORDS = "words of direction are not taken, or only noted: amounts without a sign are all read as draw"
_COUNT = "a count whose unit the name does not say is taken as seconds without a question"
_DIGITS = "date and clock as bare digits in two columns: one of them is taken for a count of seconds"
_HEAD = "a header again is passed over: the first one's order and units stay for the rows behind it"
_BEFORE = "rows before a later header are dropped as a preamble"
_ANEW = "sessions of a count that begins anew are laid over each other"
_SET_BACK = "rows of a clock that was set back are merged into earlier ones"
_SCALE = "a factor in the name, or values no such bank can have, are not held against the volts"
_SWAPPED = "amps and volts that change places are not held against the rows around them"

KNOWN_WRONG = {
    "column_of_charge_alone": _UP,
    "words_sink_source": _WORDS,
    "digits_two_columns_underscore": _DIGITS,
    "elapsed_ticks": _COUNT,
    "twelve_hours_without_a_mark": "hours from 1 to 12 are sorted into one morning",
    "missing_number": "numbers that stand for no reading are read as readings, far as they are from all others",
    "unit_changes_without_a_head": _SCALE,
    "unit_hundredths": _SCALE,
    "unit_in_a_column": "a unit in a column of its own is not taken",
    "unit_tenths": _SCALE,
    "columns_change_without_a_head": _SWAPPED,
    "head_again_by_another_hand": _BEFORE,
    "head_again_in_another_order": _HEAD,
    "head_again_in_milliamps": _HEAD,
    "head_again_of_something_else": _HEAD,
    "head_again_with_a_column_more": _BEFORE,
    "rows_before_another_head": _BEFORE,
    "clock_of_power_up_thrice": "a spacing is put between sessions, and current with it, that was never measured",
    "clock_set_back_near_the_end": _SET_BACK,
    "count_begins_anew": _ANEW,
    "milliseconds_begin_anew": _ANEW,
    "damaged_amount_blown_up": "one row of thousands of amps beside others of tens is read as it stands",
    "damaged_columns_swapped": _SWAPPED,
    "damaged_columns_swapped_under_a_head": _HEAD,
}
