"""What cannot be judged by a site file is named, with the path of the key that would let it be judged."""

import tomllib
from importlib.resources import files

import pytest

from shuntbook.analysis.check_site.unjudged import unjudged
from shuntbook.analysis.site.site import Site

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")


def unjudged_in(*changes):
    """Return the remarks on the sample site with lines in another form."""
    text = SAMPLE
    for old, new in changes:
        assert f"\n{old}" in text, old
        text = text.replace(f"\n{old}", f"\n{new}")
    return unjudged(Site.model_validate(tomllib.loads(text)))


def test_of_a_whole_file_all_is_judged():
    """Nothing is asked for without need."""
    assert unjudged_in() == []


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        (
            'chemistry = "flooded_lead_acid"',
            'chemistry = "lifepo4"',
            ("bank", "max_discharge_A"),
            "what its protection",
        ),
        ("precharge_psi = 38", "", ("water", "precharge_psi"), "No word on the pressure tank"),
        ("cut_in_psi = 40", "", ("water", "cut_in_psi"), "the pressure at which the pump starts is not given; add"),
        ("sun_hours_h = 4.2", "", ("array", "sun_hours_h"), "No yield of the array"),
        ("performance_ratio = 0.62", "", ("array", "performance_ratio"), "No yield of the array"),
        ("power_W = 90", "", ("loads", 1, "power_W"), "'seedling mats'"),
        ('carries = ["wash shed inverter"]', "", ("conductors", 0, "carries"), "what flows in"),
        ("surge_VA = 6000", "", ("inverters", 0, "surge_VA"), "'wash shed inverter'"),
    ],
)
def test_what_is_missing_is_named_by_its_path(old, new, place, words):
    """Of lists, the item that lacks it."""
    remarks = unjudged_in((old, new))
    assert any(place in remark.about and words in remark.sentence for remark in remarks), remarks
