"""How much a law is held against: a few examples or seeds by day, more in the night's run of all (``-m ""``)."""

from hypothesis import settings


def many(by_day, by_night):
    """So many by day, and by night with the profile of that name."""
    return by_night if settings.get_current_profile_name() == "night" else by_day


def examples(by_day, by_night):
    """Settings with so many examples."""
    return settings(max_examples=many(by_day, by_night))
