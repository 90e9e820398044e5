"""A charger in the site file: what it may say, what is said of it, and what it changes of a forecast."""

import tomllib
from importlib.resources import files

import pytest
from pydantic import ValidationError

from shuntbook.analysis.check_site.contradictions import contradictions
from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.equipment.conductor import check_conductors
from shuntbook.analysis.forecast.forecast import forecast
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.what_if.what_if import what_if
from shuntbook.cli.assembling.changes_asked import changes_of
from shuntbook.cli.render.documents.site import forecast_document
from shuntbook.cli.render.terminal.forecast import forecast_answer
from shuntbook.cli.render.terminal.what_if import what_if_answer

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")
CABLE = {"name": "charger cable", "area_mm2": 16, "length_m": 3.0, "fuse_A": 63, "carries": ["generator"]}


def a_site(*, rated_A=40.0, cable=True, array=True, **bank):
    """The sample's site with a generator."""
    tables = tomllib.loads(SAMPLE)
    tables["chargers"] = [{"name": "generator", "kind": "generator", "rated_A": rated_A}]
    tables["bank"] |= bank
    if cable:
        tables["conductors"].append(CABLE)
    if not array:
        del tables["array"]
    return Site.model_validate(tables)


def about_it(site):
    """The sentence of the description that is about the charger."""
    (sentence,) = [text for text in describe(site) if text.startswith("Charger")]
    return sentence


def test_a_charger_is_described_with_its_cable():
    """40 A on 420 Ah is C/10.5, about the least that is usual of liquid acid."""
    sentence = about_it(a_site())
    assert sentence.startswith("Charger 'generator', on a generator: 40 A is C/10.5 of the bank; C/10 to C/5 is usual")
    assert sentence.endswith("its cable is 'charger cable'.")
    assert "no conductor carries it" in about_it(a_site(cable=False))


def test_its_cable_is_judged_by_its_rated_amps():
    """3 m of 16 mm2 out and back at 40 A; the fuse between 125 % of that and what the cable may carry."""
    check = check_conductors(a_site())[-1]
    assert check.running.current_A == check.starting.current_A == 40.0
    assert check.wanted_A == pytest.approx(50.0)
    # 1.15 ohm/km of 16 mm2 at 20 degC (IEC 60228, class 2, from memory), 0.393 % a kelvin more to 75 degC.
    by_hand_V = 40 * 6.0 * 1.15e-3 * (1 + 0.00393 * 55)
    assert check.running.drop_V == pytest.approx(by_hand_V)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"rated_A": 100}, "'generator': 100 A is C/4.2 of the bank, more than usual"),
        ({"rated_A": 60, "max_charge_A": 50}, "from 'generator'"),
        ({"rated_A": 40_000}, "write rated_A = 40"),
        ({"chemistry": "lifepo4", "temperature_degC": -5, "peukert_exponent": None}, "stop the array and 'generator'"),
        ({"chemistry": "lifepo4", "temperature_degC": -5, "array": False}, "stop 'generator', or warm"),
    ],
)
def test_what_does_not_suit_the_bank_is_told(changes, words):
    """Too much by what is usual, by the maker, by the pen, and in the frost."""
    assert any(words in sentence for sentence in contradictions(a_site(**changes)))


def test_what_suits_the_bank_is_not():
    """A generator of a usual size adds nothing to look at again."""
    assert contradictions(a_site(cable=False)) == contradictions(Site.model_validate(tomllib.loads(SAMPLE)))


@pytest.mark.parametrize(
    ("chargers", "words"),
    [
        ([{"name": "a", "rated_A": 0}], "greater than 0"),
        ([{"name": "a"}], "required"),
        ([{"name": "a", "rated_A": 5}, {"name": "a", "rated_A": 6}], "name of an earlier one"),
        ([{"name": "a", "rated_A": 5, "kind": "wind"}], "mains"),
    ],
)
def test_a_wrong_charger_is_refused(chargers, words):
    """Each mistake at its own key."""
    with pytest.raises(ValidationError, match=words):
        Site.model_validate(tomllib.loads(SAMPLE) | {"chargers": chargers})


def test_a_forecast_says_how_long_it_takes_beside_the_sun():
    """33.2 Ah of an hour by the plate over 0.85 and 40 A: 58.6 minutes."""
    result = forecast(a_site(), "well pump", hours=1.0)
    (by,) = result.bank.chargers
    assert by.hours.value == pytest.approx(result.taken.charge_Ah.value / 0.85 / 40)
    assert by.hours.low < by.hours.value < by.hours.high
    text = " ".join(forecast_answer(result).laid_out(200, explain=False))
    assert "of good sun or more, 'generator' in 58 min" in text
    explained = " ".join(forecast_answer(result).laid_out(200, explain=True))
    assert "tapers near full was left out" in explained
    document = forecast_document(result)["bank"]["chargers"]
    assert document[0]["charger"] == "generator"
    assert document[0]["hours"]["value"] == pytest.approx(by.hours.value)


def test_without_an_array_the_charger_alone_pays_it_back():
    """Then nobody is asked for an array."""
    result = forecast(a_site(array=False), "well pump", hours=1.0)
    assert isinstance(result.bank.payback, Missing)
    text = " ".join(forecast_answer(result).laid_out(200, explain=False))
    assert "It is paid back by 'generator' in 58 min" in text
    assert "add array" not in text


def test_without_a_charger_a_forecast_says_what_it_said():
    """No word of one."""
    result = forecast(Site.model_validate(tomllib.loads(SAMPLE)), "well pump", hours=1.0)
    assert result.bank.chargers == ()
    assert "of good sun or more." in " ".join(forecast_answer(result).laid_out(200, explain=False))


def test_another_charger_is_a_change_that_can_be_asked_for():
    """Half as many amps more: two thirds of the time; what is more than usual of the bank is said."""
    result = what_if(a_site(), "well pump", changes_of(("charger 60 A",)), hours=1.0)
    row = result.figure("charger_h")
    assert row.after.value / row.before.value == pytest.approx(40 / 60)
    assert [text for text in result.amiss if "The charger" in text] == []
    (cable,) = result.amiss
    assert cable.startswith("Cable and fuse 'charger cable' are then doubtful: 125 % of the greatest current, 60 A")
    assert "Ask also" not in cable  # "cable" is that of the load
    text = " ".join(what_if_answer(result).laid_out(200, explain=False))
    assert text.startswith("The charger pays it back in 39 min")
    fresh = what_if(Site.model_validate(tomllib.loads(SAMPLE)), "well pump", changes_of(("charger 120 A",)), hours=1.0)
    assert (fresh.figure("charger_h").before, bool(fresh.figure("charger_h").after)) == (None, True)
    assert fresh.amiss == (
        "The charger: 120 A is C/3.5 of the bank, more than usual: C/10 to C/5 is usual of flooded lead-acid (common "
        "practice, no source).",
    )
