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
