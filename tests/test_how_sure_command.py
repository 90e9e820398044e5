"""What a person is told of how sure an amount is: terminal and JSON."""

from __future__ import annotations

import json

import pytest
from telling import told

from shuntbook.cli.main import run

SITE = """
name = "field shed"
zone = "UTC"
[bank]
nominal_V = 24
capacity_Ah = 200
[[inverters]]
name = "shed inverter"
continuous_VA = 2000
surge_VA = 4000
efficiency_pct = 90
[[loads]]
name = "feed pump"
kind = "pump"
inverter = "shed inverter"
voltage_V = 230
current_A = 2.5
power_factor = 0.7
locked_rotor_A = 12
[[meters]]
name = "shunt"
side = "dc"
range_A = 100
reading_pct = 0.2
range_pct = 0
zero_A = 0.05
"""


@pytest.fixture
def log(tmp_path):
    """Three hours: a rest that reads 0.05 A, then a pump that runs each ten minutes; readings 5 s apart; a gap."""
    rows = ["time,current [A],voltage [V]"]
    for at in range(0, 3 * 3600, 5):
        pumping = at >= 3600 and at % 600 < 60
        current = 0.05 + 0.01 * (at // 5 % 2) + (20.0 if pumping else 0.0)
        if not 7300 <= at < 7800:
            rows.append(f"2026-06-13T{10 + at // 3600:02d}:{at // 60 % 60:02d}:{at % 60:02d}Z,{current:.2f},25.00")
    (tmp_path / "a.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert run(["convert", str(tmp_path / "a.csv"), "--out", str(tmp_path / "a.parquet")]) == 0
    return tmp_path / "a.parquet"


@pytest.fixture
def site(tmp_path):
    """A site with a pump and a meter of known accuracy."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


def document(capsys, *words):
    """The JSON of a command."""
    status, out, err = told(capsys, *words, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def test_charge_says_it_like_a_person(log, capsys):
    """An amount, ±, 95 %; the largest share named; what was assumed, what gaps may have held, what is left out."""
    _, out, _ = told(capsys, "charge", log)
    assert " Ah ± " in out
    assert "(95 %)" in out
    assert "where ± comes from: " in out
    assert "common practice, no source" in out
    assert "had the gap run like the hours around, about +" in out
    assert "surges of motor starts between two readings are not in it" in out


def test_a_site_file_brings_the_meter_and_the_starts(log, site, capsys):
    """Its accuracy in place of the usual one, and surges that fall between readings."""
    _, out, _ = told(capsys, "charge", log, "--site", site)
    assert "surges of motor starts" not in out
    assert "accuracy of the meter" not in out
    budget = {part["source"]: part for part in document(capsys, "charge", log, "--site", site)["uncertainty"]}
    assert budget["zero"]["u_Ah"] == pytest.approx(0.05 * (3 - 500 / 3600) / 3**0.5, rel=0.02)
    assert budget["gain"]["u_Ah"] < budget["zero"]["u_Ah"]


def test_the_document_holds_intervals_and_a_budget_that_sums(log, site, capsys):
    """u95 beside every amount; shares sum to one, u in quadrature to the whole."""
    found = document(capsys, "charge", log)
    for part, unit in (("charge", "Ah"), ("energy", "Wh")):
        for key in ("drawn", "returned", "net"):
            value, u95 = found[part][f"{key}_{unit}"], found[part][f"{key}_u95_{unit}"]
            assert u95 >= 0
            assert found[part][f"{key}_low_{unit}"] <= value <= found[part][f"{key}_high_{unit}"]
    shares = [part["share"] for part in found["uncertainty"] if part["share"] is not None]
    assert sum(shares) == pytest.approx(1)
    whole_Ah = sum(part["u_Ah"] ** 2 for part in found["uncertainty"] if part["u_Ah"] is not None) ** 0.5
    assert found["charge"]["drawn_u95_Ah"] == pytest.approx(found["coverage_factor"] * whole_Ah, rel=1e-6)
    assert found["in_gaps"]["drawn_Ah"] > 0


def test_a_zero_check_is_applied_only_when_asked(log, capsys):
    """0.055 A over nearly three hours goes; what was taken off, and from how many readings, is recorded."""
    plain, checked = (document(capsys, "charge", log, *more) for more in ((), ("--zero-at", "10:05..10:50")))
    assert plain["zero_check"] is None
    assert checked["zero_check"]["offset_A"] == pytest.approx(0.055, abs=0.001)
    hours = plain["span"]["covered_s"] / 3600
    assert plain["charge"]["net_Ah"] - checked["charge"]["net_Ah"] == pytest.approx(0.055 * hours, rel=0.03)
    assert any(part["source"] == "zero check" for part in checked["uncertainty"])
    _, out, _ = told(capsys, "charge", log, "--zero-at", "10:05..10:50")
    assert "zero check: 0.05" in out
    cycles = document(capsys, "cycles", log, "--zero-at", "10:05..10:50")
    assert all(cycle["charge_u95_Ah"] > 0 for cycle in cycles["cycles"] if cycle["complete"])


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ("10:05", "is no stretch; write it like"),
        ("10:50..10:05", "--zero-at"),
        ("10:05..soon", "--zero-at: 'soon' is no time"),
        ("11:00..11:30", "is no rest"),
        ("10:05:01..10:05:12", "needs at least 5"),
    ],
)
def test_a_zero_check_that_cannot_be_is_refused(log, capsys, asked, why):
    """One sentence, status 2: no stretch, the wrong way round, no time, a pump in it, too few readings."""
    status, out, err = told(capsys, "charge", log, "--zero-at", asked)
    assert (status, out) == (2, "")
    assert why in err
    assert err.count("\n") == 1


def test_spikes_are_dropped_only_when_asked(tmp_path, capsys):
    """A lone reading of 500 A counts a whole interval; --drop-spikes leaves it out, and the log stays as it is."""
    rows = ["time,current [A],voltage [V]"]
    rows += [
        f"2026-06-13T10:{at // 60:02d}:{at % 60:02d}Z,{500 if at == 1000 else 5 + 0.01 * (at % 3)},25"
        for at in range(1800)
    ]
    (tmp_path / "a.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    out = tmp_path / "a.parquet"
    assert run(["convert", str(tmp_path / "a.csv"), "--out", str(out)]) == 0
    kept, dropped = (document(capsys, "charge", out, *more)["charge"]["drawn_Ah"] for more in ((), ("--drop-spikes",)))
    assert kept - dropped == pytest.approx(495 / 3600, rel=1e-3)
