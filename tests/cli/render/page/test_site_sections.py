"""What a log and its site file say together: each part there, or left out with the key to add; the same everywhere."""

import copy
import html
import json
import re
import tomllib
from dataclasses import replace
from functools import cache
from importlib.resources import as_file, files
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from page_reading import (
    OF_WORDS_ALONE,
    assert_sound,
    undrawn,  # noqa: F401  (a fixture)
)
from readings import US, how
from report_scenes import make_cycle, make_log, make_report

from shuntbook.analysis.charge.amounts import Amounts, Charge
from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.ledger.ledger import Ledger
from shuntbook.analysis.ledger.sustained import NOTHING_SEEN, PeakDraw
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.one_log.bank_report import BankReport
from shuntbook.analysis.one_log.inverter_report import MeasuredAc, inverter_reports
from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.one_log.site_report import daily_from_bank_Wh
from shuntbook.analysis.one_log.water_report import WaterReport, water_report
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead, Span
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.cli.main import run
from shuntbook.cli.render.documents.report import report_document
from shuntbook.cli.render.documents.site import site_documents
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.page.site_tables import ledger, verdicts
from shuntbook.cli.render.still_charts.bank import state_over_time
from shuntbook.cli.render.wording import numbers
from shuntbook.cli.render.wording.site_sentences import carried, carries, full_again, paid_back, unsafe

SAMPLE = tomllib.loads(files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8"))
LONDON = ZoneInfo("Europe/London")
#: 15 November 2026, 09:00 UTC, which is also London's time; the log goes past one midnight.
START_US = 1_794_733_200 * US
HOURS = 27
NOTES = ((START_US + 3600 * US, "<script>crates</script>"), (START_US + 7200 * US, "end"))


def site_with(**changes):
    """The sample site, with tables or keys in the place of its own; None takes one away."""
    told = copy.deepcopy(SAMPLE)
    for path, value in changes.items():
        *tables, key = path.split("__")
        place = told
        for table in tables:
            place = place[table]
            place = place[0] if isinstance(place, list) else place
        if value is None:
            del place[key]
        else:
            place[key] = value
    return Site.model_validate(told)


def a_day():
    """1 A all the time, the pump's 31 A for 72 s of each 720 s, 20 A more as it starts, and four hours of sun."""
    second = np.arange(0.0, HOURS * 3600, 2.0)
    since_s = second % 720 - 100
    running = (since_s >= 0) & (since_s < 72)
    load_A = 1.0 + 31.0 * running + 20.0 * (running & (since_s < 2))
    current_A = load_A - 20.0 * ((second > 4 * 3600) & (second < 8 * 3600))
    time_us = START_US + np.rint(second * US).astype(np.int64)
    return Chunk(time_us, {"current_A": current_A, "voltage_V": 25.4 - 0.018 * current_A})


DAY = a_day()


def analysed(site, *, load=None, chunk=DAY, zone=LONDON, side="dc", meter="bank shunt", **facts):
    """A log's report with that site."""
    known = make_log().facts
    known = replace(known, side=side, meter=meter, usual_interval_s=2.0, **{"markers": NOTES, **facts})
    reading, quantities = how(side, usual_interval_s=2.0), set(chunk.quantities)
    folds = SiteFolds(reading, quantities, known.markers, site=site, zone=zone)
    analysis = LogAnalysis(known, reading, quantities, site=site, load=load, site_folds=folds)
    analysis.add(chunk)
    return analysis.result()


@pytest.fixture(scope="module")
def full():
    """The day with the whole sample site."""
    return analysed(site_with())


HOUR = Chunk(DAY.time_us[:3600], {name: x[:3600] for name, x in DAY.quantities.items()})


WATTS = Chunk(START_US + np.arange(0, 1800) * US, {"power_W": np.full(1800, 500.0)})


@cache
def sentences(left_away=None):
    """What is left out of two hours' report, without that key of the site file."""
    site = site_with(**{left_away: None} if left_away else {})
    return [part.sentence for part in analysed(site, chunk=HOUR).by_site.missing]


def test_with_the_sample_site_every_part_is_there(full):
    """Bank, both inverters, both conductors, water and sun; only what one log cannot show is left out."""
    found = full.by_site
    assert isinstance(found.bank, BankReport)
    assert found.bank.missing == ()
    assert isinstance(found.water, WaterReport)
    assert found.water.missing == ()
    assert [each.planned.inverter for each in found.inverters] == ["wash shed inverter", "seedling house inverter"]
    assert isinstance(found.inverters[0].seen, MeasuredAc)
    assert not any(check.missing for check in found.conductors)
    assert len(found.conductors) == 2
    assert isinstance(found.solar.use.day_Wh, Within)
    assert found.missing == ()
    assert found.inverters[1].seen.because == "this log does not show its loads by themselves"


@pytest.mark.parametrize(
    ("left_away", "sentence"),
    [
        ("bank__start_state_pct", r"No state of charge: .*add bank\.start_state_pct or bank\.rested_V"),
        ("bank__start_state_pct", r"No time until it is full: .*add bank\.start_state_pct or bank\.rested_V"),
        ("bank__start_state_pct", r"No runtime left: .*add bank\.start_state_pct or bank\.rested_V"),
        ("bank__usable_depth_pct", r"No runtime left; add bank\.usable_depth_pct"),
        ("inverters__cut_off_V", r"No word on the sag at start: .*add inverters\.cut_off_V"),
        ("array__sun_hours_h", r"No yield of the array; add array\.sun_hours_h"),
        ("array__sun_hours_h", r"No days to recharge; add array\.sun_hours_h"),
        ("array__performance_ratio", r"No yield of the array; add array\.performance_ratio or array\.losses_pct"),
        ("array", r"No yield of the array; add array to"),
        ("array", r"No time to recharge; add array to"),
        ("water", r"No word on the water; add water to"),
        ("water__flow_gal_per_min", r"No drawdown by the times seen; add water\.flow_L_per_min"),
        ("water__flow_gal_per_min", r"No wire-to-water efficiency; add water\.flow_L_per_min"),
        ("water__precharge_psi", r"No word on the pressure tank; add water\.precharge_kPa or water\.precharge_psi"),
        ("water__head_m", r"No wire-to-water efficiency; add water\.head_m or water\.head_ft"),
        (
            "inverters__surge_VA",
            r"starting(?: \(locked-rotor\))?: that may take 5,595 VA.*; add inverters\.surge_VA or inverters\.surge_W",
        ),
        ("conductors__carries", r"No word on what flows in .*; add conductors\.carries to"),
    ],
)
def test_what_lacks_a_figure_is_left_out_and_names_the_key(left_away, sentence):
    """One plain sentence, which the whole sample site does not need."""
    pattern = re.compile(sentence)
    assert any(pattern.search(said) for said in sentences(left_away))
    assert not any(pattern.search(said) for said in sentences())


def test_a_bank_without_starts_needs_its_resistance_stated():
    """Two readings' worth of steady draw: no start, so no resistance and no word on the next one."""
    steady = Chunk(DAY.time_us[:40], {name: x[:40] for name, x in DAY.quantities.items()})
    left = [part.sentence for part in analysed(site_with(), chunk=steady).by_site.missing]
    assert any(
        re.search(r"No internal resistance: it needs 6 starts.*add bank\.resistance_mohm", said) for said in left
    )
    stated = analysed(site_with(bank__resistance_mohm=18), chunk=steady).by_site.bank
    assert stated.resistance.mohm.value == 18


def test_the_water_of_a_load_that_was_not_looked_for_asks_for_no_key():
    """The site file has its water; only the pump's runs were not sought in this log."""
    water = analysed(site_with(), load="fridge", chunk=HOUR).by_site.water
    assert water.sentence == "No word on the water: the runs of 'well pump', which pumps it, were not looked for."
    assert water.add == ()


def test_a_load_at_the_bank_is_held_against_the_banks_own_cut_off():
    """No inverter stands between: the key to add is the bank's."""
    on_bank = {"name": "well pump", "kind": "pump", "voltage_V": 24, "current_A": 31}
    seen = {"loads": [on_bank], "conductors": []}
    sag = analysed(site_with(**seen, bank__cut_off_V=None), chunk=HOUR).by_site.bank.sag
    assert (type(sag), sag.add) == (Missing, ("bank.cut_off_V",))
    sag = analysed(site_with(**seen), chunk=HOUR).by_site.bank.sag
    assert (sag.cut_off_V, sag.below) == (22.0, "the bank is not to go")


# NEC Table 430.7(B), locked-rotor kVA per horsepower: M 10.0 to 11.19, N 11.2 to 12.49, R 14.0 to 15.99. Half a
# horsepower times those, against the 6,000 VA that the inverter gives for 5 s.
@pytest.mark.parametrize(
    ("letter", "low_VA", "high_VA", "verdict"),
    [("M", 5000, 5595, "holds"), ("N", 5600, 6245, "doubtful"), ("R", 7000, 7995, "fails")],
)
def test_an_inverters_word_follows_the_code_letter(letter, low_VA, high_VA, verdict):
    """Volt-amperes at standstill under, across or over the surge rating."""
    planned = analysed(site_with(loads__code_letter=letter), chunk=HOUR).by_site.inverters[0].planned
    assert (planned.starting.asked.low, planned.starting.asked.high) == pytest.approx((low_VA, high_VA))
    assert planned.starting.verdict == planned.verdict == verdict


def test_watts_seen_are_judged_against_the_ratings():
    """A pump behind its inverter at 667 W with 3,290 W at the start: 800 VA fail, 6,000 VA for some seconds hold.

    667 W at 0.58 to 0.73 are 914 VA or more, and 3,290 W at a start, with letter M and 1/2 hp, 5,000 to 5,595 VA (NEC
    Table 430.7(B)): volt-amperes against volt-amperes, though the watts are less than 800.
    """
    site = site_with(inverters__continuous_VA=800, inverters__surge_VA=6000)
    cycles = Cycles(
        (make_cycle(0.0, run_W=667.0, peak_W=3290.0, surge_resolved=True),),
        CycleSummary(1, 1.0, 0.3, 72.0, 148.0),
        "power_W",
    )
    seen = inverter_reports(site, site.load("well pump"), cycles, Ledger(), how("ac"), None)[0].seen
    assert (seen.sustained_W, seen.peak_W) == (667.0, 3290.0)
    assert (seen.sustained.verdict, seen.peak.verdict) == ("fails", "holds")


def test_watts_at_the_bank_are_less_the_inverters_losses():
    """At 88 % with its idle draw among the losses, 440 W more from the bank are 88 % of that or more, and not all."""
    site = site_with()
    cycles = Cycles((make_cycle(0.0, run_W=440.0, peak_W=880.0),), CycleSummary(1, 1.0, 0.3, 72.0, 148.0), "current_A")
    seen = inverter_reports(site, site.load("well pump"), cycles, Ledger(), how("dc"), None)[0].seen
    assert 0.88 * 440 - 0.1 <= seen.sustained_W < 440
    assert any("taken off" in said for said in seen.assumptions)


def behind(site, meter, current=NOTHING_SEEN, **highest):
    """The reports of a log of watts behind an inverter."""
    none = Cycles((), CycleSummary(0, None, None, None, None), "power_W")
    ledger = Ledger(current=current, power=PeakDraw(**highest))
    return inverter_reports(site, None, none, ledger, how("ac"), meter)


def test_a_meter_behind_an_inverter_sees_all_its_loads():
    """Without dates or notes as well: the highest and the lasting draw are those of the whole log."""
    seen = behind(site_with(), "wash shed inverter", highest=2900.0, sustained=1400.0)[0].seen
    assert (seen.peak_W, seen.sustained_W) == (2900.0, 1400.0)
    # Power factors of 0.5 to 0.85, a pump's: 1,647 to 2,800 VA of 3,000, and 3,412 to 5,800 VA of 6,000.
    assert (seen.sustained.verdict, seen.peak.verdict) == ("holds", "holds")
    assert behind(site_with(), "wash shed inverter", highest=2900.0, sustained=2400.0)[0].seen.sustained.verdict == (
        "doubtful"
    )
    amps = PeakDraw(highest=20.0, sustained=10.0)
    read = behind(site_with(), "wash shed inverter", current=amps, highest=2900.0, sustained=1400.0)[0].seen
    assert (read.sustained.asked.value, read.peak.asked.value) == (2300.0, 4600.0)  # amps x 230 V
    short = behind(site_with(), "wash shed inverter", highest=3500.0, sustained=None)[0].seen
    assert short.sentence == "No measured word on 'wash shed inverter': no ten minutes on end were measured."


@OF_WORDS_ALONE
def test_a_meter_whose_inverter_is_not_named_asks_for_the_key():
    """Two inverters, and nothing says behind which the meter sits."""
    unknown = [each.seen for each in behind(site_with(), None, highest=1.0, sustained=1.0)]
    assert [each.add for each in unknown] == [("meters.inverter",)] * 2
    log = analysed(site_with(), chunk=WATTS, side="ac", meter=None, markers=())
    assert any("add meters.inverter to the site file" in part.sentence for part in log.by_site.missing)
    assert "which inverter the meter sits behind is not said; add meters.inverter" in render(
        make_report(log, site=site_with())
    )


def test_an_undated_log_behind_an_inverter_is_judged():
    """Half an hour of 500 W with no calendar: no days, and yet its ten minutes."""
    site = site_with(inverters=SAMPLE["inverters"][:1], loads=SAMPLE["loads"][:1], conductors=SAMPLE["conductors"][:1])
    log = analysed(site, chunk=WATTS, zone=None, side="ac", meter=None, undated=True)
    assert log.ledger.days == ()
    assert log.by_site.inverters[0].seen.sustained_W == pytest.approx(500.0)


# National Driller, 2004-2008 (B. Pelikan): 28/30/50 psi and 85 gal give 25.1 gal; 1 US gal is 3.785411784 L exactly.
def test_the_tanks_plan_is_the_handbooks():
    """Drawdown as printed, and the run it makes at 10 gal/min: 2.51 min."""
    told = {**SAMPLE["water"], "tank_volume_gal": 85, "precharge_psi": 28, "cut_in_psi": 30, "cut_out_psi": 50}
    found = water_report(site_with(water=told).water, make_log().cycles, power_W=667.0)
    assert found.plan.drawdown_L / 3.785411784 == pytest.approx(25.1, abs=0.05)
    assert found.plan.fill_s == pytest.approx(2.51 * 60, abs=0.3)
    # 72 s at 10 gal/min are 12 gal, and a run takes 15.4 Wh: 15.4 / 12 Wh for a gallon.
    assert found.cost.Wh_per_gal == pytest.approx(15.4 / 12)


def test_a_conductor_loses_what_the_table_says(full):
    """NEC chapter 9, table 8: 3/0 AWG stranded copper 0.0766 ohm/kft at 75 degC; twice 1.8 m are 11.81 ft."""
    check = full.by_site.conductors[0]
    assert check.resistance_mohm == pytest.approx(0.0766 * 2 * 1.8 / 0.3048, rel=1e-3)
    assert check.running.drop_V == pytest.approx(check.running.current_A * check.resistance_mohm / 1000)


def test_the_arrays_day_by_hand(full):
    """1,150 W x 4.2 h x 0.62 = 2,994.6 Wh (PVEducation: hours of full sun), over what was drawn in a day."""
    solar = full.by_site.solar
    assert solar.day.energy_Wh == pytest.approx(2994.6)
    assert solar.day.to_load == pytest.approx(2994.6 / solar.use.day_Wh.value)


def test_loads_that_the_sun_carries_are_counted(full):
    """1 A and a tenth of the time 31 A, at the starts 20 A more: 4.16 A at 25.3 V, day and night, sun or not."""
    use = full.by_site.solar.use
    assert use.day_Wh.value == pytest.approx(4.16 * 24 * 25.3, rel=0.01)
    assert use.from_bank_Wh < 0.9 * use.day_Wh.value
    small = analysed(site_with(array__power_W=300.0))  # 300 W x 4.2 h x 0.62 are 781 Wh
    said = full_again(small.by_site.bank.to_full)
    assert "The loads take 2,5" in said
    assert "the array brings 781 Wh on a usual day: at this use it never gets full" in said


@pytest.mark.parametrize(
    ("power_W", "why"),
    [
        (
            100.0,
            "the loads take 1,220 Wh a day and the array brings 260 Wh on a usual day: at this use it never gets full",
        ),
        (1150.0, "too few dark hours to tell the rest by"),
    ],
)
def test_where_the_sun_hides_what_is_taken_the_bank_gives_the_least_of_it(power_W, why):
    """2 A at 25.4 V for 26 h, and an array that never gave more than was taken: 1,220 Wh a day, or more."""
    second = np.arange(0.0, 26 * 3600, 10.0)
    volts = np.full(len(second), 25.42)
    chunk = Chunk(START_US + np.rint(second * US).astype(np.int64), {"current_A": volts * 0 + 2.0, "voltage_V": volts})
    found = analysed(site_with(array__power_W=power_W), chunk=chunk).by_site
    assert isinstance(found.solar.use.day_Wh, Missing)
    assert found.solar.use.from_bank_Wh == pytest.approx(2 * 25.42 * 24, rel=1e-3)
    assert found.solar.day.to_load is None
    assert why in full_again(found.bank.to_full).replace("The loads", "the loads")


def test_state_at_a_days_end_is_counted_to_midnight(full):
    """85 % less what was drawn, plus 85 % of what came back, by midnight, over 420 Ah."""
    first, last = full.ledger.days
    states = full.by_site.bank.at_ends
    by_midnight = first.whole.charge
    expected = 85 - 100 / 420 * (by_midnight.drawn - 0.85 * by_midnight.returned)
    assert states[0].value == pytest.approx(expected, abs=1e-9)
    assert states[1].value == pytest.approx(full.by_site.bank.state.end_pct.value, abs=1e-9)
    assert last.at_end.drawn_Ah == pytest.approx(full.charge.charge.drawn, rel=1e-9)


def test_full_again_is_what_is_lacking_over_the_efficiency(full):
    """(100 - state) of 420 Ah over 0.85, in Wh at the stated 28.4 V."""
    bank = full.by_site.bank
    owed_Ah = (100 - bank.state.end_pct.value) / 100 * 420 / 0.85
    assert bank.to_full.owed_Ah == pytest.approx(owed_Ah)
    assert bank.to_full.owed_Wh == pytest.approx(owed_Ah * 28.4)


def test_resistance_and_sag_are_those_of_the_readings(full):
    """The volts fall by 18 mohm, and the resistance found holds it; the next start falls as far as those seen."""
    bank = full.by_site.bank
    assert bank.resistance.mohm.holds(18.0)
    assert bank.sag.cut_off_V == 21.5
    lowest = [cycle.lowest_V for cycle in full.cycles.cycles if not cycle.array_may_share]
    assert bank.sag.lowest_V.low < min(lowest) < bank.sag.lowest_V.high
    assert bank.sag.verdict == "holds"


def test_use_of_a_day_needs_a_day():
    """36 h with 3,000 Wh drawn are 2,000 Wh a day; 23 h tell of no day, and nor does a meter behind an inverter."""

    def of(hours, side="dc"):
        span = Span(0, hours * 3600 * US, 2, hours * 3600.0, ())
        return daily_from_bank_Wh(Charge(HowRead(side, "instant", 10.0), span, None, Amounts(3000.0, 0.0), None, None))

    assert of(36) == pytest.approx(2000.0)
    assert of(24 - 1 / 60) == pytest.approx(3000.0, rel=1e-3)  # a day's log at a reading a minute
    assert (of(23), of(36, "ac")) == (None, None)


def test_the_page_has_every_part_and_its_figures_are_those_of_the_json(full):
    """The sections stand there, names are text and no elements, and figures are the document's to the printed digit."""
    report = make_report(full, site=site_with())
    said = assert_sound(render(report))
    for heading in ("Can the system carry it?", "When is it full again?", "What does the water cost?", "Day by day"):
        assert heading in said
    assert "<script>crates</script>" in said  # as text: assert_sound has found no such element
    assert "15 Nov 2026" in said
    document = report_document(report)
    document = document.get("logs", [document])[0]
    days, demo = document["ledger"]["days"], document["ledger"]["demos"][0]
    assert [day["date"] for day in days] == ["2026-11-15", "2026-11-16"]
    assert demo["text"] == "<script>crates</script>"
    for day in days:
        charge = day["charge"]
        assert numbers.plus_minus(charge["drawn_Ah"], charge["drawn_u95_Ah"], "Ah") in said
        assert f"{day['state_at_end_pct']['value']:.0f} %" in said
        assert numbers.amount(day["sustained_A"], "A") in said
    bank, water = document["bank"], document["water"]
    assert numbers.amount(bank["recharge_to_full"]["owed_Ah"], "Ah") in said
    assert f"{numbers.amount(water['cost']['Wh_per_gal'], 'Wh')} for a gallon" in said  # the file's tank is in gallons
    assert numbers.amount(document["solar"]["day"]["energy_Wh"], "Wh") == "2,995 Wh"
    assert "2,995 Wh" in said
    for inverter in document["inverters"]:
        # The page has the trade's term at the first alone.
        sentence = inverter["planned"]["running"]["sentence"]
        assert sentence in said or sentence.replace(" (continuous)", "") in said


def test_starts_of_days_sum_to_those_of_the_log(full):
    """No start falls between two days."""
    assert sum(day.starts for day in full.ledger.days) == len(full.cycles.cycles) == HOURS * 5


def test_when_a_demo_was_paid_back_is_said(full):
    """One hour's demo before the sun: owed is what it drew, and the hour of the payback stands in the sentence."""
    (found,) = full.paybacks
    assert found.owed_Ah == pytest.approx(full.ledger.demos[0].whole.charge.drawn)
    (text,) = paid_back(full)
    assert numbers.amount(found.owed_Ah, "Ah") in text


@pytest.mark.parametrize(
    ("since_h", "said"), [(1.0, r"short of [1-9][\d.]* Ah by it"), (4.5, "short of nothing by it")]
)
def test_a_demo_that_no_note_ended_is_said_so(since_h, said):
    """Before the sun the bank is short of what it drew; begun in the sun it is short of nothing, never of less."""
    notes = ((round(START_US + since_h * 3600 * US), "rinse"),)
    upto = int((3.9 if since_h < 4 else 6.0) * 1800)
    sunny = Chunk(DAY.time_us[:upto], {name: x[:upto] for name, x in DAY.quantities.items()})
    (text,) = paid_back(analysed(site_with(), chunk=sunny, markers=notes))
    assert re.search(said, text)


def test_a_note_that_reads_like_a_date_stays_as_it_was_typed():
    """Only days are dates."""
    log = analysed(site_with(), chunk=HOUR, markers=((START_US + 60 * US, "20260609"),))
    assert [row[0] for row in ledger(log)[0].rows] == ["15 Nov 2026", "20260609"]


@pytest.mark.parametrize("floor_pct", [50.0, None])
def test_the_state_chart_draws_with_and_without_a_floor(full, floor_pct):
    """A line at the usable depth where there is one, and no word of it where there is none."""
    drawing = state_over_time(full.by_site.bank.state, full, floor_pct=floor_pct)
    assert drawing.count("<svg") == 1
    assert ("usable depth" in re.sub(r"<title.*?</title>|aria-label=\"[^\"]*\"", "", drawing)) == (
        floor_pct is not None
    )


def export(path, chunk):
    """The readings as a CSV export."""
    rows = ["time,current [A],voltage [V]"]
    stamps = chunk.time_us.astype("datetime64[us]").astype("datetime64[s]")
    for at, amps, volts in zip(stamps, *(chunk.quantities[n] for n in ("current_A", "voltage_V")), strict=True):
        rows.append(f"{at}Z,{amps:.2f},{volts:.3f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture
def documents(tmp_path, capsys):
    """What `report --json` prints of two hours, by the words that follow."""
    export(tmp_path / "a.csv", HOUR)
    log = str(tmp_path / "a.parquet")
    assert run(["convert", str(tmp_path / "a.csv"), "--out", log]) == 0

    def printed(*more):
        capsys.readouterr()
        assert run(["report", log, "--json", *map(str, more)]) == 0
        document = json.loads(capsys.readouterr().out)
        return document.get("logs", [document])[0]

    return printed


def test_report_json_has_the_keys_that_scripts_rely_on(documents):
    """Without a site file the ledger alone, the others null; with one all of them."""
    keys = ("bank", "inverters", "conductors", "water", "solar")
    bare = documents()
    assert [bare[key] for key in keys] == [None] * 5
    assert bare["ledger"]["state_why_not"] == "No state of charge: it needs a site file."
    assert bare["ledger"]["days"][0]["charge"]["drawn_Ah"] == pytest.approx(bare["charge"]["charge"]["drawn_Ah"])
    with as_file(files("shuntbook.sample_data").joinpath("site.toml")) as site:
        told = documents("--site", site)
    assert all(told[key] for key in keys)
    assert told["bank"]["resistance"]["why_not"] is None
    assert [each["verdict"] for each in told["inverters"]] == ["holds", "holds"]
    assert told["solar"]["day"]["energy_Wh"] == pytest.approx(2994.6)
    assert told["solar"]["daily_use_Wh"] is None  # two hours are no day
    assert told["ledger"]["days"][0]["state_at_end_pct"]["value"] < 85


# 200 A on 6 AWG, which may carry 65 A: NEC table 310.16, copper at 75 degC (from memory)
@OF_WORDS_ALONE
@pytest.mark.parametrize("change", [{"conductors__gauge_AWG": "6"}, {"conductors__fuse_A": None}])
def test_a_cable_without_its_protection_stands_at_the_top_of_the_page(full, change):
    """Before what was drawn, with who decides; and the sentence on the system does not say that it carries the load."""
    log = analysed(site_with(**change), chunk=HOUR)
    report = make_report(log, site=site_with(**change))
    page = render(report)
    assert page.index("Conductor &#39;bank to wash shed inverter&#39; fails.") < page.index('class="verdict')
    assert "local codes and a licensed electrician decide" in page[: page.index('class="verdict')]
    word = carries(log)
    assert (word.verdict, word.sentence.startswith("The system does not carry it safely: ")) == ("fails", True)
    rows = {row[0]: row[1] for row in verdicts(log.by_site, conductors=True).rows}
    assert rows["Bank to wash shed inverter"] == "fails"
    assert unsafe(make_report(full, site=site_with())) == []


@OF_WORDS_ALONE
@pytest.mark.parametrize(
    ("bank", "word", "said"),
    [
        ({}, "holds", "The bank holds."),
        ({"chemistry": "lifepo4"}, None, "The bank was not judged: add bank.max_discharge_A to the site file."),
        ({"chemistry": "lifepo4", "max_discharge_A": 5}, "fails", "The bank fails: "),
        ({"capacity_Ah": 70}, "doubtful", "The bank is doubtful: "),
    ],
)
def test_the_bank_has_a_word_of_its_own_everywhere(bank, word, said):
    """In the lines after a report, in its JSON, in the table of verdicts, and in the sentence on the system."""
    where = site_with(**{f"bank__{key}": value for key, value in bank.items()}, bank__peukert_exponent=None)
    # Readings 2 s apart meet a start of half a second in one of four: it takes more than ten to have seen one.
    log = analysed(where, chunk=Chunk(DAY.time_us[:9000], {name: x[:9000] for name, x in DAY.quantities.items()}))
    assert any(text.startswith(said) for text in carried(log))
    document = site_documents(log)["bank"]
    assert document["verdict"] == word
    assert document["add"] == ([] if word else ["bank.max_discharge_A"])
    rows = {row[0]: row[1] for row in verdicts(log.by_site, conductors=True).rows}
    assert rows["Bank"] == (word or "not judged")
    whole = carries(log)
    assert whole.verdict == word
    page = render(make_report(log, site=where))
    assert whole.sentence in html.unescape(page)
    if word is None:
        assert whole.sentence.startswith("It holds by its ratings; the bank was not judged (add bank.max_discharge_A")
        assert "The system carries it" not in page


def test_an_inverter_that_nothing_hangs_on_stands_as_not_judged():
    """In the table and in JSON, where it was doubtful."""
    idle = [{**SAMPLE["inverters"][0]}, {"name": "spare", "continuous_VA": 500}]
    log = analysed(site_with(inverters=idle, loads=SAMPLE["loads"][:1], conductors=[]), chunk=HOUR)
    rows = {row[0]: row[1] for row in verdicts(log.by_site, conductors=True).rows}
    assert rows["Spare"] == "not judged"
    assert site_documents(log)["inverters"][1]["verdict"] is None


def test_what_a_log_shows_going_in_is_held_against_the_banks_limit(full):
    """The two days' sun put more than 5 A in at most; 500 A nothing does."""
    for most_A, word in ((5, "fails"), (500, "holds")):
        check = analysed(site_with(bank__max_charge_A=most_A), chunk=DAY).by_site.bank_check
        read = [part for part in check.parts if "as read" in part.what]
        assert [part.verdict for part in read] == [word]
        assert read[0].asked.value == pytest.approx(-DAY.quantities["current_A"].min(), rel=0.02)
