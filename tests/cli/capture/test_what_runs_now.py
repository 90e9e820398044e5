"""What is said of the load while it is captured, at each reading, beside what it truly does then."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.cli.capture import live_meter
from shuntbook.cli.capture.live_meter import LiveMeter
from shuntbook.cli.capture.screen import run_state
from shuntbook.cli.live_page.stage import stage
from shuntbook.ingest.events import Reading

START_US = 1_780_000_000_000_000
#: A pump runs so long of every 45 s, from the tenth on. [s]
PERIOD_S, FROM_S, RUN_S = 45.0, 10.0, 18.0


def pumped(every_s, length_s, *, seed=1, rest_A=lambda time_s: 2.4):
    """Instants [s], readings [A], and whether the pump ran: 31.5 A above its rest, 75 A more for half a second."""
    time_s = np.arange(0.0, length_s, every_s)
    since_s = time_s % PERIOD_S - FROM_S
    runs = (since_s > 0) & (since_s < RUN_S)
    surge_A = 75 * np.clip(1 - since_s / 0.6, 0, None)
    noise_A = np.random.default_rng(seed).normal(0, 0.08, len(time_s))
    return time_s, rest_A(time_s) + runs * (31.5 + surge_A) + noise_A, runs


def told(time_s, amps, every_s, *, asked_s, expected=None):
    """What is shown, a few times a second, and by which reading; runs are looked for once in so long. [s]"""
    how = HowRead("dc", "instant", 10.0, every_s)
    meter = LiveMeter("bank", how, ("current_A",), limits_for(None, None), expected=expected)
    at_once, asked_at_s = max(round(0.6 / every_s), 1), -1e9
    for k in range(0, len(time_s), at_once):
        part = slice(k, k + at_once)
        meter.add(
            Reading(START_US + round(at_s * 1e6), {"current_A": float(x)})
            for at_s, x in zip(time_s[part], amps[part], strict=True)
        )
        last = min(k + at_once, len(time_s)) - 1
        is_asked = time_s[last] - asked_at_s >= asked_s - 1e-6
        asked_at_s = time_s[last] if is_asked else asked_at_s
        yield last, meter.snapshot(connected=True, trouble=Counter(), final=is_asked)


def since_change(runs):
    """How many readings ago it started or stopped; many at the beginning."""
    changed = np.flatnonzero(np.diff(runs, prepend=runs[0]))
    return np.array([k - max((c for c in changed if c <= k), default=-1000) for k in range(len(runs))])


@pytest.fixture
def seldom(monkeypatch):
    """Runs are looked for only where a test says so."""
    monkeypatch.setattr(live_meter, "_CYCLES_EVERY_S", 1e9)


#: [A]: of a steady load; and of a bank that is charged under clouds, beside a fridge.
RESTS = {
    "steady": lambda time_s: 2.4,
    "moving": lambda time_s: -20.0 + 3.0 * np.sin(time_s / 40) + 4.0 * (time_s % 31 > 15),
}
#: The rest of it, how far readings are apart, and how seldom runs are looked for. [s]
DAY = [("steady", 0.2, 0.6), ("steady", 4.0, 30.0), ("steady", 0.2, 8.0), ("moving", 1.0, 1.0), ("moving", 4.0, 8.0)]
NIGHT = [(rest, s, asked_s) for rest in RESTS for s in (0.2, 1.0, 4.0) for asked_s in (0.2, 8.0, 30.0)]


@pytest.mark.usefixtures("seldom")
@pytest.mark.parametrize(
    ("rest", "every_s", "asked_s"), [*DAY, *(pytest.param(*c, marks=pytest.mark.night) for c in NIGHT)]
)
def test_what_is_said_of_running_agrees_with_the_reading_beside_it(rest, every_s, asked_s):
    """Never the opposite of what is true then; from the first run on it is said within 2 s, or three readings."""
    time_s, amps, runs = pumped(every_s, 80.0, rest_A=RESTS[rest])
    ago, late = since_change(runs), max(3, round(2.0 / every_s))
    known_s = FROM_S + late * every_s + max(asked_s, every_s)
    for k, shot in told(time_s, amps, every_s, asked_s=asked_s):
        truth = "running" if runs[k] else "not running"
        said, how_long = run_state(shot)
        assert said in {"", truth}, (time_s[k], amps[k])
        if time_s[k] > known_s and ago[k] >= late:
            assert said == truth, (time_s[k], amps[k])
        sentence = stage(shot)["load"]
        assert sentence == "" if not said else said in sentence
        if how_long:
            assert shot.running_s == pytest.approx(ago[k] * every_s, abs=2 * every_s)


@pytest.mark.usefixtures("seldom")
def test_a_load_of_the_site_is_told_from_its_first_start_on():
    """Its plate says what it draws: nothing must have been seen of it before."""
    time_s, amps, runs = pumped(0.2, 30.0)
    for k, shot in told(time_s, amps, 0.2, asked_s=100.0, expected=30.0):
        said, _ = run_state(shot)
        assert said in {"", "running" if runs[k] else "not running"}
        assert said or amps[k] > 2.4 + 1.5 * 30  # the top of its start might be any load's


@pytest.mark.usefixtures("seldom")
def test_what_goes_on_in_a_gap_is_not_said_to_go_on_after_it():
    """A pump that ran when the meter fell silent has stopped when it is back, and the other way round."""
    time_s, amps, runs = pumped(1.0, 160.0)
    for silent in ((105.0, 130.0), (130.0, 153.0)):
        heard = (time_s < silent[0]) | (time_s > silent[1])
        for k, shot in told(time_s[heard], amps[heard], 1.0, asked_s=1.0):
            at_s = time_s[heard][k]
            if silent[1] < at_s < silent[1] + 4:
                assert run_state(shot)[0] in {"", "running" if runs[heard][k] else "not running"}
        assert shot.cycles.summary.count >= 3
