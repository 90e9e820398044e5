"""Nothing from a file reaches the terminal as a command to it: every text of every file, in every command's output."""

from __future__ import annotations

import ast
import io
import json
import os
import re
import sys
import termios
from contextlib import redirect_stdout
from dataclasses import replace

import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import ROOT, SAMPLES
from syntax import OF_ALL_MODULES, nodes
from terminals import POISON, POISON_OF_A_CELL, POISON_OF_A_LINE, obeyed, on_terminal

from shuntbook.cli.door import harmless, has_terminal, say_json, terminal_room
from shuntbook.cli.main import run
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.log import new_log, to_batch
from shuntbook.ingest.log.meta import METADATA_KEY

pytestmark = pytest.mark.skipif(os.name != "posix", reason="terminals as POSIX knows them")

ROWS = [
    f"2026-06-13T10:{k // 60:02}:{k % 60:02}Z,{40.0 if k % 300 < 60 else 2.0},{25.2 - k % 9 / 100}" for k in range(1500)
]
NOTE_US = 1_781_345_400_000_000  # within the rows


def _toml(text):
    """Return a text as TOML writes it, with all that is no plain ASCII escaped."""
    return (
        '"'
        + "".join(c if c.isascii() and c.isprintable() and c not in '"\\' else f"\\u{ord(c):04x}" for c in text)
        + '"'
    )


def poisoned_site(folder):
    """Write the sample site with the poison in each of its texts that may be any; return its lines' number of them."""
    lines, place, count = (SAMPLES / "site.toml").read_text(encoding="utf-8").splitlines(), folder / "site.toml", 0
    free = re.compile(r'^((?:name|inverter|load) = |carries = \[)("[^"]*")(.*)$')
    for k, line in enumerate(lines):
        if match := free.match(line):
            lines[k] = match[1] + _toml(match[2].strip('"') + POISON) + match[3]
            count += 1
    place.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert run(["check-site", str(place)]) == 0
    return count


def poisoned_log(place, export):
    """Write a log whose every text is poisoned."""
    assert run(["convert", str(export), "--out", str(place), "--zone", "UTC", "--meter", "bank shunt" + POISON]) == 0
    log = open_log(place)
    meta = replace(
        log.meta,
        profile=POISON,
        source=[{"name": POISON, "sha256": POISON}],
        markers=[(NOTE_US, "crates" + POISON), (NOTE_US + 300_000_000, "washed" + POISON)],
        moved=[POISON],
        remarks=[POISON, "x" + POISON],
        tool_version=POISON,
    )
    readings = list(log.scan())
    place.unlink()
    with new_log(place, list(log.quantities)) as writer:
        for part in readings:
            writer.write(to_batch(part))
        writer.finish(meta)
    assert POISON in json.loads(pq.read_metadata(place).metadata[METADATA_KEY])["tool_version"]


@pytest.fixture(scope="module")
def poisoned(tmp_path_factory):
    """Hold a site file, logs, exports and profiles with the poison wherever a text may stand, their names too."""
    folder = tmp_path_factory.mktemp("poisoned")
    plain = folder / "plain.csv"
    plain.write_text("\n".join(["time,current [A],voltage [V]", *ROWS, ""]), encoding="utf-8")
    assert poisoned_site(folder) > 10
    poisoned_log(folder / f"log{POISON}.parquet", plain)
    poisoned_log(folder / "b.parquet", plain)
    dirty, cell = POISON_OF_A_LINE, POISON_OF_A_CELL
    head = f"time,current{cell} [A],voltage \x1b]0;title\x07[V],remark"
    (folder / f"export{POISON}.csv").write_text("\n".join([head, *(f"{row},{cell}" for row in ROWS)]), encoding="utf-8")
    rejected = [f"{row},{cell}" if k % 40 else f"{cell},{cell},{cell},{cell}" for k, row in enumerate(ROWS)]
    (folder / f"rejects{POISON}.csv").write_text("\n".join([head, *rejected]), encoding="utf-8")
    (folder / "binary.csv").write_text("\n".join([head, *(f"{row},{dirty}" for row in ROWS)]), encoding="utf-8")
    unknown = "\n".join([f"time,b{cell}", *(row.rpartition(",")[0] for row in ROWS)])
    (folder / "unknown.csv").write_text(unknown, encoding="utf-8")
    (folder / "bytes.csv").write_bytes(b"time,current\x9b2J\xed\xb2\x9b [A]\n" + "\n".join(ROWS).encode())
    (folder / "notes.txt").write_text(
        f"2026-06-13\n10:02 900 W\n10:03 {dirty} 5\n10:04 0 W {dirty}\n", encoding="utf-8"
    )
    (folder / "wrong.toml").write_text(
        f"name = {_toml(POISON)}\n{_toml(POISON)} = 1\nzone = {_toml(POISON)}\n[{_toml('table' + POISON)}]\n"
    )
    (folder / "raw.toml").write_text(f'name = "{dirty}"\n', encoding="utf-8")
    (folder / "values.toml").write_text(
        (folder / "site.toml")
        .read_text(encoding="utf-8")
        .replace('chemistry = "', f'chemistry = "{_toml(POISON)[1:-1]}')
    )
    (folder / "profile.toml").write_text(
        f"name = {_toml(POISON)}\n[time]\ncolumn = {_toml(POISON)}\n[quantities.current_A]\ncolumn = {_toml(POISON)}\n"
    )
    (folder / f"damaged{POISON}.parquet").write_bytes(b"PAR1" + b"x" * 100 + b"PAR1")
    return folder


def commands(folder):
    """Return every command on every such file, and the texts of the poison among the arguments."""
    log, site = f"log{POISON}.parquet", ["--site", "site.toml"]
    export, damaged = f"export{POISON}.csv", f"damaged{POISON}.parquet"
    pump = "well pump" + POISON
    # All that a command has to say, then the same as JSON.
    for n, json_too in enumerate((["--explain"], ["--json"])):
        yield ["look", log, *json_too], True
        yield ["look", log, *site, *json_too], True
        yield ["charge", log, *json_too], True
        yield ["charge", log, *site, "--from", "crates" + POISON, *json_too], True
        yield ["cycles", log, *site, "--load", pump, *json_too], True
        yield ["compare", log, "b.parquet", *site, *json_too], True
        yield ["forecast", *site, "--load", pump, "--for", "15m", *json_too], True
        yield ["forecast", *site, "--load", pump, "--for", "15m", "--measured", log, *json_too], True
        yield ["check-site", "site.toml", *json_too], True
        yield ["fleet", ".", "--out", f"fleet{n}.parquet", "--workers", "1", *json_too], True
        yield (
            [
                "report",
                log,
                "b.parquet",
                *site,
                "--out",
                f"page{n}{POISON}.html",
                "--csv",
                f"t{n}{POISON}",
                *json_too[:n],
            ],
            True,
        )
        yield ["convert", export, "--out", f"c{n}{POISON}.parquet", "--zone", "UTC", *json_too], True
        yield ["convert", f"rejects{POISON}.csv", "--out", f"r{n}{POISON}.parquet", "--zone", "UTC", *json_too], True
        yield ["convert", log, "--out", f"again{n}.parquet", "--gap", "1h", *json_too], True
        yield ["convert", "bytes.csv", "--out", f"bytes{n}.parquet", "--zone", "UTC", *json_too], False
        yield (
            ["convert", "notes.txt", "--profile", "hand", "--out", f"hand{n}.parquet", "--zone", "UTC", *json_too],
            False,
        )
        yield ["ports", *json_too], False
    yield (
        [
            "convert",
            export,
            "--out",
            "explained.parquet",
            "--zone",
            "UTC",
            "--explain",
            "--keep-profile",
            f"k{POISON}.toml",
        ],
        True,
    )
    yield ["convert", "unknown.csv", "--out", "none.parquet"], True
    yield ["convert", "binary.csv", "--out", "none.parquet"], False
    yield ["convert", export, "--out", "none.parquet", "--profile", "profile.toml"], True
    for wrong in ("wrong.toml", "raw.toml", "values.toml", f"none{POISON}.toml"):
        yield ["check-site", wrong], wrong != "raw.toml"
        yield ["look", "b.parquet", "--site", wrong], wrong != "raw.toml"
    yield ["check-site", "profile.toml"], False
    for command in ("look", "charge", "cycles"):
        yield [command, damaged], True
        yield [command, f"none{POISON}"], True
    yield ["charge", log, "--from", POISON], True
    yield ["charge", log, "--zero-at", POISON], True
    yield ["cycles", log, *site, "--load", POISON], True
    yield ["report", log, "b.parquet", *site, "--changed-at", POISON, "--json"], True
    yield ["report", log, "--out", f"none{POISON}/x.html"], True
    yield ["forecast", *site, "--load", POISON, "--for", POISON], True
    yield ["fleet", POISON], True
    yield ["fleet", ".", "--site-dir", POISON], True
    yield ["probe", f"modbus-tcp:{POISON}"], True
    yield ["probe", f"modbus-rtu:{POISON}"], True
    yield ["capture", f"serial:{POISON}", "--out", "x.parquet"], True
    yield ["capture", "--site", "site.toml", "--out", "x.parquet"], False
    yield ["capture", "hand:", "--out", "x.parquet", "--mark", POISON], True
    yield [POISON], True
    yield ["look", "--" + POISON.replace("\n", "")], True


def test_a_terminal_obeys_nothing_in_any_output(poisoned):
    """Results, remarks, refusals and JSON show what the files hold, and none of it is a command."""
    every = list(commands(poisoned))
    results = on_terminal([words for words, _ in every], poisoned)
    wrong = [
        (words, status, sent[-2000:])
        for (words, shows_it), (status, sent) in zip(every, results, strict=True)
        if obeyed(sent, moving=words[0] == "fleet")
        or b"\nshuntbook: forged" in sent.replace(b"\r", b"")
        or status not in (0, 2, 3, 4)
        or (shows_it and b"owned" not in sent)  # what would not be shown at all would be no test
    ]
    assert wrong == []
    succeeded = {words[0] for (words, _), (status, _) in zip(every, results, strict=True) if status == 0}
    assert succeeded >= {"look", "charge", "cycles", "compare", "forecast", "check-site", "fleet", "report", "convert"}


def test_what_moves_obeys_nothing_either(poisoned):
    """The screen of a capture draws by commands of its own, and hands none through of a site file, name or note."""
    source = "replay:plain.csv?speed=300"
    text = (
        (poisoned / "site.toml")
        .read_text(encoding="utf-8")
        .replace('side = "dc"', f'side = "dc"\nsource = "{source}"', 1)
    )
    (poisoned / "live.toml").write_text(text, encoding="utf-8")
    words = ["capture", "--site", "live.toml", "--out", f"live{POISON}.parquet", "--mark", f"1s={POISON}"]
    [(status, sent)] = on_terminal([words], poisoned, alone=True)
    assert status == 0, sent
    assert b"\x1b[" in sent  # it did draw
    assert b"owned" in sent
    assert obeyed(sent, moving=True) == [], sent[-3000:]


@given(st.text(st.characters(exclude_categories=()), max_size=30))
def test_a_line_is_harmless_and_stays_as_it_is_the_second_time(text):
    """Whatever it holds; and what went through once is left alone."""
    once = harmless(text)
    assert obeyed(once.encode()) == []
    assert "\n" not in once
    assert harmless(once) == once


@given(st.text(st.characters(exclude_categories=()), max_size=30))
def test_json_escapes_by_its_own_rules(text):
    """The same text comes out of the document, halves of a pair among them, and no character of it is a command."""
    out = io.StringIO()
    with redirect_stdout(out):
        say_json([json.dumps({text: text}, ensure_ascii=False)])
    assert obeyed(out.getvalue().encode()) == []
    document = json.loads(out.getvalue())
    joined = text.encode("utf-16", "surrogatepass").decode("utf-16", "surrogatepass")
    assert document == {joined: joined}


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "ascii", "utf-16"])
def test_json_is_the_same_in_every_encoding(encoding):
    """A character that the stream lacks is escaped, not lost."""
    out = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="replace")
    with redirect_stdout(out):
        say_json([json.dumps({"name": "café 井戸 \U0001f6b0 \x9b"}, ensure_ascii=False)])
    assert json.loads(out.buffer.getvalue().decode(encoding)) == {"name": "café 井戸 \U0001f6b0 \x9b"}


@OF_ALL_MODULES
def test_nothing_else_writes_to_the_terminal():
    """No module but the door knows the streams; what libraries draw themselves is given one that the door made."""
    wrong = []
    for path in (path for room in ("analysis", "ingest", "cli") for path in sorted((ROOT / room).rglob("*.py"))):
        if path.name in ("door.py", "main.py") and path.parent.name == "cli":
            continue
        for node in nodes(path):
            name = (
                ast.unparse(node) if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
            )
            if name in ("print", "click.echo", "click.secho", "sys.stdout", "sys.stderr", "Console"):
                wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}: {name}")
    assert wrong == []


class StandIn(io.TextIOBase):
    """What a library puts in the place of standard error while it moves the screen: no terminal, by its own words."""

    def __init__(self, number):
        super().__init__()
        self.number = number

    def fileno(self):
        return self.number


def test_the_room_of_a_terminal_is_that_of_the_stream_behind_what_stands_for_it(monkeypatch):
    """Only the stream's number tells; without a stream, or where it is a file, there is no room."""
    controller, terminal = os.openpty()
    try:
        termios.tcsetwinsize(terminal, (50, 100))
        monkeypatch.setattr(sys, "stderr", StandIn(terminal))
        assert not has_terminal()
        assert terminal_room() == (100, 50)
    finally:
        os.close(controller)
        os.close(terminal)
    for none in (None, io.StringIO()):
        monkeypatch.setattr(sys, "stderr", none)
        assert terminal_room() is None
