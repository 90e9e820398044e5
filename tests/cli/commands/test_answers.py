"""Each command answers in a few lines of the terminal's width, and says on request all that the answer rests on."""

import io
import json
import os
import re
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from places import SAMPLES
from telling import told, unwrapped

from shuntbook.cli import door
from shuntbook.cli.main import run
from shuntbook.cli.render.terminal.answer import Reply, page_written
from shuntbook.cli.render.terminal.columns import wrapped
from shuntbook.cli.render.wording.checks import ABOUT
from shuntbook.cli.render.wording.numbers import uncapital

WIDTHS = (60, 100, *(pytest.param(width, marks=pytest.mark.night) for width in (80, 160)))
MORE = "More with --explain"
#: Words of the trade's books, which stand among the reasons alone.
ON_REQUEST = re.compile(r"C/\d|usual day|standard uncertainties|GUM")


@pytest.fixture(scope="module")
def logs(demo, tmp_path_factory):
    """A healthy log, one with findings, with its sign turned, in doubt, noted by hand, and from behind an inverter."""
    folder = tmp_path_factory.mktemp("answers")
    begin = datetime(2026, 3, 3, 8, tzinfo=UTC)
    pauses = [begin + timedelta(seconds=3055 * burst + 5 * k) for burst in range(40) for k in range(12)]
    (folder / "pauses.csv").write_text(
        "time,current [A],voltage [V]\n" + "".join(f"{at:%Y-%m-%dT%H:%M:%SZ},30,24.6\n" for at in pauses)
    )
    (folder / "notes.txt").write_text("10:02 900 W\n10:04 off\n10:30 pump on\n10:31 880 W\n10:40 off\n")
    watts = ("880" if k % 600 < 90 else "20" for k in range(7200))
    rows = (f"{begin + timedelta(seconds=k):%Y-%m-%dT%H:%M:%SZ},{watt}\n" for k, watt in enumerate(watts))
    (folder / "inverter.csv").write_text("time,power [W]\n" + "".join(rows))
    made = {
        "turned": (demo / "week_later.parquet", "--reverse-sign"),
        "doubt": (folder / "pauses.csv", "--zone", "UTC"),
        "hand": (folder / "notes.txt", "--profile", "hand", "--start", "2026-06-13", "--zone", "UTC"),
        "ac": (folder / "inverter.csv", "--side", "ac"),
    }
    for name, words in made.items():
        assert run(["convert", *map(str, words), "--out", str(folder / f"{name}.parquet")]) == 0
    paths = {name: folder / f"{name}.parquet" for name in made}
    return paths | {"healthy": demo / "open_day.parquet", "findings": demo / "week_later.parquet"}


@pytest.mark.parametrize("explain", [(), ("--explain",)])
def test_the_trade_s_terms_stand_once_beside_plain_words(demo, capsys, explain):
    """ "locked-rotor" at the first start that is told of, "continuous" at the first rating; neither at a heater's."""
    site = ("--site", demo / "site.toml")
    out = unwrapped(told(capsys, "forecast", *site, "--load", "well pump", "--for", "15m", *explain)[1])
    assert out.count("with 'well pump' starting (locked-rotor)") == out.count("locked-rotor") == 1
    assert out.count("running (continuous)") == bool(explain)
    out = unwrapped(told(capsys, "check-site", demo / "site.toml", *explain)[1])
    assert out.count("locked-rotor") == 1
    assert out.count("(continuous)") == out.count("3,000 VA without a break (continuous)") == bool(explain)
    text = (demo / "page.html").read_text(encoding="utf-8")
    assert text.count("starting (locked-rotor)") == text.count("running (continuous)") == 1
    assert text.count("starting,") > 3  # the others stand as they were
    heater = unwrapped(told(capsys, "forecast", *site, "--load", "seedling mats", "--for", "15m", "--explain")[1])
    assert "'seedling mats' starting" in heater and "'seedling mats' starting (" not in heater


def test_a_sign_that_seems_wrong_leaves_the_load_without_amounts(logs, demo, tmp_path, capsys):
    """JSON has null and the reason; on the page only the bank's section, which warns, holds amounts."""
    site, page = ("--site", demo / "site.toml"), tmp_path / "turned.html"
    why = "What the well pump took is not known until the log is turned."
    for words in (("cycles", logs["turned"]), ("report", logs["turned"], "--out", page)):
        document = json.loads(told(capsys, *words, *site, "--json")[1])
        assert (document["load_total"], document["load_total_why_not"]) == (None, why)
    document = json.loads(told(capsys, "cycles", logs["healthy"], *site, "--json")[1])
    assert document["load_total"]["charge_Ah"] > 8 and document["load_total_why_not"] is None
    text = page.read_text(encoding="utf-8")
    for section in ("carry", "health", "plate", "full", "water"):
        part = text.split(f'id="log-1-{section}"')[1].split("</section>")[0]
        assert "Not known until the log is turned" in part
        assert re.search(r"\d\s(?:Ah|Wh|A|W|V|L|gal)\b", part) is None
    assert "The system carries it" not in text
    said = told(capsys, "report", logs["turned"], *site, "--out", page, "--force", "--explain")[1]
    assert "carries it" not in said and "holds" not in said


def commands(logs, demo, tmp_path):
    """Every command that answers, on every log that it is made for."""
    site, pump = demo / "site.toml", ("--load", "well pump", "--for", "15m")
    one = [(command, path) for command in ("look", "charge", "cycles") for path in logs.values()]
    one += [
        (command, logs[name], "--site", site) for command in ("charge", "cycles") for name in ("healthy", "findings")
    ]
    return [
        *one,
        ("compare", logs["healthy"], logs["findings"], "--site", site),
        ("compare", logs["healthy"], logs["healthy"]),
        ("forecast", "--site", site, *pump),
        ("forecast", "--site", site, *pump, "--measured", logs["healthy"]),
        ("check-site", site),
        ("demo", "--out", tmp_path / "demo"),
        ("ports",),
        (
            "convert",
            SAMPLES / "week_later.csv.gz",
            "--out",
            tmp_path / "w.parquet",
            "--force",
            "--zone",
            "Europe/London",
            "--reverse-sign",
        ),
    ]


@pytest.fixture(scope="module")
def answers(logs, demo, tmp_path_factory):
    """What every command answers on every log, before it is laid out."""
    taken = []

    def keep(given, *_, **__):
        taken.append(given)
        return []

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Reply, "laid_out", keep)
        patch.setattr("shuntbook.cli.commands.demo.render", lambda *_: "its page is no part of its answer")
        for words in commands(logs, demo, tmp_path_factory.mktemp("converted")):
            assert run([str(word) for word in words]) == 0
            taken[-1] = (words, taken[-1])
    return taken


@pytest.mark.timeout(300)
@pytest.mark.parametrize("width", WIDTHS)
def test_an_answer_is_short_and_fits(answers, width):
    """Twelve lines and one that says how to see more; no line wider than the terminal, no word broken."""
    assert len(answers) > 25
    for words, given in answers:
        lines, whole = given.laid_out(width, explain=False), given.laid_out(width, explain=True)
        more = [line for line in lines if line.startswith(MORE)]
        # What was written has a path in its last line, which may be longer than any terminal is wide.
        last = wrapped(given.last, width) if given.last.startswith(("wrote ", "The page: ")) else []
        assert len(lines) - len(more) - len(last) <= 12, (words, lines)
        assert len(more) == (words[0] != "ports"), (words, lines)
        for line in (*lines[: len(lines) - len(last)], *whole[: len(whole) - len(last)]):
            # A name that is wider by itself is not broken: it could not be copied.
            assert len(line) <= width or len(line.split()) == 1, (words, line)
        assert not ON_REQUEST.search("\n".join(lines)), (words, lines)
        # Each word of the answer stands among the reasons' words, or in the line on how to ask for them, unbroken.
        known = re.findall(r"[^\W\d]+", " ".join([*whole, *more, "and more"]))
        assert set(re.findall(r"[^\W\d]+", " ".join(lines))) <= set(known), (words, lines)


def test_a_terminal_is_laid_out_by_its_width_and_a_pipe_by_the_usual_one(monkeypatch):
    """What a terminal says of itself; a pipe, a file, or a terminal that says nothing has eighty letters."""

    class Stream(io.StringIO):
        def isatty(self):
            return True

        def fileno(self):
            return 1

    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert door.terminal_width() == 80
    monkeypatch.setattr(sys, "stdout", Stream())
    for told_columns, width in ((61, 61), (0, 80)):
        monkeypatch.setattr(os, "get_terminal_size", lambda _, columns=told_columns: os.terminal_size((columns, 24)))
        assert door.terminal_width() == width


@pytest.mark.parametrize(
    ("command", "log", "first"),
    [
        ("cycles", "healthy", r"The \w+ \w+ took [\d.]+ Ah ± [\d.]+ \([\d.]+ Wh ± [\d.]+\) in 10 runs\."),
        ("cycles", "ac", r"The largest load took [\d.]+ Wh ± [\d.]+ in 11 runs\."),
        ("cycles", "turned", r"WARNING: Draw and return seem to be swapped"),
        ("charge", "healthy", r"From 13 Jun 2026 \S+ to \S+ all loads took 8\.13 Ah ± [\d.]+ \(20[\d.]+ Wh"),
        ("charge", "ac", r"From 3 Mar 2026 \S+ to \S+ the loads behind the inverter took [\d.]+ Wh ± "),
        ("charge", "hand", r"From 13 Jun 2026 \S+ to \S+ all loads took .* Wh"),
        ("charge", "turned", r"WARNING: draw and return seem to be swapped"),
        ("charge", "doubt", r"IN DOUBT: with the pauses left out 18\.3 Ah drawn"),
        ("look", "healthy", r"Good for Ah, cycles and surges\."),
        ("look", "turned", r"sign: PROBABLY TURNED"),
        ("look", "doubt", r"IN DOUBT: "),
    ],
)
def test_the_first_line_answers_or_warns(logs, capsys, command, log, first):
    """The figure that was asked for; before it only what says that it may be wrong."""
    assert re.match(first, unwrapped(told(capsys, command, logs[log])[1]))


def test_what_a_load_took_is_first_and_once(logs, demo, capsys):
    """At the top, and nowhere again; and the figure is written in one way wherever it stands."""
    answer = "The well pump took 12.1 Ah ± 2.0 (300 Wh ± 50) in 103 runs."
    for more in ((), ("--explain",)):
        out = told(capsys, "cycles", logs["findings"], "--site", demo / "site.toml", *more)[1]
        lines = out.splitlines()
        assert [k for k, line in enumerate(lines) if line == answer] == [0]
        assert not re.search(r"\b29[78] Wh\b", out)


def test_logs_judged_as_one_say_what_tells_them_apart(capsys, tmp_path):
    """What was mended on the tenth day is found among all days; from three logs on a report has the days."""
    (tmp_path / "days").mkdir()
    for day in (13, 14, 15):
        lines = "time,A,V\n" + "".join(f"2026-06-{day}T10:{m:02}:00Z,-{30 * (m % 9 == 0)},25\n" for m in range(60))
        (tmp_path / "day.csv").write_text(lines)
        told(capsys, "convert", tmp_path / "day.csv", "--out", tmp_path / "days" / f"{day}.parquet")
        said = unwrapped(told(capsys, "cycles", tmp_path / "days")[1])
        assert (f"shuntbook report {tmp_path / 'days'}/*.parquet tells them apart" in said) == (day == 15)


def test_findings_and_checks_stand_before_the_list_of_runs(logs, demo, capsys):
    """A list of hundreds of runs scrolls everything else away, so nothing that matters stands before it."""
    out = told(capsys, "cycles", logs["findings"], "--site", demo / "site.toml", "--explain")[1]
    findings = [out.index(f"({code})") for code in ("short_cycling", "air_charge_lost")]
    checks, runs = out.index("checked and passed: "), out.index("rest before")
    assert max(findings) < checks < out.index("What the pump gives") < runs
    assert out.index("runs of other loads seen meanwhile") < runs


def sentences(part):
    """Every sentence in a JSON document."""
    if isinstance(part, dict):
        for key, value in part.items():
            if key not in ("source", "name", "text", "code"):
                yield from sentences(value)
    elif isinstance(part, list):
        for value in part:
            yield from sentences(value)
    elif isinstance(part, str) and part.endswith(".") and " " in part:
        yield part


def test_the_reasons_of_a_forecast_have_all_of_it(logs, demo, capsys):
    """Every assumption, comparison and caution of the JSON, each step, and how the load behaved."""
    words = (
        "forecast",
        "--site",
        demo / "site.toml",
        "--load",
        "well pump",
        "--for",
        "15m",
        "--measured",
        logs["healthy"],
    )
    document = json.loads(told(capsys, *words, "--json")[1])
    whole, brief = (unwrapped(told(capsys, *words, *more)[1]) for more in (("--explain",), ()))
    for key in ("assumptions", "cautions"):
        assert document[key]
        assert all(sentence in whole for sentence in document[key])
    assert all(step["step"] in whole for step in document["chain"])
    for mark in ("C/", "usual day", "Peukert", "as measured at the bank", "starts an hour", "conductor 'bank to"):
        assert mark in whole
    assert "can kill" in brief


def test_a_caution_is_there_however_much_there_is_to_say(demo, tmp_path, capsys):
    """Where conductors fail there is most to say, and most to be careful about."""
    text = (demo / "site.toml").read_text(encoding="utf-8")
    site = tmp_path / "site.toml"
    site.write_text(text.replace("fuse_A = 200\n", "fuse_A = 800\n").replace("fuse_A = 50\n", ""), encoding="utf-8")
    out = told(capsys, "forecast", "--site", site, "--load", "well pump", "--for", "15m")[1]
    assert out.count(" fails. ") == 2
    assert "can kill" in out
    assert len(out.splitlines()) <= 13
    reply = Reply([f"line {k}" for k in range(30)], ["why"], "all", caution="Take care.")
    assert reply.laid_out(80, explain=False)[-2:] == ["Take care.", f"{MORE}: all"]
    assert reply.laid_out(80, explain=True)[-3:] == ["Take care.", "", "why"]


def test_the_reasons_of_cycles_have_each_run_check_and_reason(logs, demo, capsys):
    """Every run with its start, every finding with limit, source, causes and first step, every check in plain words."""
    words = ("cycles", logs["findings"], "--site", demo / "site.toml")
    document = json.loads(told(capsys, *words, "--json")[1])
    out = told(capsys, *words, "--explain")[1]
    whole = unwrapped(out)
    assert len(re.findall(r"^(?:20 Jun 2026 )?1\d:\d\d:\d\d", out, re.MULTILINE)) == len(document["cycles"]) == 103
    for finding in document["findings"]:
        for key in ("title", "evidence", "limit", "source", "causes", "check_first"):
            assert finding[key] in whole, key
    for check in document["checks"]:
        assert (check["code"] if check["outcome"] == "found" else uncapital(ABOUT[check["code"]])) in whole
    for mark in ("on paper: 415 Wh", "from the nameplate: 273 Wh", "measured: 300 Wh ± 50", "By habit one reckons"):
        assert mark in whole


def test_the_reasons_of_the_others_have_what_they_rest_on(logs, demo, capsys):
    """The meter, the shares of the uncertainty, the rows, every figure that was compared, every table of a site."""
    site = demo / "site.toml"
    expected = {
        ("charge", logs["healthy"]): (
            "comes from: offset",
            "standard uncertainties",
            "energy from",
            "bank shunt on side dc",
        ),
        ("look", logs["healthy"]): (
            "108,001 of 108,001 rows kept",
            "77 of 77 steps",
            "a gap is longer than 10 s",
            "mohm",
        ),
        ("compare", logs["healthy"], logs["findings"], "--site", site): (
            *(
                "net out of it, an hour: before −1.10 Ah; after −0.508 Ah",
                "7.63 to 20.0",
                "not compared: ",
                "note: One meter read both",
            ),
            "47 starts in the busiest hour",
        ),
        ("check-site", site): ("Load 'seedling mats'", "Conductor 'bank to wash shed inverter'", "Your own limits"),
    }
    for words, marks in expected.items():
        whole = unwrapped(told(capsys, *words, "--explain")[1])
        for mark in marks:
            assert mark in whole, (words, mark)


def test_a_site_file_that_cannot_be_right_says_so_first(demo, tmp_path, capsys):
    """How many things, each of them, and what is not in it at all."""
    text = (demo / "site.toml").read_text(encoding="utf-8").replace("fuse_A = 50", "fuse_A = 400")
    path = tmp_path / "site.toml"
    path.write_text(text.partition("[array]")[0] if "[array]" in text else text, encoding="utf-8")
    out = told(capsys, "check-site", path)[1]
    assert out.startswith("Marrowbrook wash shed: ")
    assert len(out.splitlines()) <= 13


@pytest.mark.parametrize(
    ("name", "end"),
    [
        ("a.html", "open it in a browser"),
        ("A.HTM", "open it in a browser"),
        ("a", "name it a.html to open it in a browser"),
    ],
)
def test_a_page_that_no_browser_takes_for_one_is_said_to_need_another_name(name, end):
    """By the ending of a name a browser knows what a file is."""
    assert page_written(Path("pages") / name) == f"wrote {Path('pages') / name}; {end}"
