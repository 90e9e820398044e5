"""Every figure of the page's tables is that of the JSON document of the same report, to the printed digit."""

import io
import json
import re
from contextlib import redirect_stdout
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from page_tables import PageTables, amount, duration, number, percent, plus_minus, signed, within

from shuntbook.cli.main import run

CYCLE = {
    "Rest before": lambda c: duration(c["off_before_s"]),
    "Ran": lambda c: duration(c["run_s"]),
    "Highest at start": lambda c: _bound(amount(c["surge_A"], "A"), c),
    "Peak power": lambda c: _bound(amount(c["peak_W"], "W"), c),
    "Settled": lambda c: amount(c["run_A"], "A"),
    "Settled power": lambda c: amount(c["run_W"], "W"),
    "Start / settled": lambda c: _bound(number(c["surge_ratio"]), c),
    "Charge": lambda c: amount(c["charge_Ah"], "Ah"),
    "Energy": lambda c: amount(c["energy_Wh"], "Wh"),
    "Voltage sag": lambda c: _bound(amount(c["sag_V"], "V"), c),
    "Seen whole": lambda c: "yes" if c["complete"] else "no",
    "Start": lambda c: _clock(c["start"]),
}

#: The US gallon is 231 cubic inches exactly (NIST Special Publication 811, appendix B.8).
LITRES_A_GALLON = 3.785411784


def _bound(text, cycle):
    return text if cycle["surge_resolved"] or text.startswith("—") else f"≥ {text}"


def _clock(iso):
    """The nearest second, as a clock in the log's zone shows it."""
    at = datetime.fromisoformat(iso)
    nearest = datetime.fromtimestamp(round(at.timestamp()), ZoneInfo("Europe/London"))
    return f"{nearest:%H:%M:%S}"


def _three(x, unit):
    return [plus_minus(x[f"{what}_{unit}"], x[f"{what}_u95_{unit}"], unit) for what in ("drawn", "returned", "net")]


def _took(log):
    hours = log["charge"]["span"]["covered_s"] / 3600
    for what, unit, rate in (("charge", "Ah", "A"), ("energy", "Wh", "W")):
        x = log["charge"][what]
        yield [what.capitalize(), *_three(x, unit), amount(x[f"net_{unit}"] / hours, rate)]


def _lines(log):
    return [*log["ledger"]["days"], *log["ledger"]["demos"]]


def _ledger(log, what, unit, rate):
    for line in _lines(log):
        name = line.get("text") or f"{datetime.fromisoformat(line['date']):%-d %b %Y}"
        last = line["state_at_end_pct"]
        state = (
            f"{last['value']:.0f} %"
            if what == "charge"
            else f"{duration(line['measured_s'])} of {duration(line['length_s'])}"
        )
        highest = [amount(line[f"{each}_{rate}"], rate) for each in ("highest", "sustained")]
        yield [name, *_three(line[what], unit), *highest, state]


def _chain(log):
    for step in log["nameplate"]["chain"]:
        yield [step["step"], amount(step["value"], step["unit"]), step["from"]]


def _reasons(found):
    for part in found["parts"]:
        text = f"{part['source'][:1].upper()}{part['source'][1:]} ({part['basis']}): {part['because']}."
        yield [
            text,
            signed(part["energy_Wh"], "Wh"),
            signed(part["charge_Ah"], "Ah"),
            percent(part["share"]),
        ]
    yield ["Together", signed(found["energy_difference_Wh"], "Wh"), signed(found["charge_difference_Ah"], "Ah"), ""]


def _ways(log):
    plate = log["nameplate"]
    for what, key, ratio in (
        ("On paper", "paper", plate["paper_energy_ratio"]),
        ("From the nameplate", "estimated", plate["energy_ratio"]),
        ("Measured", "measured", 1.0),
    ):
        both = [
            # What was measured is spelt as in the answer, with its interval.
            amount(plate[x], unit)
            if key != "measured"
            else plus_minus(plate[x], plate[f"measured_{kind}_u95_{unit}"], unit)
            for kind, unit in (("energy", "Wh"), ("charge", "Ah"))
            for x in [f"{key}_{kind}_{unit}"]
        ]
        yield [what, *both, percent(ratio)]


def _budget(log):
    for part in log["charge"]["uncertainty"]:
        of = [amount(part[f"u_{unit}"], unit) if part[f"u_{unit}"] is not None else "none" for unit in ("Ah", "Wh")]
        yield [part["source"], *of, percent(part["share"]) if part["share"] is not None else "none", part["reason"]]


def _bank(log):
    bank = log["bank"]
    yield [
        "Internal resistance",
        f"{within(bank['resistance']['mohm'], 'mΩ')}, from {bank['resistance']['steps']} starts",
    ]
    sag = bank["sag"]
    for part in bank["compared"]:
        yield [f"Asked of it ({part['of']})", part["sentence"]]
    cut_off = f"{sag['below']} below {amount(sag['cut_off_V'], 'V')}: {sag['verdict']}."
    yield ["Lowest voltage at the next start", f"{within(sag['lowest_V'], 'V')}; {cut_off}"]
    yield ["State of charge at the log's end", within(bank["state"]["end_pct"], "%")]
    for draw in bank["draws"]:
        lasts = draw["runtime"]
        text = f"{amount(draw['current_A'], 'A')}, which is C/{number(draw['rate_h'])}; lasts "
        text += f"{within(lasts['counted_h'], 'h')} to the usable depth by counting, "
        text += f"{within(lasts['peukert_h'], 'h')} by Peukert's law"
        yield [f"{draw['what'][:1].upper()}{draw['what'][1:]}", text]
    cycles, deep, life, cost = _worn(bank["wear"])
    yield [
        "Its wear by this log",
        f"{cycles} full cycles, down {deep} at most, {life} of its life by its maker, {cost}",
    ]


def _worn(wear):
    figures = {key: number(wear[key]["value"]) for key in ("full_cycles", "life_pct", "cost")}
    deep, life = f"{number(wear['depth_pct'])} %", f"{figures['life_pct']} %"
    return figures["full_cycles"], deep, life, f"{figures['cost']} {wear['currency']}"


def _wear(log):
    for line in _lines(log):
        name = line.get("text") or f"{datetime.fromisoformat(line['date']):%-d %b %Y}"
        yield [name, *_worn(line["wear"])]


def _state(log):
    state = log["bank"]["state"]
    over = state["over_time"]
    lowest = over["state_pct"].index(min(over["state_pct"]))
    figure = {"value": over["state_pct"][lowest], "low": over["low_pct"][lowest], "high": over["high_pct"][lowest]}
    yield ["At the beginning", within(state["start_pct"], "%")]
    yield ["At its lowest", within(figure, "%")]
    yield ["At the end", within(state["end_pct"], "%")]


def _gallons(litres):
    """Return a volume as the demo's site file has its page show it."""
    return amount(litres / LITRES_A_GALLON, "gal")


def _water(log):
    water = log["water"]
    plan, seen, cost = water["plan"], water["seen"], water["cost"]
    with_air = "with its air, " if water["air_in_doubt"] else ""
    yield [f"Water from cut-out to cut-in, {with_air}by Boyle's law", _gallons(plan["drawdown_L"])]
    yield ["Shortest run there should be", duration(plan["fill_s"])]
    yield ["Shortest time from start to start there should be", duration(plan["shortest_cycle_s"])]
    yield ["Usual run seen", f"{duration(water['usual_run_s'])}, then a rest of {duration(water['usual_rest_s'])}"]
    steadily = "; so it was not drawn steadily" if seen["share"] > 1 else ""
    share = f"{_gallons(seen['seen_L'])}, {percent(seen['share'])} of what it should be{steadily}"
    yield ["Water from cut-out to cut-in by those times, if drawn steadily", share]
    yield ["Water of a usual run", f"{_gallons(cost['water_L'])} for {amount(water['cycle_Wh'], 'Wh')}"]
    yield ["Energy for the water, at the meter", f"{amount(cost['Wh_per_gal'], 'Wh')} for a gallon"]
    yield ["Lifting", water["lifting"]["sentence"]]


def _owed(log):
    bank, solar = log["bank"], log["solar"]
    for what, key in (("until it is full", "recharge_to_full"), ("by this log", "recharge_of_log")):
        owed = bank[key]
        if owed["why_not"] is None:
            days = f", or {number(owed['days'])} {'usual days' if owed['days'] >= 1 else 'of a usual day'}"
            days += ", with nothing drawn meanwhile"  # the log is shorter than a day
            text = f"{amount(owed['owed_Ah'], 'Ah')} ({amount(owed['owed_Wh'], 'Wh')})"
            sun = f"at least {duration(owed['sun_h'] * 3600)} of good sun"
            yield [f"Owed to the bank {what}", f"{text}: {sun}{days}"]
    yield ["The array on a usual day", amount(solar["day"]["energy_Wh"], "Wh")]
    yield ["Into the bank in this log", f"{amount(solar['returned_Wh'], 'Wh')}, beyond what the loads took meanwhile"]


def _conductors(log):
    for each in log["conductors"]:
        lost = (each["running"], each["starting"])
        cells = [
            f"{amount(x['drop_V'], 'V')} ({percent(x['drop_pct'] / 100)}) at {amount(x['current_A'], 'A')}"
            for x in lost
        ]
        yield [each["name"], *cells]


def _usual(log):
    summary, cycles = log["cycles"]["summary"], log["cycles"]["cycles"]
    for what, key, median in (("Run", "run_s", "median_run_s"), ("Rest before a run", "off_before_s", "median_off_s")):
        lengths = [cycle[key] for cycle in cycles if cycle[key] is not None]
        yield [what, duration(min(lengths)), duration(summary[median]), duration(max(lengths))]


def _checks(log):
    for check in log["cycles"]["checks"]:
        limit = _capital(f"{check['limit']} ({check['source']})") if check["limit"] else "—unknown"
        yield [check["outcome"], _capital(check["said"]), limit]


def _capital(text):
    return text[0].upper() + text[1:]


#: How a table's caption begins, and its rows by the document of its log; without the first cell where that is `...`.
TABLES = {
    "What went out and what came back": _took,
    "Charge by day and demo": lambda log: _ledger(log, "charge", "Ah", "A"),
    "Energy by day and demo": lambda log: _ledger(log, "energy", "Wh", "W"),
    "Wear of the bank": _wear,
    "How long": _usual,
    "The same": _ways,
    "From the sum on paper": lambda log: _reasons(log["nameplate"]["paper_to_estimate"]),
    "From the estimate": lambda log: _reasons(log["nameplate"]["estimate_to_measured"]),
    "All the time measured": lambda log: _reasons(log["nameplate"]["by_habit"]),
    "The estimate, step by step": _chain,
    "Where the ±": _budget,
    "The bank;": _bank,
    "State of charge;": _state,
    "The tank and the water": _water,
    "What is owed": _owed,
    "Voltage lost": _conductors,
    "What was checked": _checks,
}


@pytest.fixture(scope="module")
def both(demo):
    """The demo's page, and the JSON document of the same report."""
    told, logs = io.StringIO(), [str(demo / f"{name}.parquet") for name in ("open_day", "week_later")]
    with redirect_stdout(told):
        assert run(["report", *logs, "--site", str(demo / "site.toml"), "--json"]) == 0
    return (demo / "page.html").read_text(encoding="utf-8"), json.loads(told.getvalue())


def _rows(table, width):
    """A table's rows of figures, without their heads where the document has none for them."""
    return [row[len(row) - width :] for row in table.rows[1:]]


def differences(page, document):
    """Return where page and document differ, and how many cells were compared."""
    found, compared = [], 0
    for table in PageTables(page).tables:
        expected = _expected(table, document)
        if expected is None:
            continue
        shown = _rows(table, len(expected[0]))
        compared += sum(map(len, expected))
        found += [(table.caption, *pair) for pair in zip(shown, expected, strict=False) if pair[0] != pair[1]]
        if len(shown) != len(expected):
            found.append((table.caption, len(shown), len(expected)))
    return found, compared


def _expected(table, document):
    """Return the rows that a table should have; None where nothing is expected of it."""
    if not table.log:
        return _side_by_side(document) if table.caption == "What each log shows" else None
    log = document["logs"][table.log - 1]
    if table.caption.startswith("Runs of"):
        return [[CYCLE[head](cycle) for head in table.rows[0]] for cycle in log["cycles"]["cycles"][:30]]
    return next((list(rows(log)) for begin, rows in TABLES.items() if table.caption.startswith(begin)), None)


def _side_by_side(document):
    def line(what, cell):
        return [what, *(cell(log) for log in document["logs"])]

    def drawn(log, what, unit):
        x = log["charge"][what]
        return plus_minus(x[f"drawn_{unit}"], x[f"drawn_u95_{unit}"], unit)

    def an_hour(log, what, unit):
        return amount(log["charge"][what][f"drawn_{unit}"] / (log["charge"]["span"]["covered_s"] / 3600), unit)

    summary = lambda key: lambda log: log["cycles"]["summary"][key]  # noqa: E731
    return [
        line("Charge drawn, all loads", lambda log: drawn(log, "charge", "Ah")),
        line("Energy drawn, all loads", lambda log: drawn(log, "energy", "Wh")),
        line("Starts", lambda log: f"{summary('count')(log):,}"),
        line("Measured", lambda log: duration(log["charge"]["span"]["covered_s"])),
        line("Charge drawn in an hour of readings, all loads", lambda log: an_hour(log, "charge", "Ah")),
        line("Energy drawn in an hour of readings, all loads", lambda log: an_hour(log, "energy", "Wh")),
        line("Starts an hour", lambda log: number(summary("starts_per_hour")(log))),
        line("Running", lambda log: percent(summary("duty_cycle")(log))),
        line("Usual run", lambda log: duration(summary("median_run_s")(log))),
        line("Usual rest", lambda log: duration(summary("median_off_s")(log))),
        line(
            "Findings",
            lambda log: "; ".join(f"{f['severity']}: {f['title']}" for f in log["findings"]) or "nothing to act on",
        ),
    ]


def test_figures_are_those_of_the_json(both):
    """Charge, energy, ±, counts, runs, reasons, chain, budget, bank, water and ledger: every cell of every table."""
    found, compared = differences(*both)
    assert found == []
    assert compared > 900


def test_every_kind_of_table_is_there(both):
    """No comparison is empty because a caption was changed."""
    captions = [table.caption for table in PageTables(both[0]).tables]
    assert all(any(caption.startswith(begin) for caption in captions) for begin in TABLES)


@pytest.mark.parametrize("begin", ["What each log shows", "Runs of", *TABLES])
def test_a_wrong_digit_is_found(both, begin):
    """One digit changed in one cell of any kind of table makes a difference: the test above can fail."""
    page, document = both
    head = page.index(">" + begin.replace("± ", "±\N{NO-BREAK SPACE}"), page.index("<main"))
    cell = re.compile(r"(<td>[^<]*?)(\d)([^<]*</td>)").search(page, head)
    other = str((int(cell[2]) + 1) % 10)
    changed = page[: cell.start(2)] + other + page[cell.end(2) :]
    assert differences(changed, document)[0]


def test_evidence_of_findings_is_that_of_the_json(both):
    """What a finding rests on stands on the page word for word, with a capital to begin with."""
    page, document = both
    plain = re.sub(r"\s+", " ", page.replace("\N{NO-BREAK SPACE}", " ").replace("&#39;", "'"))
    texts = [f[key] for f in document["findings"] for key in ("evidence", "limit", "source", "causes", "check_first")]
    assert len(texts) == 10
    assert all(_capital(text) in plain for text in texts)
