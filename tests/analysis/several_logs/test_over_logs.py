"""Many logs of one site together: what counts and what not, the calendar of starts, trends that are slow to alarm."""

from dataclasses import replace
from datetime import UTC

import numpy as np
import pytest
from day_logs import LONDON, made_log, us
from logs_of_days import DAY_US, HOUR_US, day_log, days_from, zone_of
from readings import US
from report_scenes import make_site

from shuntbook.analysis.charge.amounts import Amounts, Sureness
from shuntbook.analysis.health.finding import Finding
from shuntbook.analysis.several_logs.before_after import NamedChange
from shuntbook.analysis.several_logs.day_figures import DayFigures
from shuntbook.analysis.several_logs.day_trends import Day, day_trends
from shuntbook.analysis.several_logs.over_logs import over_logs, wanting_a_look
from shuntbook.analysis.several_logs.pooled import pooled_amounts
from shuntbook.analysis.several_logs.start_calendar import calendar_of
from shuntbook.analysis.signal_levels.rises import Rises
from shuntbook.analysis.stats.interval95 import Component, judged

# Directive 2000/84/EC, articles 2 and 3 (from memory): in 2026 summer time begins on 29 March and ends on 25 October,
# at 01:00 UTC each. London's clocks then skip 01:00 to 02:00, and pass 01:00 to 02:00 twice.
SHORT, LONG = "2026-03-29", "2026-10-25"


def over(*logs, **more):
    """The logs put together."""
    return over_logs(logs, zone_of, **more)


def starts_of(calendar, row=0):
    """A day's starts by hour of the clock, without the hours that its clocks do not show."""
    cells = zip(calendar.hours, calendar.days[row].cells, strict=True)
    return {hour: cell.starts for hour, cell in cells if cell.length_s}


# -- the calendar ------------------------------------------------------------------------------------------------------


def test_the_day_that_summer_time_begins_has_23_hours():
    """Starts each half past the UTC hour from 00:00 UTC: 01 is no hour of that day, and 00:30 and 02:30 follow."""
    start_us = us(f"{SHORT}T00:00", LONDON)
    starts_us = np.array([start_us + round((k + 0.5) * HOUR_US) for k in range(23)])
    calendar = calendar_of(starts_us, np.array([start_us]), np.array([start_us + 23 * HOUR_US]), LONDON)
    assert [str(day.date) for day in calendar.days] == [SHORT]
    assert starts_of(calendar) == {(hour, 0): 1 for hour in range(24) if hour != 1}
    skipped = calendar.days[0].cells[calendar.hours.index((1, 0))]
    assert (skipped.starts, skipped.length_s) == (None, 0.0)


def test_the_day_that_summer_time_ends_has_25_hours():
    """01:15 by the clock, first in summer time and again in winter time: two hours, a start and two starts."""
    start_us = us(f"{LONG}T00:00", LONDON)
    starts_us = np.sort(np.array([us(f"{LONG}T{hm}") for hm in ("00:15", "01:15", "01:45", "23:10")]))
    calendar = calendar_of(starts_us, np.array([start_us]), np.array([start_us + 25 * HOUR_US]), LONDON)
    result = starts_of(calendar)
    assert len(result) == 25
    assert (result[1, 0], result[1, 1], result[2, 0], result[23, 0]) == (1, 2, 0, 1)
    assert sum(result.values()) == 4


def test_an_hour_that_nobody_measured_is_unknown_and_a_part_is_at_least():
    """Read from 10:30 to 12:00 and from 13:00 on, to 13:20: of 10 and 13 a part, 12 not at all; 11 is whole and 0."""
    at = [us(f"2026-11-25T{hm}") for hm in ("10:30", "12:00", "13:00", "13:20")]
    calendar = calendar_of(np.array([at[0] + US, at[2] + US]), np.array(at[::2]), np.array(at[1::2]), UTC)
    cells = dict(zip(calendar.hours, calendar.days[0].cells, strict=True))
    assert [cells[hour, 0].starts for hour in (9, 10, 11, 12, 13, 14)] == [None, 1, 0, None, 1, None]
    assert [cells[hour, 0].whole for hour in (10, 11, 12, 13)] == [False, True, False, False]
    assert cells[13, 0].measured_s == pytest.approx(1200)
    usual = dict(zip(calendar.hours, calendar.usual(), strict=True))
    assert (usual[10, 0], usual[11, 0], usual[12, 0]) == (2.0, 0.0, None)  # one start in half an hour


def test_a_hole_between_logs_that_is_no_gap_leaves_the_hour_whole():
    """A log ends at 11:59:55, the next begins at 12:00:05; the gap limit is 10 s."""
    logs = [
        made_log("a", us("2026-11-25T06:00"), us("2026-11-25T11:59:55"), [us("2026-11-25T11:10")], zone="UTC"),
        made_log("b", us("2026-11-25T12:00:05"), us("2026-11-25T18:00"), [us("2026-11-25T12:10")], zone="UTC"),
    ]
    result = starts_of(over(*logs).calendar)
    assert (result[11, 0], result[12, 0], result[5, 0], result[18, 0]) == (1, 1, None, None)
    assert over(*logs).calendar.days[0].cells[12].whole


def test_a_gap_within_a_log_is_unknown_in_the_calendar():
    """A log with a gap from 03:00 to 05:00."""
    gap = (us("2026-11-25T03:00"), us("2026-11-25T05:00"))
    result = starts_of(over(day_log("2026-11-25", gaps=[gap]), day_log("2026-11-26")).calendar)
    assert [result[hour, 0] for hour in (2, 3, 4, 5, 12)] == [0, None, None, 0, 1]


# -- what counts -------------------------------------------------------------------------------------------------------


def test_overlapping_logs_count_once():
    """The same day twice, once only its morning: its starts and its charge are those of the whole day's log."""
    whole = day_log("2026-11-25", (2.0, 9.0, 12.0))
    start_us = us("2026-11-25T00:00")
    morning = made_log("morning", start_us, start_us + 12 * HOUR_US, [start_us + 2 * HOUR_US], zone="UTC")
    result = over(morning, whole, day_log("2026-11-26"))
    assert result.days[0].figures.starts == 3
    assert result.days[0].figures.charge.drawn == pytest.approx(4.0 * 24)
    assert [(left.log.facts.name, left.why) for left in result.left_out] == [
        ("morning", "holds only what other logs hold, too")
    ]
    assert "On one day logs overlap" in result.remarks[0]


def brief_log(first, days):
    """A log of some days with 10 runs a day of 30 A, beside which 20 more rise too briefly to be measured."""
    start_us = us(f"{first}T00:00")
    at_us = [start_us + k * DAY_US + h * HOUR_US for k in range(days) for h in range(6, 16)]
    log = made_log(str(first), start_us, start_us + days * DAY_US, at_us, zone="UTC")
    runs = tuple(replace(run, run_A=30.0) for run in log.cycles.cycles)
    quarters = np.array([start_us // (HOUR_US // 4) + 96 * k + 48 for k in range(days)])
    risen = Rises(quarters, np.full(days, 30.0), np.full(days, 30), np.full(days, 25.0), np.zeros(days, bool), False)
    summary = replace(log.cycles.summary, too_brief=20 * days)
    return replace(log, cycles=replace(log.cycles, cycles=runs, rises=risen, summary=summary))


def test_runs_too_brief_of_a_day_in_two_logs_count_once():
    """Two logs of two days with one in common: three days of 10 runs and 20 more each, not four."""
    one, other = brief_log("2026-11-25", 2), brief_log("2026-11-26", 2)
    result = over(one, other)
    assert (result.whole.starts, result.too_brief, result.at_least) == (30, 60, True)
    assert (over(one).too_brief, over(brief_log("2026-11-25", 1), one).too_brief) == (40, 40)
    assert not over(day_log("2026-11-25")).at_least


def test_logs_one_after_another_on_a_day_add_up():
    """Morning and afternoon of 12 h each: 4 A and 6 A make 48 + 72 Ah, and the starts of both."""
    start_us, noon_us = us("2026-11-25T00:00"), us("2026-11-25T12:00")
    result = over(
        made_log("b", noon_us, noon_us + 12 * HOUR_US, [noon_us + HOUR_US], amps=6.0, zone="UTC"),
        made_log("a", start_us, noon_us, [start_us + HOUR_US], zone="UTC"),
    )
    (day,) = result.days
    assert day.figures.charge.drawn == pytest.approx(120.0)
    assert day.figures.charge.drawn_u95 == pytest.approx(0.95 * 3**0.5 * 0.005 * 120.0, rel=0.01)  # one factor in both
    assert (day.figures.starts, day.figures.starts_per_h) == (2, pytest.approx(2 / 24))
    assert [one.log.facts.name for one in result.logs] == ["a", "b"]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"undated": True}, "has no dates"),
        ({"side": "ac"}, "is from side ac, the others from side dc"),
        ({"zone": "Europe/London"}, "has its days in the zone Europe/London, the others in UTC"),
        ({"meter": "spare"}, "is of another meter that read at the same time"),
    ],
)
def test_what_cannot_be_put_together_is_left_out_with_words(changes, why):
    """It is neither in the days nor in the calendar, and still among the logs."""
    logs = [day_log("2026-11-25"), day_log("2026-11-26"), day_log("2026-11-26", name="odd", **changes)]
    result = over(*logs)
    assert [(left.log.facts.name, left.why) for left in result.left_out] == [("odd", why)]
    assert sum(day.figures.starts for day in result.days) == 2
    assert len(result.logs) == 3


def test_another_meter_at_another_time_is_taken_with_a_warning():
    """The meter was changed on the way: both count, and that is said; so is a meter that the site does not have."""
    logs = [day_log("2026-11-25"), day_log("2026-11-26", meter="spare")]
    site = make_site().model_copy(update={"meters": (make_meter("bank shunt"),)})
    result = over(*logs, site=site)
    assert len(result.days) == 2
    assert "several meters (bank shunt: 1, spare: 1)" in result.remarks[0]
    assert "no meter named spare" in result.remarks[1]


def make_meter(name):
    """A meter of the site file."""
    from shuntbook.analysis.site.tables import Meter

    return Meter.model_validate({"name": name, "side": "dc"})


def test_nothing_with_a_date_gives_no_day_and_no_error():
    """Two logs without dates: no days, no calendar, no trends, nothing before and after."""
    result = over(day_log("2026-11-25", undated=True), day_log("2026-11-26", undated=True))
    assert (result.days, result.calendar.days, result.trends, result.change, result.whole) == ((), (), (), None, None)
    assert len(result.left_out) == 2


def test_findings_are_ranked_and_counted_over_all_logs():
    """The most serious first, then the most frequent; a log's own count of each severity."""
    act, watch, note = (
        Finding(code, severity, code, "", "", "")
        for code, severity in (("prime_lost", "act"), ("draw_drift", "watch"), ("short_cycling", "note"))
    )
    worse = Finding("draw_drift", "act", "worse", "", "", "")
    held = [(note,), (note, watch), (note, act), (worse, act)]
    days = days_from("2026-11-01", 4)
    result = over(*(day_log(day, findings=findings) for day, findings in zip(days, held, strict=True)))
    assert [(f.finding.code, f.finding.severity, len(f.logs)) for f in result.findings] == [
        ("draw_drift", "act", 2),
        ("prime_lost", "act", 2),
        ("short_cycling", "note", 3),
    ]
    assert [one.findings for one in result.logs] == [(0, 0, 1), (0, 1, 1), (1, 0, 1), (2, 0, 0)]


def test_of_equally_grave_findings_that_of_the_worst_day_is_told():
    """Three days that start too often, 6, 20 and 12 times in their busiest hour: the second one's words lead."""
    counts, days = (6, 20, 12), days_from("2026-11-01", 3)
    logs = [
        day_log(
            day,
            [12 + k / count for k in range(count)],
            run_s=20.0,
            findings=(Finding("short_cycling", "act", f"{count} starts", "", "", ""),),
        )
        for day, count in zip(days, counts, strict=True)
    ]
    assert [found.finding.title for found in over(*logs).findings] == ["20 starts"]


def test_the_newest_and_the_worst_want_a_look():
    """The newest as ever, of the others the one with the most serious findings; of healthy ones the newest two."""
    act, watch, note = (Finding("draw_drift", severity, "", "", "", "") for severity in ("act", "watch", "note"))
    held = [(watch,), (act,), (note, note), (act, watch), ()]
    days = days_from("2026-11-01", 5)
    logs = [day_log(day, findings=findings) for day, findings in zip(days, held, strict=True)]
    healthy = [day_log(day, findings=(note,)) for day in days]
    undated = [*logs[:3], day_log("2026-11-09", name="undated", undated=True, findings=(act, act))]

    def names(logs):
        return [log.facts.name for log in wanting_a_look(reversed(logs))]

    assert names(logs) == ["2026-11-04", "2026-11-05"]
    assert names(healthy) == ["2026-11-04", "2026-11-05"]
    assert names(undated) == ["2026-11-03", "undated"]
    assert names(healthy[:1]) == ["2026-11-01"]


def test_sums_of_intervals_take_one_error_for_all():
    """Gains of ± 1 Ah and ± 2 Ah (limits) are one factor: together 0.95 x 3 Ah; a part without makes none."""
    parts = [
        Amounts(x, 0.0, Sureness(*(judged(v, [Component("gain", a / 3**0.5, even=1)]) for v in (x, 0.0, x))))
        for x, a in ((100.0, 1.0), (200.0, 2.0))
    ]
    whole = pooled_amounts(parts)
    assert (whole.drawn, whole.drawn_u95) == (300.0, pytest.approx(2.85, rel=1e-3))
    assert pooled_amounts([*parts, Amounts(1.0, 0.0)]).drawn_u95 is None
    assert pooled_amounts([None]) is None


# -- trends ------------------------------------------------------------------------------------------------------------

NOTHING = dict.fromkeys(DayFigures.__dataclass_fields__)


def made_days(measured_h=24.0, **figures):
    """Days with these figures, an array each."""
    count = len(next(iter(figures.values())))
    hours = np.broadcast_to(np.asarray(measured_h, float), count)
    return [
        Day(
            day,
            us(f"{day}T00:00"),
            us(f"{day}T00:00") + DAY_US,
            DayFigures(
                **NOTHING | {"measured_s": hours[k] * 3600} | {name: float(x[k]) for name, x in figures.items()}
            ),
        )
        for k, day in enumerate(days_from("2026-06-01", count))
    ]


def noisy(rng, count, slope=0.0):
    """Nine figures of days that scatter by a tenth of 100, the first with a slope."""
    names = ("starts_per_h", "drawn_Wh_per_h", "drawn_Ah_per_h", "busiest_hour", "duty_cycle")
    names += ("median_run_s", "median_rest_s", "run_W", "sag_V")
    return {name: rng.normal(100, 10, count) + (slope * np.arange(count) if name == names[0] else 0) for name in names}


@pytest.mark.parametrize("count", [8, 60, *(pytest.param(count, marks=pytest.mark.night) for count in (14, 30))])
def test_days_in_which_nothing_changes_show_nothing(count):
    """In 93 % of sites at least no figure of nine is told to rise or fall."""
    rng = np.random.default_rng(count)
    quiet = [
        all(trend.verdict == "no change to be told" for trend in day_trends(made_days(**noisy(rng, count))))
        for _ in range(100)
    ]
    assert np.mean(quiet) >= 0.93


@pytest.mark.parametrize("slope", [3.0, 0.0, pytest.param(-1.0, marks=pytest.mark.night)])
def test_a_planted_slope_lies_in_its_interval(slope):
    """In 95 % of a hundred sites at least, whatever the slope; one of 3 % a day over a month is always told."""
    rng = np.random.default_rng(5)
    trends = [day_trends(made_days(**noisy(rng, 30, slope))) for _ in range(100)]
    starts = [next(trend for trend in result if trend.code == "starts_per_h") for result in trends]
    assert np.mean([trend.per_day.holds(slope) for trend in starts]) >= 0.95
    if slope == 3.0:
        assert {trend.verdict for trend in starts} == {"rising"}
        assert np.median([trend.change for trend in starts]) == pytest.approx(3.0 * 29, rel=0.1)


def test_seven_days_are_too_few_and_that_is_said():
    """No slope and no verdict below eight days."""
    (trend,) = day_trends(made_days(starts_per_h=np.arange(7.0)))
    assert (trend.verdict, trend.per_day) == ("not judged", None)
    assert trend.why == "7 days were measured long enough; at least 8 are needed"


def test_a_change_too_small_to_matter_is_not_told():
    """A draw that rises by 1 % in a month without any scatter is sure, and no alarm."""
    (trend,) = day_trends(made_days(run_W=780 + 0.26 * np.arange(30)))
    assert trend.per_day.low > 0
    assert (trend.verdict, trend.why) == ("no change to be told", "it moves by less than 5 % over all the days")


def test_a_day_that_was_hardly_measured_takes_no_part():
    """Two hours of a day, with 90 starts an hour among days of ten: the day is not counted."""
    hours, starts = np.full(10, 20.0), np.full(10, 10.0)
    hours[-1], starts[-1] = 2.0, 90.0
    (trend,) = day_trends(made_days(hours, starts_per_h=starts))
    assert (trend.count, trend.usual, trend.per_day.value) == (9, 10.0, 0.0)


def test_a_named_change_parts_the_trends():
    """Runs shorten for 14 days, are put right on the fifteenth, and stay: falling before, nothing after."""
    runs_s = np.concatenate([90 - 5.0 * np.arange(14), [50.0], np.full(12, 91.0)])
    days = made_days(median_run_s=runs_s + np.tile([0.0, 0.5, -0.5], 9))
    before, after = day_trends(days, days[14].start_us + 10 * HOUR_US)
    assert (before.stretch, before.verdict, before.count) == ("before", "falling", 14)
    assert before.per_day.holds(-5.0)
    assert (after.stretch, after.verdict, after.count) == ("after", "no change to be told", 12)


# -- before and after --------------------------------------------------------------------------------------------------


def month(changes_on=10, count=20, **after):
    """Logs of days with twelve starts each, other ones from the eleventh day on."""
    rng = np.random.default_rng(3)
    logs = []
    for k, day in enumerate(days_from("2026-11-01", count)):
        hours = np.sort(rng.uniform(6, 22, 12))
        changes = {"run_s": 60.0, "amps": 4.0} | (after if k >= changes_on else {})
        changes["run_s"] *= rng.normal(1, 0.02)
        logs.append(day_log(day, hours, **{**changes, "amps": changes["amps"] * rng.normal(1, 0.03)}))
    return logs


def test_first_half_and_last_half_where_nobody_named_a_change():
    """Twenty logs: ten days beside ten; runs of 90 s after 60 s are told, the starts are as many as before."""
    change = over(*month(run_s=90.0)).change
    rows = {row.code: row for row in change.comparison.rows}
    assert (change.named, change.before_days, change.after_days) == (False, 10, 10)
    assert rows["median_run_s"].differs
    assert rows["median_run_s"].difference.holds(30.0)
    assert not rows["starts_per_hour"].differs
    assert rows["drawn_Ah_per_day"].before.value == pytest.approx(96.0, rel=0.03)  # 4 A x 24 h


def test_the_day_of_a_named_change_is_on_neither_side():
    """A tank recharged at noon of the eighth day: seven days before, twelve after, and the sentence."""
    change = over(*month(), change=NamedChange(us("2026-11-08T12:00"), "tank recharged")).change
    assert (change.before_days, change.after_days) == (7, 12)
    assert "The day in which the change lies belongs to neither side." in change.remarks
    assert change.comparison.before.cycles.summary.count == 7 * 12


def test_runs_of_one_day_are_no_independent_witnesses():
    """Days differ by 5 %, their runs hardly: with days as witnesses two of ten months at most tell of one."""
    rng = np.random.default_rng(11)
    differs = []
    for _ in range(10):
        logs = [
            day_log(day, np.linspace(6, 22, 30), run_W=780 * rng.normal(1, 0.05)) for day in days_from("2026-11-01", 16)
        ]
        rows = {row.code: row for row in over(*logs).change.comparison.rows}
        differs.append(rows["run_W"].differs)
    assert sum(differs) <= 2


def test_a_change_with_nothing_after_it_is_said():
    """The change lies in the last day: there is no other side, and no comparison."""
    change = over(*month(count=4), change=NamedChange(us("2026-11-04T12:00"))).change
    assert change.comparison is None
    assert "Nothing was measured after the change." in change.remarks


def test_findings_come_and_go_with_the_change():
    """A finding of the days before is gone after, where those logs were judged."""
    act = Finding("air_charge_lost", "act", "The tank lost its air", "", "", "")
    logs = [day_log(day, findings=(act,) if k < 6 else ()) for k, day in enumerate(days_from("2026-11-01", 12))]
    (result,) = over(*logs).change.comparison.findings
    assert (result.change, result.finding.code, result.judged) == ("went", "air_charge_lost", False)
