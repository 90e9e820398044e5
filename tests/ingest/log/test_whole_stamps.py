"""Stamps without seconds or their parts: rows are laid by the rhythm they have, or it is said that nobody knows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log.whole_stamps import MINUTE_US, SECOND_US, lay

BEGIN_US = 1_781_343_000_000_000


def pump(rows: int) -> dict[str, np.ndarray]:
    return {"current_A": np.where(np.arange(rows) // 17 % 3 == 0, 60.0, 2.0)}


def cut(time_us, grain_us):
    return np.asarray(time_us) // grain_us * grain_us


@given(
    spacing=st.floats(0.11, 0.95), offset=st.floats(0, 1), rows=st.integers(60, 400), minutes=st.booleans(),
    pause=st.integers(0, 40),
)  # fmt: skip
def test_one_spacing_that_explains_all_stamps_is_found(spacing, offset, rows, minutes, pause):
    grain_us = MINUTE_US if minutes else SECOND_US
    true_us = BEGIN_US + np.rint((offset + spacing * np.arange(rows)) * grain_us).astype(np.int64)
    true_us[rows // 2 :] += pause * 60 * grain_us
    laid = lay(cut(true_us, grain_us), {"current_A": np.zeros(rows)})
    if not laid.grain_us:  # hardly a stamp is shared
        assert (np.unique(cut(true_us, grain_us), return_counts=True)[1] > 1).mean() < 0.05
        return
    assert (np.diff(laid.time_us) > 0).all()
    assert np.abs(laid.time_us - cut(true_us, grain_us) - grain_us / 2).max() <= 0.61 * grain_us
    assert np.abs(laid.time_us - true_us).max() <= grain_us


def test_45_s_in_stamps_of_minutes_are_45_s():
    true_us = BEGIN_US + np.arange(300) * 45 * SECOND_US
    laid = lay(cut(true_us, MINUTE_US), pump(300))
    assert laid.grain_us == MINUTE_US
    assert np.abs(np.diff(laid.time_us) - 45 * SECOND_US).max() < SECOND_US


def test_minutes_without_a_rhythm_are_refused_where_it_matters():
    keep = np.sort(np.random.default_rng(1).choice(300, 240, replace=False))
    stamps_us = cut(BEGIN_US + keep * 20 * SECOND_US, MINUTE_US)
    with pytest.raises(InputError, match=r"now 1 and now 3 rows: where in it.*export it with seconds"):
        lay(stamps_us, pump(240))
    # A steady draw is the same wherever a row was taken.
    assert lay(stamps_us, {"current_A": np.full(240, 5.0)}).grain_us in (0, MINUTE_US)
    assert lay(stamps_us, {}).grain_us in (0, MINUTE_US)


def test_minutes_that_hold_as_many_rows_each_are_spread_from_the_minute():
    laid = lay(np.repeat(BEGIN_US + np.arange(40) * MINUTE_US, 3), pump(120))
    assert set(np.diff(laid.time_us)) == {20 * SECOND_US}
    assert laid.time_us[0] == BEGIN_US


def test_a_row_written_twice_is_no_rhythm():
    stamps_us = np.sort(np.append(BEGIN_US + np.arange(60) * SECOND_US, BEGIN_US + 20 * SECOND_US))
    assert lay(stamps_us, pump(61)).grain_us == 0
