"""What a person is told of how sure an amount is: terminal and JSON."""

from __future__ import annotations

import json

import numpy as np
import pytest
from readings import chunk_of, how
from telling import told, unwrapped

from shuntbook.analysis.charge.amounts import Amounts, Charge, Sureness
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.analysis.stats.interval95 import HowSure
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.cli.main import run
from shuntbook.cli.render.terminal.charge import charge_answer
from shuntbook.cli.render.wording.numbers import PLUS_MINUS_MEANS
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

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
    out = unwrapped(told(capsys, "charge", log, "--explain")[1])
    assert " Ah ± " in out
    assert PLUS_MINUS_MEANS in out
    assert "where the ± of what was drawn (Ah) comes from: " in out
    assert "common practice, no source" in out
    assert "had the gap run like the hours around, about +" in out
    assert "surges of motor starts between two readings are not in it" in out


def test_a_site_file_brings_the_meter(log, site, capsys):
    """Its accuracy in place of the usual one."""
    out = unwrapped(told(capsys, "charge", log, "--site", site, "--explain")[1])
    assert "accuracy of the meter" not in out
    budget = {part["source"]: part for part in document(capsys, "charge", log, "--site", site)["uncertainty"]}
    assert budget["zero"]["u_Ah"] == pytest.approx(0.05 * (3 - 500 / 3600) / 3**0.5, rel=0.02)
    assert budget["gain"]["u_Ah"] < budget["zero"]["u_Ah"]


@pytest.mark.parametrize("command", ["charge", "report"])
def test_surges_by_the_plate_alone_make_nothing_less_sure(log, site, tmp_path, capsys, command):
    """No start was caught, so a site file that says nothing of the meter changes no interval; and that is told."""
    site.write_text(SITE[: SITE.index("[[meters]]")], encoding="utf-8")
    out = [] if command == "charge" else ["--out", tmp_path / "page.html", "--force"]
    found = [json.loads(told(capsys, command, log, *out, *more, "--json")[1]) for more in ((), ("--site", site))]
    without, beside = ((each if command == "charge" else each["logs"][0]["charge"])["charge"] for each in found)
    assert without == beside
    out = unwrapped(told(capsys, "charge", log, "--site", site, "--explain")[1])
    assert "surges of motor starts between two readings are not in it" in out


def test_a_start_that_was_caught_says_what_others_may_have_drawn(log, site, tmp_path, capsys):
    """One reading of 80 A at a start: it may have counted too much, and the other eleven too little."""
    rows = (tmp_path / "a.csv").read_text(encoding="utf-8").replace("11:00:00Z,20.05", "11:00:00Z,80.05")
    (tmp_path / "b.csv").write_text(rows, encoding="utf-8")
    assert run(["convert", str(tmp_path / "b.csv"), "--out", str(tmp_path / "b.parquet")]) == 0
    plain, known = (
        document(capsys, "charge", tmp_path / "b.parquet", *more)["charge"] for more in ((), ("--site", site))
    )
    below, above = (known["drawn_Ah"] - known["drawn_low_Ah"], known["drawn_high_Ah"] - known["drawn_Ah"])
    assert below > 60 * 5 / 3600
    assert above > 0.9 * 11 * 60 * 0.5 / 3600
    assert plain["drawn_Ah"] == known["drawn_Ah"]
    out = unwrapped(told(capsys, "charge", tmp_path / "b.parquet", "--site", site, "--explain")[1])
    assert "surges of motor starts" not in out


def filmed(path, current_A):
    """A log of a film whose display shows moments, hidden for five seconds."""
    made = chunk_of(np.concatenate([np.arange(0, 20, 0.2), np.arange(25, 40, 0.2)]), current_A=current_A)
    with new_log(path, ["current_A"]) as writer:
        writer.write(to_batch(Readings(made.time_us, dict(made.quantities))))
        display = {"display_delay_s": 1.0, "display_holds_s": 0.5}
        writer.finish(LogMeta(sampling="held", usual_interval_s=0.2, gap_limit_s=3.0, **display))
    return path


def test_a_display_that_shows_moments_may_miss_surges_and_has_gaps(tmp_path, capsys):
    """Where something was switched on, the upper end allows for it and that is told; what was hidden is a gap."""
    pumping, steady = np.where(np.arange(175) < 30, 2.0, 62.0), np.full(175, 2.0)
    said = {
        name: told(capsys, "charge", filmed(tmp_path / f"{name}.parquet", amps), "--explain")[1]
        for name, amps in (("pumping", pumping), ("steady", steady))
    }
    assert "a start may draw up to 7 times the settled draw" in unwrapped(said["pumping"])
    assert "a start may draw" not in unwrapped(said["steady"])
    amounts = document(capsys, "charge", tmp_path / "pumping.parquet")
    assert amounts["charge"]["net_Ah"] == pytest.approx((6 * 2 + 13.8 * 62 + 14.8 * 62) / 3600)
    looked = unwrapped(told(capsys, "look", tmp_path / "pumping.parquet", "--explain")[1])
    assert "each reading was read off and stands until the next; a gap is longer than 3 s" in looked


def test_the_ends_of_a_net_are_told_as_they_are():
    """-6.44 Ah, -9.2 to -2.2: told as what more came back; what was drawn may not lie below nothing."""
    apart = HowSure(low=-9.2, high=-2.2, u=2.0, factor=2.0, u95=4.24, components=())
    drawn = HowSure(low=-0.4, high=5.1, u=1.0, factor=2.0, u95=3.4, components=())
    amounts = Amounts(3.0, 9.44, Sureness(drawn, drawn, apart))
    charge = Charge(how(), Span(0, 3600 * 10**6, 3600, 3600.0, ()), amounts, None, None, None)
    facts = LogFacts("a", None, "dc", "instant", 10.0, 1.0, "UTC", False, False, "a.csv", 3600, 3600, 0, 0)
    lines = charge_answer(facts, charge, NOTHING_STATED).laid_out(80, explain=False)
    rows = {line.split()[0]: line for line in lines}
    assert rows["net"].split("  ")[0] == "net into the bank" and rows["net"].endswith(" 6.4 Ah, 2.2 to 9.2")
    assert rows["drawn"].endswith(" 3.0 Ah, 0.0 to 5.1")


def test_averages_over_draw_and_return_say_that_more_flowed(tmp_path, capsys):
    """A pump that runs for a minute or two into the sun, a mean each minute: both ends lie on the side of more."""
    rows = ["time,current [A],voltage [V]"]
    means = [-15.0, -15.0, -15.0, 5.0, 25.0, -5.0, -15.0, -15.0] * 30
    rows += [f"2026-06-13T{10 + k // 60:02d}:{k % 60:02d}:00Z,{mean},25.0" for k, mean in enumerate(means)]
    (tmp_path / "m.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    words = ("convert", str(tmp_path / "m.csv"), "--out", str(tmp_path / "m.parquet"), "--sampling", "mean")
    assert run([*words]) == 0
    amounts = document(capsys, "charge", tmp_path / "m.parquet")["charge"]
    for key in ("drawn", "returned"):
        value = amounts[f"{key}_Ah"]
        assert amounts[f"{key}_low_Ah"] == pytest.approx(value)
        # 5 A is half a minute at -15 A, which hides 7.5 A; -5 A a quarter at 25 A, which hides 6.25 A: thirty times.
        assert amounts[f"{key}_high_Ah"] > value + 30 * 60 * (7.5 + 6.25) / 3600
    out = unwrapped(told(capsys, "charge", tmp_path / "m.parquet", "--explain")[1])
    assert "within one average draw and return cancel" in out
    assert "the net is right" in out


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
    out = unwrapped(told(capsys, "charge", log, "--zero-at", "10:05..10:50", "--explain")[1])
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


@pytest.fixture
def sunny(tmp_path):
    """An hour of a pump's draw, then two hours of sun that bring back more, less surely: by the zero."""
    rows = ["time,current [A],voltage [V]"]
    for at in range(0, 3 * 3600, 5):
        current = 8.0 if at < 3600 else -0.9 - 10.0 * (at % 600 < 200)
        rows.append(f"2026-06-13T{10 + at // 3600:02d}:{at // 60 % 60:02d}:{at % 60:02d}Z,{current:.2f},25.00")
    (tmp_path / "sunny.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert run(["convert", str(tmp_path / "sunny.csv"), "--out", str(tmp_path / "sunny.parquet")]) == 0
    return tmp_path / "sunny.parquet"


def test_shares_and_factor_are_of_one_figure_on_terminal_page_and_in_json(sunny, tmp_path, capsys):
    """More came back than went out: all three still tell of what was drawn, by name, and the same of it."""
    found = document(capsys, "charge", sunny)
    assert found["charge"]["returned_Ah"] > found["charge"]["drawn_Ah"]
    assert found["uncertainty_of"] == "drawn_Ah"
    largest = max(found["uncertainty"], key=lambda part: part["share"] or 0)
    share, factor = f"{100 * largest['share']:.0f} %", f"{found['coverage_factor']:.2f} standard uncertainties"
    out = unwrapped(told(capsys, "charge", sunny, "--explain")[1])
    assert f"where the ± of what was drawn (Ah) comes from: {largest['source']} {share}" in out
    assert f"the ± of what was drawn (Ah) holds 95 %: {factor}" in out
    told(capsys, "report", sunny, "--out", tmp_path / "page.html")
    page = (tmp_path / "page.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert f"Of the ± of what was drawn (Ah), {largest['source']} is the most: {share}." in page
    assert f"the ± of what was drawn (Ah) holds 95 %: {factor}" in page
