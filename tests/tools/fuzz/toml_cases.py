"""Site files and source profiles of wrong shapes."""

from __future__ import annotations

import random
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from places import ROOT
from terminals import POISON

from .case import Case
from .csv_cases import table
from .damage import bytes_damaged
from .law import run_commands
from .log_cases import plain_log

_PROFILE = """name = "shunt"
side = "dc"
sampling = "instant"
counter = "net"
zone = "UTC"
gap = "150s"
[file]
delimiter = "comma"
decimal = "point"
encoding = "utf-8"
header_line = 1
[time]
column = 1
[quantities.current_A]
column = 2
unit = "A"
scale = 1.0
offset = 0.0
sign = "draw_positive"
[quantities.voltage_V]
column = 3
[serial]
baud = 9600
layout = "pattern"
pattern = '(?P<volts>\\d+\\.\\d+) (?P<amps>-?\\d+\\.\\d+)'
[serial.checksum]
kind = "xor8"
[modbus]
unit = 1
[modbus.registers.voltage_V]
address = 4
type = "uint16"
scale = 0.1
"""
_VALUES: tuple[Any, ...] = (
    0, 1, -1, -0.5, 2.5, 10**30, 10**400, -(10**400), 1e308, 1e-308, float("inf"), float("nan"), True, False, "", " ",
    "x", "A", "V" * 5000, "\x1b[31m", "\u202eabc", "1", "inf", "comma", "UTC", "Mars/Base", "utf-16", "idna", "zlib",
    "150s", "-1s", "1e400s", [], [1, 2], [[]], [[[1]]], ["x"] * 3, {}, {"a": 1}, [{}], [{"name": "x"}],
    [{"name": "x"}, {"name": "x"}], "(a+)+$", "(?P<a>a*a*a*a*a*a*b)", "(?P<a>(x|x)*y)", "(?P<a>[", "(?P<a>" * 200,
    "(?P<a>\\d{1,9999999})", "(?i)(?P<v>.*.*.*x)", 5e-324, 1e-300, 1e-10, 1e-9, 1e15, 1e16, 2**63, 2**64, 16**3000,
    "unicode_escape", "base64", "localtime", "right/UTC", "a/" * 1500, "..", "\u0130/\u00df", "x" * 201, POISON,
)  # fmt: skip


@cache
def _site_text() -> str:
    return (ROOT / "sample_data" / "site.toml").read_text(encoding="utf-8")


def make(rng: random.Random) -> Case:
    """Return a wrong site file or profile, and what reads it."""
    is_site = rng.random() < 0.6
    text = _site_text() if is_site else _PROFILE
    match rng.randrange(6):
        case 0:
            wrong = bytes_damaged(text.encode(), rng, 6)
        case 1:
            wrong = lines_moved(text, rng).encode()
        case 2 if rng.random() < 0.1:
            wrong = _too_much(text, rng).encode()
        case _:
            wrong = written(values_changed(tomllib.loads(text), rng)).encode("utf-8", "replace")
    return _site_case(wrong, rng) if is_site else _profile_case(wrong)


def _site_case(wrong: bytes, rng: random.Random) -> Case:
    calls = [["check-site", "site.toml"], ["charge", "plain.parquet", "--site", "site.toml", "--json"]]
    if rng.random() < 0.1:
        calls.append(["report", "plain.parquet", "--site", "site.toml", "--json"])
    if rng.random() < 0.2:
        calls.append(["forecast", "--site", "site.toml", "--for", "15m", "--json"])
    return Case("toml", files={"site.toml": wrong, "plain.parquet": plain_log()}, calls=calls)


def _profile_case(wrong: bytes) -> Case:
    made = table(random.Random(1))
    files = {"p.toml": wrong, "a.csv": "\n".join([made.header, *made.lines, ""]).encode()}
    rejects = "log.parquet.rejects.csv"
    known = {"may_write": ["log.parquet", rejects], "may_leave": [rejects]}
    convert = ["convert", "a.csv", "--profile", "p.toml", "--zone", "UTC", "--out", "log.parquet", "--json"]
    return Case("toml", files=files, calls=[convert], known=known)


def lines_moved(text: str, rng: random.Random) -> str:
    """Return a text of which a few lines are gone, twice there, or no TOML."""
    lines = text.split("\n")
    for _ in range(rng.randint(1, 5)):
        k = rng.randrange(len(lines))
        match rng.randrange(4):
            case 0:
                lines.insert(rng.randrange(len(lines)), lines[k])
            case 1:
                del lines[k]
            case 2:
                lines[k] = (
                    lines[k].partition("=")[0]
                    + "= "
                    + rng.choice(["", "[", "{", "'", '"""', "1.2.3", "1_", "+", "true false"])
                )
            case 3:
                lines[k] = (
                    rng.choice(["[", "[[", "[[loads", "[bank]", "[[bank]]", "[loads]", "a.b.c = 1", "= 1", '"" = 1'])
                    + lines[k]
                )
    return "\n".join(lines)


def _too_much(text: str, rng: random.Random) -> str:
    return text + rng.choice(
        [
            "\n" + "".join(f'[[loads]]\nname = "load {k}"\nvoltage_V = 24\ncurrent_A = 1\n' for k in range(10_000)),
            "\nx = " + "[" * 20_000,
            "\nx = " + "{a=" * 500 + "1" + "}" * 500,
            "\n[" + ".".join("a" * 3000) + "]\n",
            "\nx = " + "9" * 100_000,
            "\nx = 0x" + "f" * rng.choice([17, 3000, 100_000]),
            "\n" + ".".join("a" * rng.choice([15, 17, 1900, 50_000])) + " = 1",
            "\nx = { " + " . ".join(["'a'"] * rng.choice([15, 17, 400])) + " = 1 }",
            "\n" + "\n".join(".".join(["a", *"bcdefghijklm", f"k{k}"]) + " = 1" for k in range(10_000)),
            '\nx = "' + '\\"' * rng.choice([1900, 50_000]),
            "\nx = [" + "\n[" * 20_000,
            "\n#" + "x" * 3_900_000,
            "\n#" + "x" * 4_100_000,
            "\n" + "".join(f"k{k} = {k}\n" for k in range(50_000)),
            '\nx = """' + '"' * 100_000,
        ]
    )


def values_changed(data: Any, rng: random.Random) -> Any:
    """Return tables in which a few values, keys or items are others."""
    places = list(_places(data))
    for _ in range(rng.choice([1, 1, 1, 2, 5])):
        node, key = rng.choice(places)
        if (isinstance(node, dict) and key not in node) or (isinstance(node, list) and key >= len(node)):
            continue
        match rng.choice([0, 3, 3, 3, 3, 4, 5]):
            case 0:
                node[key] = rng.choice(_VALUES)
            case 3:
                node[key] = _nudged(node[key], rng)
            case 4:
                del node[key]
            case 5 if isinstance(node, dict):
                node[str(key) + rng.choice(["", "x", "_V", " ", "\u00e9", "_W"])] = node.pop(key)
    return data


def _nudged(value: Any, rng: random.Random) -> Any:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value * rng.choice([0, -1, 0.5, 1e-9, 1e9, 1e100, 1000])
    return [value] if rng.random() < 0.5 else {"a": value}


def _places(node: Any) -> list[tuple[Any, Any]]:
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    places: list[tuple[Any, Any]] = []
    for key, value in list(inner):
        places += [(node, key), *_places(value)]
    return places


def written(data: dict[str, Any]) -> str:
    """Return tables as TOML, the inner ones inline."""
    lines = []
    tables = []
    for key, value in data.items():
        if isinstance(value, dict) and value:
            tables += [f"[{_text(key)}]", *(f"{_text(k)} = {_value(v)}" for k, v in value.items())]
        elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
            for item in value:
                tables += [f"[[{_text(key)}]]", *(f"{_text(k)} = {_value(v)}" for k, v in item.items())]
        else:
            lines.append(f"{_text(key)} = {_value(value)}")
    return "\n".join([*lines, *tables, ""])


def _value(value: Any) -> str:
    match value:
        case bool():
            return str(value).lower()
        case str():
            return _text(value)
        case dict():
            return "{" + ", ".join(f"{_text(k)} = {_value(v)}" for k, v in value.items()) + "}"
        case list():
            return "[" + ", ".join(map(_value, value)) + "]"
        case int() if abs(value) >= 2**63:
            return f"0x{value:x}" if value > 0 else "9" * 400
    return repr(value)


def _text(text: str) -> str:
    return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\U{ord(c):08x}" for c in str(text)) + '"'


def run(case: Case, folder: Path) -> str:
    """Run the commands and return how each ended."""
    return "/".join(str(result["status"]) for result in run_commands(case, folder))
