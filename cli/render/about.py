"""What each check is about, in plain words, and how to say that some could not be judged."""

from __future__ import annotations

from collections.abc import Sequence

#: What each finding is about, in plain words.
ABOUT = {
    "short_cycling": "Length of runs, number of starts",
    "start_trip": "Starts cut off at once",
    "stalled_start": "Starts that do not settle",
    "air_charge_lost": "Air in the pressure tank",
    "leak_down": "Water leaking away",
    "prime_lost": "Running dry",
    "never_cuts_out": "Runs without end",
    "draw_drift": "Running draw over days",
    "low_voltage": "Voltage of the bank",
    "overload": "Load against its ratings",
    "surge_over_rating": "Starts against the inverter's rating",
    "standing_draw": "Draw while the load rests",
    "sampling_too_slow": "Spacing of the readings",
    "charge_wrong_sign": "Direction of the current",
}
#: So many are named; the rest are counted.
_MOST = 2


def not_judged(codes: Sequence[str]) -> str:
    """Return what was not judged, for the end of a sentence; empty where all was.

    Parameters
    ----------
    codes : sequence of str
        What `finding.withheld` gives.
    """
    if not codes:
        return ""
    named = [f"{ABOUT[code][0].lower()}{ABOUT[code][1:]}" for code in codes[:_MOST]]
    more = f" and {len(codes) - _MOST} more" if len(codes) > _MOST else ""
    return f"not judged: {'; '.join(named)}{more}"
