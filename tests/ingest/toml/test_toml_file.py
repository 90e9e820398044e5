"""Reading TOML: every mistake is told, with its line, in plain words."""

from pathlib import Path
from typing import Annotated

import pytest
from pydantic import BaseModel, ConfigDict, Field, field_validator

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.toml.mistakes import MOST_TOLD
from shuntbook.ingest.toml.places import key_lines
from shuntbook.ingest.toml.toml_file import LARGEST_BYTES, read_toml

STRICT = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


class Crate(BaseModel):
    model_config = STRICT
    name: Annotated[str, Field(min_length=1)]
    mass_kg: Annotated[float, Field(gt=0, le=50)] = 1.0
    washed: bool = False


class Shed(BaseModel):
    model_config = STRICT
    title: str
    count: int = 0
    lid: Crate | None = None
    crates: Annotated[tuple[Crate, ...], Field(strict=False)] = ()
    by_row: dict[str, Crate] = {}
    made_of: str | int | Crate = "wood"

    @field_validator("title")
    @classmethod
    def _not_shouted(cls, title: str) -> str:
        if title.isupper():
            raise ValueError("must not be all capitals")
        return title


def write(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "shed.toml"
    path.write_bytes(text.encode(encoding))
    return path


def mistakes(folder: Path, text: str) -> list[str]:
    """Return the sentences about a file with this text, without the folder's name."""
    with pytest.raises(InputError) as caught:
        read_toml(write(folder, text), Shed)
    return str(caught.value).replace(str(folder / "shed.toml"), "shed.toml").split("\n")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_a_sound_file_is_read(tmp_path, encoding, line_end):
    """A byte order mark and either line end are welcome, and a whole number may stand for a decimal."""
    text = 'title = "Büchse"\n[[crates]]\nname = "a"\nmass_kg = 3\n'.replace("\n", line_end)

    shed = read_toml(write(tmp_path, text, encoding), Shed)

    assert shed.title == "Büchse"
    assert shed.crates == (Crate(name="a", mass_kg=3.0),)


def test_every_mistake_is_told_at_once_in_the_order_of_the_lines(tmp_path):
    """All mistakes of a file come together, each with line, key and what was given."""
    text = """title = "SHED"
count = 2.5
[lid]
name = ""
mass_kg = -200
washed = "yes"
[[crates]]
name = "a"
[[crates]]
mass_kg = inf
"""
    assert mistakes(tmp_path, text) == [
        "shed.toml:1: title: must not be all capitals (got 'SHED')",
        "shed.toml:2: count: must be a whole number (got 2.5)",
        "shed.toml:4: lid.name: must not be empty (got '')",
        "shed.toml:5: lid.mass_kg: must be greater than 0 (got -200)",
        "shed.toml:6: lid.washed: must be true or false; write washed = true (got 'yes')",
        "shed.toml:9: crates[2].name: is missing",
        "shed.toml:10: crates[2].mass_kg: must be a finite number (got inf)",
    ]


@pytest.mark.parametrize("value", ["true", '"3"', "[3]", "2024-05-01"])
def test_only_a_number_is_a_number(tmp_path, value):
    """Truth values, quoted digits, lists and dates are not taken for numbers."""
    (sentence,) = mistakes(tmp_path, f'title = "s"\nlid = {{ name = "a", mass_kg = {value} }}')

    assert sentence.startswith("shed.toml:2: lid.mass_kg: must be a number")


def test_a_misspelt_key_gets_the_near_one(tmp_path):
    """A key that is nearly right, also but for its capitals, is answered with the right one."""
    text = 'title = "s"\n[[crates]]\nname = "a"\nmas_KG = 3\n[by_row.first]\nname = "b"\nWashed = true\n'

    assert mistakes(tmp_path, text) == [
        "shed.toml:4: crates[1].mas_KG: there is no such key; did you mean mass_kg?",
        "shed.toml:7: by_row.first.Washed: there is no such key; did you mean washed?",
    ]


def test_an_unknown_key_gets_the_known_ones(tmp_path):
    """Where no key is near, those that may stand in this very table are listed."""
    assert mistakes(tmp_path, 'title = "s"\n[lid]\nname = "a"\nzebra = 1') == [
        "shed.toml:4: lid.zebra: there is no such key; known here: name, mass_kg, washed"
    ]


def test_single_and_double_brackets_are_told_apart(tmp_path):
    """The wrong kind of table is answered with the right brackets."""
    assert mistakes(tmp_path, 'title = "s"\n[[lid]]\nname = "a"\n[crates]\nname = "b"') == [
        "shed.toml:2: lid: must be one table: write [lid] in single brackets",
        "shed.toml:4: crates: must be a list of tables: write [[crates]] in double brackets",
    ]


def test_a_value_in_place_of_a_table_is_told(tmp_path):
    """A bare value where a table belongs, alone or in a list, is answered with how to begin a table."""
    assert mistakes(tmp_path, 'title = "s"\nlid = 3\ncrates = [4]') == [
        "shed.toml:2: lid: must be a table, begun by [lid] on a line of its own (got 3)",
        "shed.toml:3: crates[1]: must be a table (got 4)",
    ]


def test_a_missing_key_of_the_file_itself_has_no_line(tmp_path):
    """What should be at the top of the file has no line to point at."""
    assert mistakes(tmp_path, "count = 1") == ["shed.toml: title: is missing"]


def test_the_members_of_a_union_do_not_show(tmp_path):
    """A value that suits no member of a union is told by its own key alone."""
    assert all(
        line.startswith("shed.toml:2: made_of: must be ") for line in mistakes(tmp_path, 'title="s"\nmade_of=[]')
    )


def test_of_very_many_mistakes_the_first_are_told(tmp_path):
    """And how many more there are."""
    path = write(tmp_path, 'title = "x"\n' + "".join("[[crates]]\nmass_kg = 1\n" for _ in range(1000)))
    with pytest.raises(InputError) as caught:
        read_toml(path, Shed)
    *sentences, last = str(caught.value).split("\n")
    assert len(sentences) == MOST_TOLD
    assert "crates[1].name" in sentences[0]
    assert f"{1000 - MOST_TOLD} more" in last


def test_a_sentence_with_a_long_name_is_cut_short(tmp_path):
    """A key of any length is told by its beginning."""
    with pytest.raises(InputError) as caught:
        read_toml(write(tmp_path, f'title = "x"\n{"k" * 3900} = 1\n'), Shed)
    assert ":2: kkk" in str(caught.value)
    assert len(str(caught.value)) <= 1000


def test_a_long_value_is_cut_short(tmp_path):
    """A number of hundreds of digits does not fill the screen."""
    (sentence,) = mistakes(tmp_path, f'title = "s"\n[lid]\nname = "a"\nmass_kg = 1{"0" * 400}')

    assert sentence.startswith("shed.toml:4: lid.mass_kg: must be a figure of at most 19 digits")
    assert len(sentence) < 120


def test_lines_are_found_among_strings_lists_and_inline_tables():
    """What stands inside strings, comments, lists and inline tables is not taken for keys or tables."""
    text = '''title = """
[lid]
name = "not a key"
""""
note = \'\'\'
[[crates]] \'\'\'  # [lid]
curve = [
  [50, 70],  # = ]
  [300, 88],
]
lid = { name = "a = [", mass_kg = 3 }
"odd key" = 1
[[crates]]
  name = "first"
  [crates.label]
  text = "]"
[[ crates ]]
name.short = "second"
'''
    lines = key_lines(text)

    assert {key: line for key, line in lines.items() if line != 1} == {
        ("note",): 5,
        ("curve",): 7,
        ("lid",): 11,
        ("odd key",): 12,
        ("crates",): 13,
        ("crates", 0): 13,
        ("crates", 0, "name"): 14,
        ("crates", 0, "label"): 15,
        ("crates", "label"): 15,
        ("crates", 0, "label", "text"): 16,
        ("crates", 1): 17,
        ("crates", 1, "name"): 18,
        ("crates", 1, "name", "short"): 18,
    }
    assert lines[("title",)] == 1


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('title = "s"\ncount = 12 Ah', 2, 'text needs "quotes", a decimal a point'),
        ('title = "s"\ncount = 1,5', 2, 'text needs "quotes", a decimal a point'),
        ("title = 'a' b", 1, 'text needs "quotes", a decimal a point'),
        ('title = "shed\ncount = 1', 1, "opened but not closed; put the same quote at its end"),
        ("title = 'shed\ncount = 1  # it's", 1, "opened but not closed"),
        ('count = 1\ntitle = "shed', 2, "opened but not closed"),
        ('title = """shed\ncount = 1', 1, "opened but not closed"),
        ("title = '''shed\ncount = 1", 1, "opened but not closed"),
        ('title = "s"\n\ntitle = "t"', 3, "the same key is there a second time"),
        ('title = "s"\ncrates = [', 2, "invalid value"),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(tmp_path, text, line, words):
    """A slip in the notation is one sentence with its line."""
    (sentence,) = mistakes(tmp_path, text)

    assert sentence.startswith(f"shed.toml:{line}: is not valid TOML: ")
    assert words in sentence


@pytest.mark.parametrize(
    ("text", "sentences"),
    [
        ("title = shed", 'shed.toml:1: title: is not valid TOML; write title = "shed" (got shed)'),
        (
            'title = "s"\n[lid]\nname = "a"\nmass_kg = 1,5',
            "shed.toml:4: lid.mass_kg: is not valid TOML; write mass_kg = 1.5",
        ),
        (
            'title = "s"\n[lid]\nname = "a"\nwashed = yes # x',
            "shed.toml:4: lid.washed: is not valid TOML; write washed = true",
        ),
        (
            'title = "s"\n[lids]\nname = "a"',
            "shed.toml:2: lids: there is no table [lids]: write [lid] in single brackets",
        ),
        ('title = "s"\n[[crate]]\nname = "a"', "shed.toml:2: crate: there is no table [[crate]]: write [[crates]]"),
        (
            'title = "s"\n[crates.first]\nmass_kg = 2',
            "shed.toml:2: crates: must be a list of tables, each with its name",
        ),
    ],
)
def test_what_was_meant_is_answered_with_the_line_to_write(tmp_path, text, sentences):
    """Where a line can mean one thing only, it is put right, and the rest is read."""
    assert mistakes(tmp_path, text)[0].startswith(sentences)


def test_a_table_that_is_there_under_both_names_is_not_put_right(tmp_path):
    """Which of the two is meant nobody can tell: the one that nothing has is told as such."""
    (sentence,) = mistakes(tmp_path, 'title = "s"\n[lid]\nname = "a"\n[lids]\nname = "b"')
    assert sentence.startswith("shed.toml:4: lids: there is no such key")


def test_lists_nested_without_end_are_told(tmp_path):
    """A file nested so deep that the reader gives up is a sentence, not a fault of ours."""
    (sentence,) = mistakes(tmp_path, "title = " + "[\n" * 50_000)

    assert "nested too deeply" in sentence


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"\xff\xfet\x00i\x00", "is not text in UTF-8"),
        (b"PAR1\x00\x00", "is not a text file"),
        (b"#" * (LARGEST_BYTES + 1), "too large"),
    ],
)
def test_a_file_of_another_kind_is_told(tmp_path, raw, words):
    """A wide-character text, a binary file and a huge one are each told for what they are."""
    path = tmp_path / "shed.toml"
    path.write_bytes(raw)

    with pytest.raises(InputError, match=words):
        read_toml(path, Shed)


def test_a_folder_and_a_missing_file_are_told(tmp_path):
    """A folder, and a file that is not there, are each told for what they are."""
    with pytest.raises(InputError, match="is a folder"):
        read_toml(tmp_path, Shed)
    with pytest.raises(InputError, match="there is no such file"):
        read_toml(tmp_path / "none.toml", Shed)
    with pytest.raises(InputError, match="cannot be read"):
        read_toml(Path("a\0b"), Shed)
