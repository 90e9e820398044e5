"""`forecast --with` as a person meets it, on the invented scenario."""

import json
import re

import pytest
from page_reading import OF_WORDS_ALONE, undrawn  # noqa: F401  (a fixture)
from telling import told, unwrapped


def asked(capsys, demo, *changes, log="week_later.parquet", more=()):
    """Return the status, and what is told, of a day of the pump with changes."""
    words = ["forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "1d", *more]
    words += ["--measured", demo / log] if log else []
    for change in changes:
        words += ["--with", change]
    return told(capsys, *words)


def document(capsys, demo, *changes, log="week_later.parquet"):
    status, out, _ = asked(capsys, demo, *changes, log=log, more=["--json"])
    assert status == 0
    return json.loads(out)


def test_the_sentence_that_matters_comes_first(demo, capsys):
    """The week-later log short-cycles; with air in its tank it runs as the open day's log did."""
    status, out, err = asked(capsys, demo, "pre-charge 38 psi")
    assert (status, err) == (0, "")
    first = unwrapped(out).partition(".")[0]
    assert first.startswith("Runs of 13 s become 1 min ")
    assert "starts in the busiest hour 47 -> " in first
    assert first.endswith("; the limit is 20")
    assert "with pre-charge 38 psi." in unwrapped(out)
    assert "now then difference (95 %)" in unwrapped(out)
    assert len(out.splitlines()) <= 12 + 1  # and how to see more
    assert max(map(len, out.splitlines())) <= 80


def test_before_and_after_stand_side_by_side_in_json(demo, capsys):
    found = document(capsys, demo, "tank 300 L", "bank 800 Ah")
    figures = {row["code"]: row for row in found["figures"]}
    assert found["changes"] == ["tank 300 L", "bank 800 Ah"]
    assert found["measured"] == "week_later.parquet"
    assert figures["run_s"]["before"]["value"] < 60 < figures["run_s"]["after"]["value"]
    assert figures["in_an_hour"]["limit"]["at_most"] is True
    assert figures["in_an_hour"]["after"]["low"] <= figures["in_an_hour"]["after"]["value"]
    assert figures["lasts_h"]["after"]["value"] > figures["lasts_h"]["before"]["value"] * 1.8
    for row in figures.values():
        if row["difference"] is not None:
            away = row["after"]["value"] - row["before"]["value"]
            assert row["difference"]["value"] == pytest.approx(away, abs=1e-6)
            assert row["difference"]["low"] <= row["difference"]["value"] <= row["difference"]["high"]
    # Fewer starts of the same water: less by what they took beyond running, and no more than that.
    taken = figures["energy_Wh"]
    assert 0.8 < taken["after"]["value"] / taken["before"]["value"] < 1
    # The forecast as it is without a change is the one that stands before.
    plain = document(capsys, demo)
    assert found["before"] == plain
    assert found["after"]["charge_Ah"] == figures["charge_Ah"]["after"]["value"]


def test_the_limits_have_their_source_among_the_reasons(demo, capsys):
    out = unwrapped(asked(capsys, demo, "tank 300 L", more=["--explain"])[1])
    assert "at least 1 min: the site file" in out
    assert "at most 300: the site file" in out
    assert "times the water then (" in out
    assert "assumed: Water is taken to be drawn as it was in the log" in out
    assert "Local codes and a licensed electrician or pump installer decide" in out


def test_a_size_is_answered(demo, capsys):
    out = unwrapped(asked(capsys, demo, "tank for 60 s")[1])
    assert out.startswith("For runs of 60 s the tank is to hold 38.8 gal or more.")
    out = unwrapped(asked(capsys, demo, "cable", log=None)[1])
    assert out.startswith(
        "The smallest that fits: 3/0 AWG with a 200 A fuse (loses 0.13 %), or 95 mm² with a 200 A fuse (loses 0.12 %)."
    )
    reasons = unwrapped(asked(capsys, demo, "cable", log=None, more=["--explain"])[1])
    for source in ("NEC table 310.16", "NEC 240.6(A)", "IEC 60364-5-52", "IEC 60269-1", "licensed electrician decide"):
        assert source in reasons


def test_an_unsafe_change_is_told_before_all_else(demo, capsys):
    """A thinner cable behind the same fuse."""
    out = unwrapped(asked(capsys, demo, "cable 6 AWG", log=None)[1])
    assert out.startswith("Conductor 'bank to wash shed inverter' fails. The 200 A fuse is larger than what the table")


@pytest.mark.parametrize(
    ("remove", "change", "sentence"),
    [
        ("strings = 2\n", "bank 3 strings", "Not judged: no word on another number of strings; add bank.strings"),
        ("usable_depth_pct = 50", "bank for 3 days", "Not judged: no size of bank; add bank.usable_depth_pct"),
        ("flow_gal_per_min = 10", "use 500 L a day", "add water.flow_L_per_min or water.flow_gal_per_min"),
        ("precharge_psi = 38", "pressures 3..4 bar", "add water.precharge_kPa or water.precharge_psi"),
        ('carries = ["wash shed inverter"]', "cable 70 mm2", "add conductors.carries"),
    ],
)
def test_what_nothing_is_known_about_is_not_judged(demo, tmp_path, capsys, remove, change, sentence):
    text = (demo / "site.toml").read_text(encoding="utf-8")
    assert remove in text
    (tmp_path / "site.toml").write_text(text.replace(remove, "", 1), encoding="utf-8")
    words = ["forecast", "--site", tmp_path / "site.toml", "--load", "well pump", "--for", "1h", "--with", change]
    status, out, _ = told(capsys, *words, "--explain")
    assert status == 0
    assert sentence in unwrapped(out)


def test_a_tank_without_a_flow_changes_its_water_and_asks_for_the_flow(demo, tmp_path, capsys):
    """Its water follows from its volume and pressures alone, and no answer may say that nothing changes."""
    site = tmp_path / "site.toml"
    lines = (demo / "site.toml").read_text(encoding="utf-8").splitlines(keepends=True)
    site.write_text("".join(line for line in lines if not line.startswith("flow_")), encoding="utf-8")
    words = ["forecast", "--site", site, "--load", "well pump", "--for", "1h", "--with", "tank 300 L"]
    out = unwrapped(told(capsys, *words)[1])
    assert out.startswith("From full to where the pump starts the tank gives ")
    assert "for what runs and starts become add water.flow_L_per_min or water.flow_gal_per_min to the site file" in out
    assert "water from full to cut-in" in out
    assert "No figure that is known changes" not in out


def test_a_wrong_change_is_a_mistake_and_nothing_is_read_for_it(demo, capsys):
    status, out, err = asked(capsys, demo, "tank 300", log=None)
    assert (status, out) == (2, "")
    assert (
        unwrapped(err)
        .strip()
        .endswith('write it like "tank 300 L", or "tank for 60 s" for the size that such runs ask')
    )


def test_air_that_does_not_go_with_the_switch_is_said(demo, capsys):
    """Other pressures ask for another pre-charge."""
    out = unwrapped(asked(capsys, demo, "pressures 30..50 psi", log=None)[1])
    assert "difference (95 %)" in out  # against other pressures the pump gives more or less
    assert "95 %" not in unwrapped(asked(capsys, demo, "tank 300 L", log=None)[1])  # else a plate has no interval
    assert 'it should be about 2 psi below cut-in: ask also for "pre-charge 28 psi"' in out
    out = unwrapped(asked(capsys, demo, "pressures 1..30 psi", log=None)[1])
    assert "with that pre-charge the tank takes in no water at all" in out
    assert 'ask also for "pre-charge 0 psi"' in out  # never below nought
    both = unwrapped(asked(capsys, demo, "pressures 30..50 psi", "pre-charge 28 psi", log=None)[1])
    assert "ask also for" not in both


def test_an_inverter_without_its_surge_is_asked_for_it(demo, capsys):
    out = unwrapped(asked(capsys, demo, "inverter 3500 VA", log=None)[1])
    assert 'ask with its surge, such as "inverter 3500 VA, surge 6000 VA for 5 s"' in out
    whole = unwrapped(asked(capsys, demo, "inverter 3500 VA, surge 9 kVA for 5 s", log=None)[1])
    assert "A start asks 58.9 % of what the inverter may give, now 88.3 %." in whole


def test_another_load_has_no_tank(demo, capsys):
    words = ["forecast", "--site", demo / "site.toml", "--load", "fridge", "--for", "1d", "--with", "tank 300 L"]
    status, out, _ = told(capsys, *words)
    assert status == 0
    assert "Not judged: no word on another tank: 'fridge' fills no tank in the site file" in unwrapped(out)


def reported(capsys, demo, *words, log="week_later.parquet"):
    """Return the status, and what is told, of a report of a log with its site file."""
    return told(capsys, "report", demo / log, "--site", demo / "site.toml", *words)


def test_a_report_says_what_the_forecast_says_of_a_day(demo, capsys):
    """The very same figures, under a key of their own; null where nobody asked."""
    changes = ("pre-charge 38 psi", "bank 3 strings")
    words = [word for change in changes for word in ("--with", change)]
    status, out, _ = reported(capsys, demo, *words, "--json")
    assert status == 0
    by_report, by_forecast = json.loads(out)["what_if"], document(capsys, demo, *changes)
    for each in (by_report, by_forecast):
        # A report knows of the log's runs how sure they are, which a forecast has no use for.
        for side in ("before", "after"):
            for key in ("charge_u95_Ah", "energy_u95_Wh"):
                del each[side]["as_measured"]["runs"][key]
    assert by_report == by_forecast
    assert json.loads(reported(capsys, demo, "--json")[1])["what_if"] is None


@OF_WORDS_ALONE
def test_the_page_and_the_terminal_have_it_in_short(demo, tmp_path, capsys):
    """The sentence that matters and a few rows in sight; the figures with their limits in a fold."""
    place = tmp_path / "page.html"
    status, out, _ = reported(capsys, demo, "--with", "pre-charge 38 psi", "--out", place)
    assert status == 0
    assert unwrapped(out).startswith("With pre-charge 38 psi: runs of 13 s become 1 min ")
    page = place.read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    section = page.partition('id="log-1-what-if"')[2].partition("</section>")[0]
    assert section.startswith(">What would the change do?<")
    sight, _, folds = section.partition('<div class="folds">')
    assert "Runs of 13 s become 1 min " in sight
    assert re.search(r'<th scope="row">Starts in the busiest hour</th><td>47</td><td>\d+</td><td>−\d+ \(−', sight)
    assert sight.count('<th scope="row">') <= 6
    assert "at most 20: " in folds
    assert "What this rests on" in folds
    reported(capsys, demo, "--with", "pressures 30..50 psi", "--out", place, "--force")
    page = place.read_text(encoding="utf-8").partition('id="log-1-what-if"')[2].partition('<div class="folds">')[0]
    # What does not go together then is in sight, and not folded for want of room.
    assert "ask also for" in page
    reported(capsys, demo, "--with", "pre-charge 38 psi", "--one-page", "--out", place, "--force")
    sheet = place.read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert "<p>With pre-charge 38 psi: runs of 13 s become 1 min " in sheet
    assert "what-if" not in (demo / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["week_later.parquet", "--with", "tank 300 L"], "name its site file as well"),
        (
            ["week_later.parquet", "open_day.parquet", "--site", "site.toml", "--with", "tank 300 L"],
            "told by one log, and 2 are named",
        ),
        (["week_later.parquet", "--site", "site.toml", "--with", "tank 300"], "is not understood; write it like"),
        (["turned.parquet", "--site", "site.toml", "--with", "tank 300 L"], "draw and return seem to be swapped"),
    ],
)
def test_a_report_that_cannot_say_it_says_so(demo, tmp_path, monkeypatch, capsys, words, sentence):
    """In one sentence, and nothing is written."""
    told(capsys, "convert", demo / "week_later.parquet", "--reverse-sign", "--out", tmp_path / "turned.parquet")
    for name in ("week_later.parquet", "open_day.parquet", "site.toml"):
        (tmp_path / name).write_bytes((demo / name).read_bytes())
    monkeypatch.chdir(tmp_path)
    status, out, err = told(capsys, "report", *words, "--out", "page.html")
    assert (status, out) == (2, "")
    assert err.startswith("shuntbook: --with: ")
    assert sentence in unwrapped(err)
    assert not (tmp_path / "page.html").exists()


def test_a_use_is_set_beside_what_now_means(demo, capsys):
    """A load of which no share of the day is known runs all the time by its plate; by a log it does not."""
    words = "nothing measured; now taken to run all the time; with use 500 L a day"
    assert words in unwrapped(asked(capsys, demo, "use 500 L a day", log=None)[1])
    assert "all the time" not in unwrapped(asked(capsys, demo, "use 500 L a day")[1])


def test_the_reasons_tell_the_cable_and_its_fuse_before_and_after(demo, capsys):
    out = unwrapped(asked(capsys, demo, "cable 70 mm2", log=None, more=["--explain"])[1])
    assert "the table allows 200 A (3/0 AWG)" in out
    assert "the table allows 192 A (70 mm²)" in out
    assert "125 % of the greatest current, 160 A, is 200 A: the 200 A fuse carries that." in out
    assert "no word on whether the fuse of 'bank to wash shed inverter' can break a short circuit" in out.lower()


def test_the_demo_s_meter_is_stated_to_read_instants(demo, tmp_path, capsys):
    """Another would have to be taken for one that averages over the start."""
    text = (demo / "site.toml").read_text(encoding="utf-8").replace('sampling = "instant"', "# ")
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    words = ["forecast", "--load", "well pump", "--for", "1d", "--measured", demo / "week_later.parquet", "--explain"]
    stated, unstated = (unwrapped(told(capsys, *words, "--site", at / "site.toml")[1]) for at in (demo, tmp_path))
    assert "may average" not in stated
    assert "a reading shows 45 % of how far the bank falls" in unstated
    assert "a reading shows 45 %" not in stated
