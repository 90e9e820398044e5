"""What is said, tabled and written of where returned charge came from."""

import pytest
from charger_logs import a_log, a_site, reported, sun

from shuntbook.cli.render.documents.site import site_documents
from shuntbook.cli.render.page import site_tables
from shuntbook.cli.render.wording.site_sentences import paid_back, returned_by

#: The demo of the evening, the charger of the night, the sun of the next day.
NIGHT = a_log(20, 34, (21, 21.5, 30.0), (23, 25, -40.0), (30, 34, lambda hour: sun(hour - 24)))
NOTES = [(21, "crates"), (21.5, "end")]


@pytest.fixture(scope="module")
def log():
    """A night with a charger, and the morning after it."""
    return reported(NIGHT, a_site(), notes=NOTES)


def test_both_sources_are_told_with_charge_and_energy(log):
    """74 Ah of the charger at 25 V, and the sun's."""
    (sentence,) = returned_by(log)
    assert sentence.startswith("Into the bank came 73.99 Ah (")
    assert " 1,850 Wh (" in sentence
    assert "from 'generator' and" in sentence and sentence.endswith("from the sun.")


def test_a_demo_is_paid_back_by_who_paid_it(log):
    """The night's charger paid it; the sun came too late."""
    (sentence,) = paid_back(log)
    assert "the array and 'generator' had paid that back by" in sentence
    assert "; since its end came 2" in sentence and "0 Ah from the sun" in sentence.replace(", 0 Wh", "")


def test_the_page_has_a_row_for_each_source_and_a_line_for_each_day(log):
    """In the table of what is owed, and beside the ledger."""
    rows = dict(site_tables.recharge(log.by_site).rows)
    assert rows["Of it from 'generator'"].startswith("73.99 Ah")
    assert "Ah" in rows["Of it from the sun"]
    table = next(each for each in site_tables.ledger(log) if "where it came from" in each.caption)
    assert table.head[1:3] == ("'generator'", "The sun")
    assert len(table.rows) == 3  # two days and the demo


def test_json_has_every_part(log):
    """Whole, spells, days, and what paid a demo back."""
    document = site_documents(log)
    assert document["sources"]["whole"]["charger_Ah"]["value"] == pytest.approx(74.0, rel=5e-3)
    assert document["unnamed_source"] is None
    days = [day["returned_from"]["charger_Wh"]["value"] for day in document["ledger"]["days"]]
    assert sum(days) == pytest.approx(document["sources"]["whole"]["charger_Wh"]["value"], rel=1e-6)
    paid = document["ledger"]["demos"][0]["payback"]["returned_since"]
    assert paid["charger_Ah"]["value"] > 15 and paid["sun_Ah"]["value"] == pytest.approx(0, abs=0.01)


def test_what_cannot_be_told_is_said():
    """A saw of as many amps: perhaps, and up to how much."""
    chunk = a_log(8, 16, (6, 18, sun), (11, 12.5, -40.0))
    (sentence,) = returned_by(reported(chunk, a_site(loads=[("saw", 41.0)])))
    assert sentence.startswith("Whether 'generator' gave anything cannot be told, up to 6")
    assert "a load that stops, or the sun, looks the same" in sentence


def test_where_it_gave_nothing_that_is_said():
    """A site with a generator that was off."""
    (sentence,) = returned_by(reported(a_log(8, 16, (6, 18, sun)), a_site()))
    assert sentence == "Nothing that came back in this log was from 'generator'."


def test_a_source_that_the_file_does_not_name_is_told_with_the_key_to_add():
    """One sentence, and JSON with the instant."""
    log = reported(a_log(20, 26, (23, 25, -38.0)), a_site(chargers=()))
    (sentence,) = returned_by(log)
    assert "35.0 A began to flow into the bank: a source other than the sun seems to be there" in sentence
    assert "[[chargers]] with name and rated_A" in sentence
    document = site_documents(log)
    assert document["sources"] is None
    assert document["unnamed_source"]["at"].startswith("2026-06-12T22:59:5")


def test_without_either_nothing_is_said():
    """As before there were chargers in a site file."""
    log = reported(a_log(8, 16, (6, 18, sun)), a_site(chargers=()))
    assert returned_by(log) == []
    assert not any("where it came from" in table.caption for table in site_tables.ledger(log))
