"""How many examples a property is held against: a few by day, more in the night's run of all (``-m ""``)."""

from hypothesis import settings


def examples(by_day, by_night):
    """Settings with so many examples; by night with the profile of that name."""
    return settings(max_examples=by_night if settings.get_current_profile_name() == "night" else by_day)
