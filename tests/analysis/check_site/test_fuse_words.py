"""What check-site says of cable and fuse."""

import tomllib
from importlib.resources import files

import pytest

from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.site.site import Site

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")


def of_cables(*changes):
    """Return the sentences on cables of the sample site with lines changed."""
    text = SAMPLE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    sentences = describe(Site.model_validate(tomllib.loads(text)))
    return " ".join(sentence for sentence in sentences if "licensed electrician" in sentence)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([], "may carry 200 A (3/0 AWG); it loses 0.13 % running, of 3 % that are advised"),
        ([], "its fuse belongs between 42 A (125 % of the greatest current) and 65 A"),
        ([], "its fuse is to be 200 A: 125 % of the greatest current, and all that the cable may carry"),
        ([], "was not judged; add bank.resistance_mohm to the site file"),
        ([("# resistance_mohm = 18 ", "resistance_mohm = 18 ")], "one of 20 kA can break that"),
        ([("# resistance_mohm = 18 ", "resistance_mohm = 1.5 ")], "one of 20 kA may not break that"),
        ([("fuse_kA = 20", "fuse_kA = 1"), ("# resistance_mohm = 18 ", "resistance_mohm = 9 ")], "1 kA cannot break"),
        ([("fuse_kA = 20 ", "# ")], "was not judged; add conductors.fuse_kA"),
        ([('"3/0"', '"2/0"')], "no fuse is both above 200 A (125 % of the greatest current) and within 175 A"),
        ([], "NEC table 310.16"),
    ],
)  # fmt: skip
def test_check_site_says_what_is_there(changes, words):
    assert words in of_cables(*changes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([("fuse_A = 200", "fuse_A = 160")], "125 % of the greatest current, 160 A, is 200 A: the 160 A fuse may blow"),
        ([('gauge_AWG = "3/0" ', "area_mm2 = 70 "), ("fuse_A = 200", "fuse_A = 160")], "the 160 A fuse may blow"),
        ([("length_m = 1.8", "length_m = 60")], "it loses"),
        ([], ""),
        # What fails is told as such.
        ([('"3/0"', '"8"')], ""),
    ],
)
def test_a_doubtful_cable_is_told_as_one(changes, words):
    text = SAMPLE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    told = [each for each in describe(Site.model_validate(tomllib.loads(text))) if "is doubtful" in each]
    assert bool(told) == bool(words)
    assert not words or (
        told[0].startswith("Conductor 'bank to wash shed inverter' is doubtful: ") and words in told[0]
    )


def test_a_start_that_the_bank_may_not_bear_has_its_figure():
    """With 18 mohm the hardest start takes a bank of 24 V down by some 5 V."""
    text = SAMPLE.replace("# resistance_mohm = 18 ", "resistance_mohm = 18 ", 1)
    meaning = describe(Site.model_validate(tomllib.loads(text)))
    (word,) = [each for each in meaning if each.startswith("With all loads")]
    assert "At a start it may fall to " in word
    assert "the inverter switches off below 21.5 V: " in word
    (word,) = [
        each for each in describe(Site.model_validate(tomllib.loads(SAMPLE))) if each.startswith("With all loads")
    ]
    assert "At a start" not in word
