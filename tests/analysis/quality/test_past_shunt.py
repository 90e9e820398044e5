"""Volts that fall without amps tell of a load past the shunt; volts that fall with them, or slowly, do not."""

from __future__ import annotations

import numpy as np
import pytest
from quality_logs import bank_log, changed, codes, grades, looked
from readings import how


def with_dips(chunk, fall_V, *, count=5, lasts=12):
    """The log with so many falls of the volts, spread over it, each of so many readings; the amps know nothing."""
    volts = chunk.quantities["voltage_V"].copy()
    apart = len(volts) // (count + 1)
    for k in range(1, count + 1):
        volts[k * apart : k * apart + lasts] -= fall_V
    return changed(chunk, voltage_V=np.round(volts, 2))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("every_s", "hours", "count"), [(1.0, 2.0, 5), (5.0, 8.0, 5), (60.0, 48.0, 20)])
@pytest.mark.parametrize("fall_V", [0.15, 0.4])
def test_a_load_past_the_shunt_is_told(seed, every_s, hours, count, fall_V):
    """The volts dip again and again, the amps never do so with them; without the dips there is no doubt."""
    chunk = bank_log(seed, every_s=every_s, hours=hours)
    reading = how(gap_limit_s=5 * every_s + 10, usual_interval_s=every_s)
    found, verdict = looked(with_dips(chunk, fall_V, count=count), reading)
    assert codes(found) == {"past_the_shunt"}
    assert grades(verdict)[:2] == ["with care", "with care"]
    assert found.rest is None
    assert codes(looked(chunk, reading)[0]) == set()


def test_a_slow_fall_twice_or_one_that_amps_explain_is_none():
    """A bank that sinks slowly under a load; two dips; dips that the load's own amps make."""
    chunk = bank_log(3)
    volts = chunk.quantities["voltage_V"]
    slow_V = 0.3 * np.clip(np.sin(2 * np.pi * np.arange(len(chunk)) / 720), 0, 1)
    assert codes(looked(changed(chunk, voltage_V=np.round(volts - slow_V, 2)))[0]) == set()
    assert codes(looked(with_dips(chunk, 0.4, count=2))[0]) == set()
    assert codes(looked(with_dips(chunk, 0.4, lasts=1))[0]) == set()  # lone readings
    load_A = np.where(np.arange(len(chunk)) % 700 < 60, 33.0, 0.0)
    both = changed(
        chunk,
        current_A=chunk.quantities["current_A"] + load_A,
        voltage_V=np.round(volts - 0.012 * load_A, 2),
    )
    assert codes(looked(both)[0]) == set()


def test_amps_that_never_step_do_not_hide_it():
    """All loads hang past the shunt, and the meter shows its noise: no step says how many ohms the bank has."""
    rng = np.random.default_rng(5)
    chunk = changed(bank_log(5), current_A=np.round(0.1 + rng.normal(0, 0.01, 7200), 3))
    assert codes(looked(chunk)[0]) == {"past_the_shunt"}


def test_look_tells_what_it_may_be(look):
    """In the verdict and in a line of its own."""
    lines, _ = look(with_dips(bank_log(2), 0.4))
    assert "the volts fall without the amps: a load past the shunt?" in lines[0]
    (line,) = [line for line in lines if line.startswith("check:")]
    assert (
        "the volts fall by about 0.4 V and come back, 4 times, while the amps do not move" in line
    )  # and once they did
    assert "by the resistance of the other steps" in line
