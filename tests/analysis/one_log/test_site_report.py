"""What a log and its site file say together: in the report, in JSON, on the page; and what is left out."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from readings import T0_US, chunk_of, fed, how
from report_scenes import make_cycle, make_log

from shuntbook.analysis.bank.resistance import resistance_of_cycles
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.one_log.bank_report import BankReport
from shuntbook.analysis.one_log.inverter_report import MeasuredAc, ac_power_W, inverter_reports
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.one_log.site_report import daily_from_bank_Wh, site_report
from shuntbook.analysis.site.site import Site
from shuntbook.cli.main import run
from shuntbook.cli.render.documents.site import site_documents

MARKS = [(T0_US + 3_600_000_000, "crates")]


def site(**changes):
    """Marrowbrook with all that the report asks for; `changes` replace or, with None, drop whole tables or keys."""
    data = {
        "name": "Marrowbrook",
        "bank": {
            **{"chemistry": "flooded_lead_acid", "nominal_V": 24, "capacity_Ah": 420, "hour_rate_h": 20},
            **{"usable_depth_pct": 50, "charge_efficiency_pct": 80, "start_state_pct": 85, "charging_V": 28},
        },
        "inverters": [
            {"name": "shed", "continuous_VA": 3000, "surge_VA": 6000, "surge_s": 5, "efficiency_pct": 80}
            | {"idle_W": 20, "cut_off_V": 21.5}
        ],
        "loads": [
            {"name": "well pump", "kind": "pump", "inverter": "shed", "voltage_V": 230, "current_A": 5.0}
            | {"power_factor": 0.58, "hp": 0.5, "code_letter": "M", "start_s": 0.5}
        ],
        "array": {"power_W": 1000, "sun_hours_h": 4, "performance_ratio": 0.7, "controller": "mppt"},
        "water": {"load": "well pump", "tank_volume_gal": 44, "precharge_psi": 38, "cut_in_psi": 40, "cut_out_psi": 60}
        | {"flow_gal_per_min": 10, "head_m": 6},
    }
    for key, value in changes.items():
        table, _, name = key.partition("__")
        where, last = (data[table], name) if name else (data, table)
        for each in where if isinstance(where, list) else [where]:
            each.pop(last) if value is None else each.update({last: value})
    return Site.model_validate(data)


def a_log(**changes):
    """Ten starts seen from end to end; the sag is 12 mohm x the surge."""
    surges = (48.0, 49.0, 50.0, 51.0, 52.0) * 2
    cycles = tuple(
        make_cycle(300.0 * k, 72.0, 228.0, surge_A=x, sag_V=0.012 * x, before_V=25.0, surge_resolved=True)
        for k, x in enumerate(surges)
    )
    log = make_log()
    summary = replace(log.cycles.summary, count=10, median_run_s=72.0, median_off_s=228.0)
    return replace(log, cycles=replace(log.cycles, cycles=cycles, summary=summary), **changes)


def followed(of, current_A=10.0, hours=2, markers=()):
    """What is followed over so many hours at a steady draw."""
    chunk = chunk_of(np.arange(hours * 3600 + 1), current_A=current_A, voltage_V=24.0)
    return fed(SiteFolds(how(), {"current_A", "voltage_V"}, markers, site=of, zone=None), chunk).result()


def by_site(of, log, followed):
    """What site and log say together."""
    load = of.load("well pump")
    return site_report(of, load, log.charge, log.cycles, log.figures, log.facts.meter, followed)


def report(of, log=None, **changes):
    """The site's report of ten starts and two hours at 10 A, of which one is marked."""
    return by_site(of, log or a_log(**changes), followed(of, markers=MARKS))


def test_the_bank_is_that_of_the_closed_forms():
    """12 mohm, 20 Ah of 420 from 85 %, and the lowest voltage 25 - 0.012 x 50.

    Counting, C-rate and sag are plain arithmetic; the hours to 50 % are (80.24 - 50) % of 420 Ah over 31 A.
    """
    bank = report(site()).bank
    assert isinstance(bank, BankReport)
    assert bank.resistance.mohm.value == pytest.approx(12.0)
    assert bank.state.end_pct.value == pytest.approx(85 - 100 * 20 / 420)
    assert bank.at_ends[0].value == pytest.approx(bank.state.end_pct.value)
    assert bank.sag.lowest_V.value == pytest.approx(25.0 - 0.012 * 50)
    assert bank.sag.verdict == "holds"
    running, sustained = bank.draws
    assert running.rate.hours == pytest.approx(420 / 31)
    assert running.runtime.counted_h.value == pytest.approx((85 - 100 * 20 / 420 - 50) / 100 * 420 / 31)
    assert sustained.rate.current_A == pytest.approx(10.0)


def test_recharge_is_owed_over_efficiency_and_sun():
    """63 + 20 Ah are wanting; over 80 % that is 103.75 Ah, 2,905 Wh at 28 V; the array brings 700 W, 2,800 Wh a day."""
    owed = report(site()).bank.to_full
    assert (owed.owed_Ah, owed.owed_Wh) == pytest.approx((103.75, 2905.0))
    assert (owed.sun_h, owed.days) == pytest.approx((2905 / 700, 2905 / 2800))
    assert any("lower bound" in text for text in owed.assumptions)
    assert any("nothing drawn meanwhile" in text for text in owed.assumptions)


def test_what_a_day_takes_is_told_of_a_whole_day_alone():
    """Of two days at 240 Wh a day; not of an hour."""
    charge = make_log().charge
    two_days = replace(
        charge, span=replace(charge.span, covered_s=2 * 86400.0), energy=replace(charge.energy, drawn=480)
    )
    assert daily_from_bank_Wh(two_days) == pytest.approx(240.0)
    assert daily_from_bank_Wh(charge) is None


def test_seen_watts_are_behind_the_inverter():
    """765 W above what was drawn before, at 80 %: 612 W; and 1,290 W at most: 1,032 W."""
    (shed,) = report(site()).inverters
    assert isinstance(shed.seen, MeasuredAc)
    assert (shed.seen.sustained_W, shed.seen.peak_W) == pytest.approx((612.0, 1032.0))
    assert (shed.seen.sustained.verdict, shed.seen.peak.verdict) == ("holds", "holds")
    assert shed.planned.hardest == "well pump"


def test_what_was_seen_counts_for_the_word_on_an_inverter():
    """As planned it holds; 1,300 W at 0.65 are 2,000 VA, of 1,200 VA: then it fails, here and in JSON."""
    few = {"inverters__continuous_VA": 1200}
    log = a_log()
    many = tuple(replace(cycle, run_W=1300.0 / 0.8) for cycle in log.cycles.cycles)
    (usual,) = report(site(**few)).inverters
    (hard,) = report(site(**few), replace(log, cycles=replace(log.cycles, cycles=many))).inverters
    assert (usual.verdict, hard.verdict, hard.planned.verdict) == ("holds", "fails", "holds")


def test_behind_an_inverter_all_its_loads_are_seen():
    """Ten minutes at 3,300 W are more than 3,000 VA, whatever the load."""
    of, reading = site(), how(side="ac")
    chunk = chunk_of(np.arange(3601), power_W=np.where(np.arange(3601) < 1800, 3300.0, 100.0))
    ledger = fed(SiteFolds(reading, {"power_W"}, [(T0_US, "crates")], site=of, zone=None), chunk).result().ledger
    (shed,) = inverter_reports(of, None, a_log().cycles, ledger, reading, "shed")
    assert shed.seen.sustained_W == pytest.approx(3300.0)
    assert shed.seen.sustained.verdict == "fails"


def test_a_load_on_the_dc_side_takes_what_is_seen():
    """No inverter, no loss to take off; nor behind one."""
    of = site()
    assert ac_power_W(of, None, 500.0, how()) == 500.0
    assert ac_power_W(of, of.load("well pump"), 500.0, how(side="ac")) == 500.0
    assert ac_power_W(of, of.load("well pump"), 500.0, how()) == pytest.approx(400.0)


def test_water_and_array():
    """44 gal at 38/40/60 psi (National Driller's formula), 10 gal/min for 72 s; 1,000 W x 4 h x 0.7 (PVEducation)."""
    outcome = report(site())
    air, low, high = 38 + 14.696, 40 + 14.696, 60 + 14.696
    assert outcome.water.plan.drawdown_L == pytest.approx(44 * 3.785411784 * (air / low - air / high), rel=1e-4)
    assert outcome.water.cost.Wh_per_gal == pytest.approx(15.4 / 12, rel=1e-6)
    assert outcome.solar.day.energy_Wh == pytest.approx(2800.0)
    assert outcome.missing == ()


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"bank__usable_depth_pct": None}, "No runtime left; add bank.usable_depth_pct to the site file."),
        ({"bank__start_state_pct": None}, "bank.start_state_pct or bank.rested_V"),
        ({"array": None}, "No yield of the array; add array to the site file."),
        ({"array__sun_hours_h": None}, "No days to recharge; add array.sun_hours_h to the site file."),
        ({"array__performance_ratio": None}, "array.performance_ratio or array.losses_pct"),
        ({"inverters__cut_off_V": None}, "add inverters.cut_off_V to the site file"),
        ({"inverters__surge_VA": None}, "add inverters.surge_VA"),
        ({"water": None}, "add water to the site file"),
        ({"water__precharge_psi": None}, "add water.precharge_kPa or water.precharge_psi"),
        ({"water__flow_gal_per_min": None}, "water.flow_gal_per_min"),
        ({"water__head_m": None}, "water.head_m or water.head_ft"),
    ],
)
def test_a_value_that_is_missing_leaves_its_part_out_and_is_named(changes, text):
    """What to add is said, and the rest is still there; as JSON too, with null or the reason in its place."""
    outcome = report(site(**changes))
    assert any(text in each.sentence for each in outcome.missing)
    assert isinstance(outcome.bank, BankReport)
    ledger = followed(site(**changes), markers=MARKS).ledger
    document = json.loads(json.dumps(site_documents(a_log(ledger=ledger, by_site=outcome))))
    assert any(text in sentence for sentence in document["left_out"])


def test_without_amps_at_the_bank_nothing_is_said_of_it():
    """A log behind an inverter knows no charge."""
    of = site()
    chunk = chunk_of(np.arange(1201), power_W=600.0)
    seen = fed(SiteFolds(how(side="ac"), {"power_W"}, (), site=of, zone=None), chunk).result()
    outcome = by_site(of, a_log(), seen)
    assert isinstance(outcome.bank, Missing)
    assert "no amps measured at the bank" in outcome.missing[0].sentence


def test_starts_that_were_not_resolved_bound_the_next():
    """At a reading a second ten starts of half a second are met: the lowest of them, 25 V less 12 mohm x 52 A."""
    log = a_log()
    slow = tuple(replace(cycle, surge_resolved=False) for cycle in log.cycles.cycles)
    log = replace(log, cycles=replace(log.cycles, cycles=slow))
    bank = report(site(), log).bank
    assert resistance_of_cycles(slow).mohm.value == pytest.approx(12.0)
    assert "By the 10 starts" in bank.sag.assumptions[0]
    assert bank.sag.lowest_V.low < bank.sag.lowest_V.value == pytest.approx(25 - 0.012 * 52)
    assert bank.sag.lowest_V.high > 25 - 0.012 * 50  # each falls at least as far as is usually read of it
    assert bank.sag.verdict == "holds"


def test_without_a_site_the_parts_are_null_and_the_ledger_is_there():
    """A script can rely on the keys."""
    document = site_documents(make_log())
    assert document["ledger"] == {
        **{"zone": "Europe/London", "sustained_over_s": 600, "days": [], "demos": []},
        "state_why_not": "No state of charge: it needs a site file.",
    }
    assert all(document[key] is None for key in ("bank", "inverters", "conductors", "water", "solar"))


def _json(demo, capsys, *logs):
    capsys.readouterr()
    assert run(["report", *(str(demo / log) for log in logs), "--site", str(demo / "site.toml"), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_demo_tells_its_story(demo, capsys):
    """The inverter and the bank hold at a start; the crates are paid back the same morning; keys as in the contract."""
    document = _json(demo, capsys, "open_day.parquet")
    assert document["inverters"][0]["verdict"] == "holds"
    assert document["bank"]["sag"]["verdict"] == "holds"
    # The scenario's bank has 12 mohm inside, and 8 more that come slowly (sample_data/scenario.py).
    assert 11.5 < document["bank"]["resistance"]["mohm"]["value"] < 13
    (day,), (demo_line,) = document["ledger"]["days"], document["ledger"]["demos"]
    assert (day["date"], day["starts"], day["length_s"]) == ("2026-06-13", 10, 86400.0)
    assert day["charge"]["drawn_Ah"] == pytest.approx(document["charge"]["charge"]["drawn_Ah"])
    assert day["charge"]["drawn_u95_Ah"] == pytest.approx(document["charge"]["charge"]["drawn_u95_Ah"])
    assert demo_line["charge"]["drawn_Ah"] == pytest.approx(document["marked"][0]["drawn_Ah"])
    assert demo_line["charge"]["net_Ah"] < demo_line["payback"]["owed_Ah"] < demo_line["charge"]["drawn_Ah"]
    assert "2026-06-13T09:55:00Z" < demo_line["payback"]["paid"] < "2026-06-13T10:30:00Z"
    assert document["water"]["plan"]["drawdown_L"] == pytest.approx(43.0, abs=0.1)


def test_the_page_answers_in_the_order_of_the_questions(demo):
    """From what was taken to how good the log is, with the formulas at the end; conductors once for two logs."""
    page = (demo / "page.html").read_text(encoding="utf-8")
    asked = (
        "What did it take out of the bank?",
        "Can the system carry it?",
        "Is the well pump healthy?",
        "Why does the nameplate differ?",
        "When is it full again?",
        "What does the water cost?",
        "How sure is this, and how good is the log?",
    )
    places = [page.index(f">{question}</h3>") for question in asked]
    places += [page.rindex(f">{question}</h2>") for question in ("How was this computed?", "Cautions")]
    assert places == sorted(places)
    assert page.count("Voltage lost in conductors") == 1
    assert "owed the bank" in page
    assert page.count("State of charge over the log, with its interval") == 4


LIFE = {"bank__cycle_life": [[50, 1200], [80, 600]], "bank__price": 840, "bank__currency": "GBP"}


def test_the_bank_s_wear_stands_by_the_log_and_each_demo():
    """Two hours at 10 A out of 420 Ah, the second of them marked; 600 full cycles for 840 GBP are 1.40 each."""
    wear, log = report(site(**LIFE)).bank.wear, a_log()
    assert wear.whole.full_cycles.value == pytest.approx(log.charge.charge.drawn / 420)
    (demo,) = wear.lines
    assert demo.full_cycles.value == pytest.approx(10 / 420, rel=1e-3)
    # The hour before it had emptied the bank already.
    assert (demo.depth_pct, wear.whole.depth_pct) == pytest.approx((100 * 20 / 420,) * 2, rel=1e-3)
    assert demo.cost.value == pytest.approx(1.40 * 10 / 420, rel=1e-3)
    assert wear.falls == 1


def test_wear_is_withheld_where_it_cannot_be_told():
    """Without its maker's figures no share; without amps at the bank no wear at all."""
    unknown = report(site()).bank.wear
    assert unknown.whole.full_cycles.value > 0
    assert unknown.whole.life_pct is None
    of = site()
    log, record = a_log(), followed(of, markers=MARKS)
    document = site_documents(replace(log, ledger=record.ledger, by_site=by_site(of, log, record)))
    assert document["bank"]["wear"]["life_pct"] is None
    assert "bank.cycle_life" in document["bank"]["wear"]["life_why_not"]
    assert by_site(of, log, replace(record, running=None)).bank.sentence.startswith("No word on the bank")
