"""A person's TOML text changed by path: what is not changed stays byte for byte."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.toml.edit import edited, literal

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")


def paths(node, where=()):
    """Yield the path of each value that is no table."""
    if isinstance(node, dict) or (isinstance(node, list) and node and isinstance(node[0], dict)):
        for step, inner in node.items() if isinstance(node, dict) else enumerate(node):
            yield from paths(inner, (*where, step))
    else:
        yield where


def at(data, where):
    """Return what stands at a path."""
    for step in where:
        data = data[step]
    return data


VALUES = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-(2**60), 2**60),
    st.booleans(),
    st.text(st.characters(codec="utf-8"), max_size=30),
    st.lists(st.floats(0, 1e6), max_size=3),
)
WORDS = st.sampled_from(["bank", "name", "x", "a b", "größe", "key-1"])
TABLES = st.dictionaries(WORDS, VALUES, min_size=1, max_size=4)


@st.composite
def texts(draw):
    """Return a text with remarks, blank lines, uneven spaces, tables and lists of tables."""
    lines = [f"# {draw(st.text(st.characters(codec='utf-8', exclude_categories=['C', 'Zl', 'Zp']), max_size=9))}"]
    headers = sorted(draw(st.lists(st.sampled_from(["", "[t{}]", "[[list]]"]), min_size=1, max_size=5)), key=bool)
    for n, header in enumerate(headers):
        lines += [header.format(n)] if header else [""]
        for key, value in draw(TABLES).items():
            if header or n == 0:
                indent, space = draw(st.sampled_from(["", "  ", "\t"])), draw(st.sampled_from(["", " ", "  "]))
                remark = draw(st.sampled_from(["", "  # remark", "\t# = [x]"]))
                lines.append(f"{indent}{literal(key)}{space}={space}{literal(value)}{remark}")
        lines += draw(st.lists(st.sampled_from(["", "# ---- [next] ----"]), max_size=2))
        if not header and n:
            lines.append("")
    return draw(st.sampled_from(["\n", "\r\n"])).join(lines) + draw(st.sampled_from(["", "\n"]))


@given(texts(), st.data())
def test_one_value_changed_leaves_every_other_line(text, data):
    """Byte for byte; and the value reads back."""
    before = tomllib.loads(text.replace("\r\n", "\n"))
    where, value = data.draw(st.sampled_from(sorted(paths(before), key=repr))), data.draw(VALUES)
    after = edited(text, {where: value})
    assert at(tomllib.loads(after.replace("\r\n", "\n")), where) == value
    old, new = text.split("\n"), after.split("\n")
    assert len(old) == len(new)
    assert sum(one != other for one, other in zip(old, new, strict=True)) <= 1


@given(texts(), st.data())
def test_one_value_taken_away_leaves_every_other_line(text, data):
    """A line less; all others are there."""
    where = data.draw(st.sampled_from(sorted(paths(tomllib.loads(text.replace("\r\n", "\n"))), key=repr)))
    old, new = text.split("\n"), edited(text, {where: None}).split("\n")
    assert len(old) - len(new) in (0, 1)  # the last line has no end to take away
    assert any([*old[:k], *old[k + 1 :]] == new or [*old[:k], "", *old[k + 1 :]] == new for k in range(len(old)))


@given(texts(), st.data())
def test_what_is_added_leaves_every_line(text, data):
    """New keys and tables are lines between those that are there."""
    tables = sorted({where[:-1] for where in paths(tomllib.loads(text.replace("\r\n", "\n")))}, key=repr)
    where = (*data.draw(st.sampled_from([*tables, ("new",)])), "added")
    after = edited(text, {where: data.draw(VALUES)})
    left = iter(after.split("\n"))
    assert all(any(line.rstrip("\r") == each.rstrip("\r") for each in left) for line in text.rstrip("\r\n").split("\n"))


def test_a_new_value_keeps_the_remark_and_its_column():
    """The line reads as before, and remarks stand below one another."""
    after = edited(SAMPLE, {("bank", "capacity_Ah"): 1200.5})
    assert "capacity_Ah = 1200.5                # of the whole bank: two strings of 210 Ah each\n" in after
    assert edited(SAMPLE, {("bank", "capacity_Ah"): 420.0}) == SAMPLE


def test_a_new_key_stands_in_its_table_above_the_remarks_on_the_next():
    """Below the last key that is there, not below the next part's heading."""
    after = edited(SAMPLE, {("bank", "max_charge_A"): 50.0, ("zone",): "UTC"})
    lines = after.split("\n")
    assert lines[lines.index("max_charge_A = 50") - 1].startswith("currency")
    assert 'zone = "UTC"                        # whose' in after


def test_new_tables_stand_beside_their_like_or_at_the_end():
    """An item of a list below the last one, with an empty line between; another table behind all."""
    after = edited(
        SAMPLE,
        {("inverters", 2, "name"): "barn", ("inverters", 2, "continuous_W"): 800.0, ("units", "pressure"): "bar"},
    )
    assert 'cut_off_V = 21.0\n\n[[inverters]]\nname = "barn"\ncontinuous_W = 800\n\n# ---- Loads' in after
    assert after.endswith('\n\n[units]\npressure = "bar"\n')


def test_a_table_goes_with_its_keys_and_the_remarks_behind_it_stay():
    """They speak of what follows."""
    after = edited(SAMPLE, {("water",): None, ("inverters", 0): None})
    assert "\ntank_volume_gal" not in after
    assert "# ---- Meters: accuracy as their data sheets give it" in after
    assert "# altitude_m = 300" in after
    assert [each["name"] for each in tomllib.loads(after)["inverters"]] == ["seedling house inverter"]


def test_a_key_gets_another_name_and_keeps_its_line():
    """A figure that is given in another unit has another key."""
    after = edited(SAMPLE, {("water", "cut_in_kPa"): 280.0}, {("water", "cut_in_psi"): "cut_in_kPa"})
    assert after == SAMPLE.replace("cut_in_psi = 40\n", "cut_in_kPa = 280\n")


@pytest.mark.parametrize(
    ("text", "changes", "right"),
    [
        ("", {("name",): "x"}, 'name = "x"\n'),
        ("", {("bank", "nominal_V"): 24.0}, "[bank]\nnominal_V = 24\n"),
        ("[bank]", {("bank", "nominal_V"): 24.0}, "[bank]\nnominal_V = 24\n"),
        ("# mine\n[bank]\n", {("name",): "x"}, 'name = "x"\n# mine\n[bank]\n'),
        ("bank.nominal_V = 12\n", {("bank", "nominal_V"): 24.0}, "bank.nominal_V = 24\n"),
        ("bank = {nominal_V = 12}\n", {("bank", "nominal_V"): 24.0}, "bank = {nominal_V = 24}\n"),
        ("bank = {nominal_V = 12}\n", {("bank", "x"): 1}, "bank = {nominal_V = 12,x = 1}\n"),
        ("loads = [{name = 'a'}]\n", {("loads", 0, "name"): "b"}, 'loads = [{name = "b"}]\n'),
        ("loads = [{name = 'a'}]\n", {("loads", 1, "name"): "b"}, None),
        ("a = '''\nx\n'''\nb = 1\n", {("a",): None}, "b = 1\n"),
        ("a = true\nb = 1\n", {("a",): None}, "b = 1\n"),
        ("a = true # on\n", {("a",): False}, "a = false # on\n"),
        ("[[x]]\na = 1\n[x.y]\nb = 1\n[z]\n", {("x", 0): None}, "[z]\n"),
        ("[x.y]\nb = 1\n", {("x", "a"): 1}, None),
        ("[b]\nx = 1\n[c]\n[b.d]\ny = 1\n", {("b", "d", "y"): 2}, "[b]\nx = 1\n[c]\n[b.d]\ny = 2\n"),
        ("\ufeffa = 1\r\n", {("a",): 2, ("b",): 3}, "\ufeffa = 2\r\nb = 3\r\n"),
        ("[[x]]\na = 1\n[[x]]\na = 2\n", {("x",): None}, ""),
        ("[[x]]\n[[x]]\n[[x]]\n[y]\n", {("x", 3, "a"): 1}, "[[x]]\n[[x]]\n[[x]]\n\n[[x]]\na = 1\n[y]\n"),
        ("[[x]]\na = 1\n", {("x", 1): {"a": 2, "b": [1, 2]}}, "[[x]]\na = 1\n\n[[x]]\na = 2\nb = [1, 2]\n"),
        ("[[x]]\n[[x.y]]\n[[x.y]]\nb = 1\n[z]\n", {("x", 0): None}, "[z]\n"),
        ("a = [1, 2]\n", {("a", 1): 3, ("a", 2): 4}, "a = [1, 3, 4]\n"),
        ("a = [1, 2] # two\n", {("a", 0): None}, "a = [2] # two\n"),
        ("a = [1, 2, 3] # three\n", {("a", 0): None, ("a", 1): None}, "a = [3] # three\n"),
        ("[[x]]\na = 1\n[[x]]\na = 2\n[[x]]\na = 3\n", {("x", 1): None, ("x", 0): None}, "[[x]]\na = 3\n"),
        ("a = 'x'\nb = [1]\n", {("a", 0): None, ("b", 1): None, ("c",): None, ("d", "e"): None}, "a = 'x'\nb = [1]\n"),
        ("a = 1    # one\n", {("a",): 12345}, "a = 12345 # one\n"),
        ("a = 1    # one\n", {("a",): 12345678}, "a = 12345678 # one\n"),
        ("a = {b = 1}\n", {("a",): {"c": 2}}, "a = { c = 2 }\n"),
        ("a = {b = 1, c = 2}\n", {("a", "b"): None}, "a = { c = 2}\n"),
    ],
)
def test_texts_in_other_forms(text, changes, right):
    """Whatever form TOML allows."""
    after = edited(text, changes)
    assert after == right or right is None
    for where, value in changes.items():
        if value is not None:
            assert at(tomllib.loads(after.removeprefix("\ufeff").replace("\r\n", "\n")), where) == value


def test_what_is_no_toml_is_left_alone():
    """It is told, and nothing is changed by halves."""
    with pytest.raises(InputError, match="not valid TOML as it stands"):
        edited("bank = 24 V", {("name",): "x"})


APART = "[[x]]\na = 1 # one\n[b]\nc = 1\n[[x]]\na = 2\n[x.y]\nz = 1\n[d]\n[[x]] # last\na = 3\n"


@pytest.mark.parametrize(
    ("changes", "old", "new"),
    [
        ({("b", "c"): 2}, "c = 1", "c = 2"),
        ({("x", 0, "a"): 5}, "a = 1 # one", "a = 5 # one"),
        ({("x", 2, "a"): "x-1-"}, "a = 3", 'a = "x-1-"'),
        ({("x", 1, "y", "z"): 5}, "z = 1", "z = 5"),
        ({("x", 1): None}, "[[x]]\na = 2\n[x.y]\nz = 1\n", ""),
        ({("x", 3, "a"): 4}, "a = 3\n", "a = 3\n\n[[x]]\na = 4\n"),
    ],
)
def test_a_list_of_tables_in_several_places_stays_there(changes, old, new):
    """As where one was added at the end of the file."""
    for end in ("\n", "\r\n"):
        before, after = APART.replace("\n", end), APART.replace(old, new, 1).replace("\n", end)
        assert edited(before, changes) == after


def test_a_list_in_several_places_is_not_taken_away_as_a_whole():
    """Its items are, one by one."""
    with pytest.raises(InputError, match="change it in an editor"):
        edited(APART, {("x",): None})
