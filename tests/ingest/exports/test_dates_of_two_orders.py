"""Files put together whose dates have another order: those that cannot be read stop it, however few they are."""

from datetime import datetime, timedelta

import pytest
from exporting import convert

HEADER = "Time,Current (A)"


def rows(form, begin, count):
    """Return rows every ten minutes."""
    return [f"{begin + timedelta(minutes=10 * k):{form} %H:%M:%S},{k % 9}.5" for k in range(count)]


@pytest.mark.parametrize(("stated", "other"), [("%d/%m/%Y", "%m/%d/%Y"), ("%m/%d/%Y", "%d/%m/%Y")])
@pytest.mark.parametrize("joined", [True, False])
def test_months_beyond_twelve_stop_it(tmp_path, stated, other, joined):
    parts = [rows(stated, datetime(2026, 6, 1, 9), 6000), rows(other, datetime(2026, 7, 13, 9), 100)]
    texts = ["\n".join([HEADER, *part]) + "\n" for part in parts]
    option = "d/m/y" if stated.startswith("%d") else "m/d/y"
    done = convert(tmp_path, *(["".join(texts)] if joined else texts), options=("--zone", "UTC", "--dates", option))
    assert done.status != 0
    assert "07/13/2026" in done.error or "13/07/2026" in done.error
