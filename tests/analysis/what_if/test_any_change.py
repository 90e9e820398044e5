"""Any changes at once, of any load: an answer that can be printed, or one that says why there is none."""

import json
import tomllib
from importlib.resources import files

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.what_if.what_if import what_if
from shuntbook.cli.assembling.changes_asked import changes_of
from shuntbook.cli.render.documents.parts import _pieces
from shuntbook.cli.render.documents.site import what_if_document
from shuntbook.cli.render.terminal.what_if import what_if_answer

SITE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")
CHANGES = [
    "tank 300 L", "tank 3 L", "tank for 60 s", "pre-charge 2.5 bar", "pre-charge 9 bar", "pressures 2..3 bar",
    "soft start", "drive", "direct start", "inverter 300 W", "inverter 9 kVA, surge 20 kVA for 5 s", "bank 400 Ah",
    "bank 1 strings", "bank 9 strings", "bank 300 Ah lifepo4", "bank agm", "bank for 3 days", "array 20 W",
    "array 9 kW", "cable", "cable 1 %", "cable 300 mm2", "cable 18 AWG", "use 5 L a day", "use 30 min a day",
    "use 90 m3 a day", "charger 40 A", "charger 900 A",
]  # fmt: skip


@pytest.fixture(scope="module")
def site():
    return Site.model_validate(tomllib.loads(SITE))


@examples(20, 60)
@given(
    asked=st.lists(st.sampled_from(CHANGES), min_size=1, max_size=5), hours=st.sampled_from([0.25, 1.0, 24.0]),
    load=st.sampled_from(["well pump", "seedling mats", "fridge", "lights"]), width=st.sampled_from([40, 80, 200]),
)  # fmt: skip
def test_any_changes_have_an_answer(site, asked, hours, load, width):
    result = what_if(site, load, changes_of(tuple(asked)), hours=hours)
    assert len(result.not_judged) <= len(asked)
    assert all(isinstance(each, Missing) and (each.because or each.add) for each in result.not_judged)
    text = "".join(_pieces(what_if_document(result)))
    assert json.loads(text)["changes"] == asked
    reply = what_if_answer(result)
    lines = reply.laid_out(width, explain=False)
    assert len(lines) <= 13
    assert "nan" not in " ".join(reply.laid_out(width, explain=True)).split()
    # What is asked about stays what it is.
    assert result.before == what_if(site, load, changes_of(("array 1150 W",)), hours=hours).before
    for row in result.figures:
        if row.after is not None:
            assert row.after.low <= row.after.value <= row.after.high


def test_the_order_of_plain_changes_does_not_matter(site):
    asked = ["tank 300 L", "pre-charge 2.5 bar", "bank 800 Ah", "array 2 kW", "cable 70 mm2"]
    one, other = (what_if(site, "well pump", changes_of(tuple(each)), hours=1.0) for each in (asked, asked[::-1]))
    assert one.figures == other.figures


def test_behind_a_drive_there_are_no_runs_to_tell(site):
    result = what_if(site, "well pump", changes_of(("drive",)), hours=1.0)
    assert isinstance(result.runs, Missing) or result.not_judged
    assert result.figure("run_s") is None or result.not_judged
