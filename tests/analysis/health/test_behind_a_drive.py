"""What is published for motors that are switched straight on is not held against a drive; what holds for it is."""

from dataclasses import replace

import health_cycles
import pytest
from health_cycles import found, judged, site

from shuntbook.analysis.cycles.cycle import Speed
from shuntbook.analysis.health.health import NOT_AT_SPEEDS
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.pump_pulse.fill_time import fill_time
from shuntbook.analysis.site.motor_tables import starts_limit

#: Runs of 8 s every half minute: too brief and too many for a motor that is switched straight on.
CYCLING = ([8.0] * 400, [22.0] * 400)
#: Runs of two minutes, six an hour.
SOUND = ([120.0] * 12, [480.0] * 12)


def by_drive(*, limits=None, **load):
    """The garden with its pump behind a drive."""
    return site(limits=limits, load={"start": "drive", **load})


def following(made):
    """The same cycles, of a load that the log shows to draw what is asked of it."""
    runs = tuple(replace(cycle, at_speeds=(cycle.run_s, 0.0)) for cycle in made.cycles)
    return replace(made, cycles=runs, speeds=(Speed(None, 200.0, 1.0), Speed(None, 700.0, 1.0)), fixed_speeds=False)


def test_limits_of_direct_starts_are_not_held_against_a_drive():
    """Told by the owner or shown by the log: not judged, with what was seen and what to add; switched on, it is."""
    made = health_cycles.cycles(*CYCLING)

    assert found(made, site())["short_cycling"] == "act"
    for check in (judged(made, by_drive()), judged(following(made), site())):
        assert check["short_cycling"].outcome == "not judged"
        assert "400 of 400 whole runs are too short" in check["short_cycling"].remark
        assert "set minimum_run_s and starts_per_day" in check["short_cycling"].remark


def test_fixed_speeds_are_no_drive():
    """A pump of two speeds is switched on as any other."""
    made = replace(following(health_cycles.cycles(*CYCLING)), fixed_speeds=True)

    assert found(made, site())["short_cycling"] == "act"


def test_what_a_direct_start_may_a_drive_may_as_well():
    """Within the stricter limits nothing is withheld."""
    assert judged(health_cycles.cycles(*SOUND), by_drive())["short_cycling"].outcome == "passed"


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({"minimum_run_s": 30.0}, "at least 30 s a run"),
        ({"starts_per_hour": 20.0}, "20 starts in the busiest hour"),
        ({"starts_per_day": 200.0, "starts_per_hour": 20.0}, "200 starts in 24 h on average, which is 8.3 an hour; 20"),
    ],
)
def test_the_owners_limits_are_held_against_a_drive(limits, said):
    """What the owner has set is found, and only that is named as its limit."""
    check = judged(health_cycles.cycles(*CYCLING), by_drive(limits=limits))["short_cycling"]

    assert check.outcome == "found"
    assert check.finding.limit.startswith(said)
    assert "submersible" not in check.finding.source
    assert "1000000000" not in check.finding.limit + check.finding.plain


def test_an_owners_limit_that_is_kept_withholds_the_rest():
    """Ten seconds a run are allowed by the owner; how often it may start in a day nobody has said."""
    made = health_cycles.cycles([20.0] * 2100, [22.0] * 2100)

    check = judged(made, by_drive(limits={"minimum_run_s": 10.0}))["short_cycling"]
    assert check.outcome == "not judged"


@pytest.mark.parametrize(
    ("hp", "per_day"),
    # The note to a submersible-motor manual's table of starts: 7.5 to 30 hp, three-phase, up to 200 a day with a
    # reduced-voltage starter or a drive. Between two rows the stricter holds; beyond, the table as it is.
    [(5.5, 300), (6, 200), (7.5, 200), (30, 200), (40, 100)],
)
def test_the_table_of_starts_has_a_note_on_drives(hp, per_day):
    """Of larger three-phase motors a drive may start twice as many; of single-phase ones nothing is said."""
    assert starts_limit(hp, 3, reduced=True).per_day == per_day
    if hp <= 30:  # beyond, nothing is published for single-phase motors
        assert starts_limit(hp, 1, reduced=True) == starts_limit(hp, 1)


def test_the_starts_published_for_drives_are_held_against_one():
    """A three-phase motor of 10 hp behind a drive: 240 a day are too many, 150 are not, whatever direct starts may."""
    ten_hp = by_drive(hp=10, phases=3)

    too_many = judged(health_cycles.cycles([180.0] * 240, [180.0] * 240), ten_hp)["short_cycling"]
    assert too_many.outcome == "found"
    assert too_many.finding.limit.startswith("200 starts in 24 h")
    assert "drive" in too_many.finding.source
    assert judged(health_cycles.cycles([180.0] * 150, [396.0] * 150), ten_hp)["short_cycling"].outcome == "passed"


def test_one_usual_draw_judges_no_drive():
    """Four runs at a third of the draw are a pump without water when switched on, and less demand behind a drive."""
    made = health_cycles.cycles(*SOUND, draw_W=[780.0] * 8 + [300.0] * 4)

    assert found(made, site())["prime_lost"] == "act"
    checks = judged(replace(made, drive=True), by_drive())
    for judge in NOT_AT_SPEEDS:
        assert checks[judge.__name__].outcome == "not judged"
        assert checks[judge.__name__].remark.startswith("it is behind a drive, so ")


def test_the_length_of_a_drives_runs_tells_no_flow():
    """They last as long as water is asked for: by the owner's word, too, where the log shows one draw."""
    made = health_cycles.cycles([75.0] * 40, [600.0] * 40)

    assert not isinstance(fill_time(Runs(made, 1.0)), Missing)
    assert "by a drive" in fill_time(Runs(replace(made, drive=True), 1.0)).because
