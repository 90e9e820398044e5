"""Levels made by hand: how each begins and ends, and when."""

from itertools import accumulate

from readings import T0_US, US

from shuntbook.analysis.signal_levels.level_record import LevelList, LevelRecord

EVERY_S = 1.0


def level_list(*levels, least=1.0, gaps=()):
    """Levels of amps: each is (first, length in s) or (first, last, length); `gaps` are those behind a gap.

    A fourth figure is how long the change to the level took. [s]
    """
    rows = [(x[0], x[0], x[1], 0.0) if len(x) == 2 else (*x, 0.0)[:4] for x in levels]
    starts_s = [0.0, *accumulate(length_s + way_s for *_, length_s, way_s in rows)]
    made = []
    for k, ((first, last, length_s, way_s), start_s) in enumerate(zip(rows, starts_s, strict=False)):
        begun_us, reached_us = T0_US + round(start_s * US), T0_US + round((start_s + way_s) * US)
        made.append(
            LevelRecord(
                start_us=reached_us,
                spacing_s=EVERY_S,
                left_us=begun_us,
                left_s=EVERY_S,
                reached_us=reached_us,
                reached_s=EVERY_S,
                first_us=reached_us,
                last_us=reached_us + round((length_s - EVERY_S) * US),
                after_gap=k in gaps or not k,
                least=least,
                first={"current_A": first},
                last={"current_A": last},
                usual={"current_A": (first + last) / 2},
                peak={"current_A": max(first, last)},
                lowest_V=0.0,
                highest_W=0.0,
                sums_first={},
                sums_last={},
                burst=None,
            )
        )
    return LevelList("current_A", made)
