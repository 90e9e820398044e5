"""Settings files that ask for more than a person's: told in one sentence, before they are parsed or reckoned with."""

from __future__ import annotations

import tomllib

import pytest
from exporting import shuntbook
from places import SAMPLES

from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.profiles.model import load_profile
from shuntbook.ingest.toml.bounds import LINE_MOST, beyond_bounds, refuse_unbounded
from shuntbook.ingest.toml.toml_file import LARGEST_BYTES

SITE = (SAMPLES / "site.toml").read_text(encoding="utf-8")
EXPORT = "time,current [A]\n2026-06-13T10:00:00Z,1\n2026-06-13T10:00:01Z,2\n"
#: What takes a reader of TOML, or what looks for mistakes, the square of its length.
UNBOUNDED = {
    "dotted key": ".".join(["a"] * 50_000) + " = 1\n",
    "dotted key of a line": ".".join(["a"] * 1_900) + " = 1\n",
    "dotted key in quotes": ".".join(['"a b"'] * 500) + " = 1\n",
    "dotted key with blanks": " . ".join(["a"] * 500) + " = 1\n",
    "dotted key inside": "x = { " + ".".join(["a"] * 500) + " = 1 }\n",
    "dotted header": "[" + ".".join(["a"] * 1_000) + "]\n",
    "long header": "[[" + "a" * 50_000 + "]]\n",
    "hexadecimal": f"zone = 0x{'f' * 50_000}\n",
    "digits": f"zone = {'9' * 50_000}\n",
    "quotes that do not end": 'zone = "' + '\\"' * 50_000 + "\n",
    "blanks": " " * 100_000 + "x\n",
    "brackets": "zone = " + "[" * 50_000 + "\n",
    "a log": "x = 1\n" * LARGEST_BYTES,
}


@pytest.mark.parametrize("text", UNBOUNDED.values(), ids=UNBOUNDED)
@pytest.mark.parametrize("command", ["check-site", "convert"])
def test_a_file_without_bounds_is_told_before_it_is_parsed(text, command, tmp_path, monkeypatch, capsys):
    """Nobody waits for it: not a character of it reaches the parser."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.toml").write_text(SITE + text if command == "check-site" else text, encoding="utf-8")
    (tmp_path / "a.csv").write_text(EXPORT, encoding="utf-8")
    monkeypatch.setattr(tomllib, "loads", lambda _: pytest.fail("it was parsed"))
    words = ["a.toml"] if command == "check-site" else ["a.csv", "--out", "b.parquet", "--profile", "a.toml"]
    assert run([command, *words]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert err.startswith("shuntbook: a.toml:")
    assert len(err) < 200


@pytest.mark.parametrize(
    "text",
    [
        SITE,
        "x" * LINE_MOST,
        "efficiency_curve = [" + "[300.5, 88.25], " * 200 + "]",
        'a.b."c.d.e.f.g.h.i.j.k.l.m.n.o.p.q.r.s.t".d = 1',
        "# " + ". " * 1000,
        'note = "' + "." * 1000 + '"',
    ],
)
def test_what_a_person_writes_is_within_them(text, tmp_path):
    """Points in texts, remarks and figures are no parts of a key."""
    refuse_unbounded(tmp_path / "a.toml", text)


@pytest.mark.parametrize("figure", [f"0x{'f' * 3_000}", "9" * 3_900, f"-0x{'f' * 17}".replace("-", ""), str(2**64)])
def test_a_number_that_nothing_counts_is_told_with_its_key(figure, tmp_path, capsys, monkeypatch):
    """Wherever it stands: also where no figure belongs, and in lists."""
    monkeypatch.chdir(tmp_path)
    for line in (f"capacity_Ah = {figure}", f"zone = {figure}", f"hp = [1, {figure}]", f"x = {{ y = {figure} }}"):
        (tmp_path / "a.toml").write_text(f'name = "x"\n[bank]\n{line}\n', encoding="utf-8")
        assert run(["check-site", "a.toml"]) == 2
        err = capsys.readouterr().err
        assert err.startswith("shuntbook: a.toml:3: bank.")
        assert "must be a figure of at most 19 digits" in err
        assert len(err) < 200


def test_a_register_s_64_bits_are_within_them():
    """As is the least whole number of TOML."""
    assert beyond_bounds({"not_a_value": [0xFFFF_FFFF_FFFF_FFFF, -(2**63)], "x": True}) == []
    assert beyond_bounds({"x": [{"y": 2**64}]}) == [("x", 0, "y")]


@pytest.mark.parametrize("figure", ["5e-324", "1e-300", "1e-10"])
@pytest.mark.parametrize(
    ("was", "key"),
    [
        ("capacity_Ah = 420", "capacity_Ah"),
        ("nominal_V = 24", "nominal_V"),
        ("continuous_VA = 3000", "continuous_VA"),
        ("power_factor = 0.58", "power_factor"),
        ("resolution_A = 0.01", "resolution_A"),
        ("usable_depth_pct = 50", "usable_depth_pct"),
    ],
)
def test_hardly_anything_is_no_figure(figure, was, key, tmp_path, capsys, monkeypatch):
    """What is divided by it would be infinite: it is told at its key."""
    monkeypatch.chdir(tmp_path)
    assert was in SITE
    (tmp_path / "a.toml").write_text(SITE.replace(was, f"{key} = {figure}"), encoding="utf-8")
    assert run(["check-site", "a.toml"]) == 2
    err = capsys.readouterr().err
    assert f"{key}: must be " in err
    assert "at least 1e-09" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "zone", ["localtime", "right/UTC", "posixrules", "..", "a/" * 1_500, "\u0130/x", "America", ""]
)
def test_a_zone_that_is_none_is_told(zone, tmp_path, capsys, monkeypatch):
    """Also what is a file beside those of the zones; in a site file and in a profile."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.toml").write_text(SITE.replace("Europe/London", zone), encoding="utf-8")
    assert run(["check-site", "a.toml"]) == 2
    err = capsys.readouterr().err
    assert "zone: must be the name of a time zone" in err
    assert len(err) < 300
    (tmp_path / "p.toml").write_text(f'zone = "{zone}"\n', encoding="utf-8")
    (tmp_path / "a.csv").write_text(EXPORT.replace("Z", ""), encoding="utf-8")
    status, out, err = shuntbook("convert", "a.csv", "--out", "b.parquet", "--profile", "p.toml")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert len(err) < 300


@pytest.mark.parametrize(
    "encoding", ["idna", "punycode", "undefined", "unicode_escape", "base64", "rot13", "x" * 3000, ""]
)
def test_an_encoding_of_no_text_is_told(encoding, tmp_path):
    """Python knows encodings that no export is written in; some of them fail at the first letter."""
    place = tmp_path / "p.toml"
    place.write_text(f'[file]\nencoding = "{encoding}"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"p\.toml:2: file\.encoding: is no encoding"):
        load_profile(str(place))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1", "cp1252", "shift_jis", "cp037"])
def test_an_encoding_of_texts_is_taken(encoding, tmp_path):
    """Whatever an export may be written in."""
    place = tmp_path / "p.toml"
    place.write_text(f'[file]\nencoding = "{encoding}"\n', encoding="utf-8")
    assert load_profile(str(place)).file.encoding == encoding


@pytest.mark.parametrize("line", ["scale = 0.0", "scale = 5e-324", "scale = 1e300", "offset = -1e300"])
def test_a_factor_that_none_is_is_told(line, tmp_path):
    """Readings times it would be nothing, or no number."""
    place = tmp_path / "p.toml"
    place.write_text(f'[quantities.current_A]\ncolumn = "A"\n{line}\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"p\.toml:3: quantities\.current_A\."):
        load_profile(str(place))
