"""A power column that contradicts volts x amps is not used; one that agrees as far as both can be known is."""

from __future__ import annotations

import json

import numpy as np
import pytest
from readings import chunk_of, fed

from shuntbook.analysis.quality.power_check import PowerCheckFold
from shuntbook.cli.main import run

TIME_S = np.arange(3600.0)
AMPS = np.where(TIME_S % 600 < 200, 20.0, 0.4)
VOLTS = 25.2 - 0.012 * AMPS


def check_of(power_W, current_A=AMPS, voltage_V=VOLTS, sampling="instant"):
    """The comparison of a log."""
    chunk = chunk_of(TIME_S[: len(power_W)], current_A=current_A, voltage_V=voltage_V, power_W=power_W)
    return fed(PowerCheckFold(sampling), chunk).result()


@pytest.mark.parametrize(
    "power_W",
    [
        1.0 + TIME_S // 250,  # a counter of something
        1000 * AMPS * VOLTS,  # milliwatts taken for watts
        1.12 * AMPS * VOLTS,  # what an inverter gives, or another shunt's
        np.zeros(3600),
        np.full(3600, 50.0),  # a frequency, a set point
    ],
)
def test_what_contradicts(power_W):
    """By far more than the 5 % that meters and digits may make."""
    check = check_of(power_W)
    assert check.contradicts
    assert "volts x amps are used" in check.sentence()


@pytest.mark.parametrize(
    "power_W",
    [
        AMPS * VOLTS,
        -AMPS * VOLTS,  # the other sign is another matter
        np.abs(1.02 * AMPS * VOLTS),
        np.round(AMPS * VOLTS, -1),  # tens of watts
        np.roll(AMPS * VOLTS, 3),  # a few readings late
        AMPS * VOLTS + np.random.default_rng(1).normal(0, 20, 3600),
    ],
)
def test_what_agrees(power_W):
    """Within 5 % on the whole; single readings may lie anywhere."""
    assert not check_of(power_W).contradicts


def test_amps_of_few_digits_are_no_witness():
    """0.4 A shown as 0, in whole amps, beside 10 W that are right."""
    assert not check_of(np.full(3600, 10.1), current_A=np.zeros(3600), voltage_V=np.full(3600, 25.2)).contradicts
    fine_A = np.where(TIME_S % 2 > 0, 0.001, 0.0)
    assert check_of(np.full(3600, 10.1), current_A=fine_A, voltage_V=np.full(3600, 25.2)).contradicts


def test_means_of_what_switches_within_a_reading():
    """100 A for a tenth of each minute, 40 milliohms: the mean of the product is a sixth less than that of means."""
    power_W = np.full(600, 0.1 * 100 * (25 - 0.04 * 100))
    amps, volts = np.full(600, 10.0), np.full(600, 25 - 0.04 * 10)
    assert not check_of(power_W, amps, volts, "mean").contradicts
    assert check_of(power_W, amps, volts, "instant").contradicts


def test_without_all_three_nothing_is_known():
    """No reading has volts, amps and watts at once."""
    assert check_of(np.full(10, np.nan), np.ones(10), np.ones(10)) is None


@pytest.mark.parametrize(("factor", "used"), [(1.0, "the power column"), (3.0, "volts x amps")])
def test_charge_says_what_it_uses(tmp_path, capsys, factor, used):
    """By the file's power column where it is right; else by volts x amps, and a note says why."""
    rows = [
        f"2026-05-01 10:{k // 60:02d}:{k % 60:02d},{AMPS[k]},{VOLTS[k]:.3f},{factor * AMPS[k] * VOLTS[k]:.2f}"
        for k in range(3600)
    ]
    (tmp_path / "a.csv").write_text("\n".join(["time,Amps,Volts,Watts", *rows]), encoding="utf-8")
    assert run(["convert", str(tmp_path / "a.csv"), "--zone", "UTC", "--out", str(tmp_path / "a.parquet")]) == 0
    capsys.readouterr()
    assert run(["charge", str(tmp_path / "a.parquet"), "--json"]) == 0
    out, err = capsys.readouterr()
    energy = json.loads(out)["energy"]
    assert energy["drawn_Wh"] == pytest.approx(float(np.mean(AMPS * VOLTS)), rel=0.01)
    assert ("volts x amps are used, and the power column is not" in err) == (used == "volts x amps")
