"""The profiles of sample_data, which people copy: each is one, and together they hold every key that there is."""

import re
import tomllib
from typing import get_args

import pytest
from places import SAMPLES
from pydantic import BaseModel

from shuntbook.ingest.live.line_reader import LineReader
from shuntbook.ingest.live.lines import covered
from shuntbook.ingest.profiles.model import Profile
from shuntbook.ingest.quantities import QUANTITIES

TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in sorted(SAMPLES.glob("profile*.toml"))}
#: A line that is an example of a key, though commented out: `# sign = "return_positive"`.
EXAMPLE = re.compile(r"^# (\w+ = .+)$", re.MULTILINE)
#: What must go where such a key is taken, since only one of them can be.
INSTEAD_OF = {
    "minus": (r"\[quantities\.current_A\.direction\](.*\n)*?\n", ""),
    "pattern": (r'layout = "fields"((.*\n)*?)delimiter.*\nfields.*\n', r'layout = "pattern"\1'),
}


def keys_of(model):
    """Yield every key of a part of a profile and of what lies in it, as it is written."""
    for name, entry in model.model_fields.items():
        yield entry.alias or name
        for inner in models_in(entry.annotation):
            yield from keys_of(inner)


def models_in(annotation):
    """Yield the models that a key's type holds, such as that of `dict[str, Model]`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from models_in(part)


def test_every_key_of_a_profile_is_explained():
    """What a profile may say can be looked up where people copy from; likewise each quantity."""
    written = "\n".join(TEXTS.values())
    keys = set(keys_of(Profile))
    assert {"delimiter", "return", "with_mark", "byte_order", "nth"} <= keys
    tables = {"file", "time", "quantities", "serial", "checksum", "modbus", "registers", "sunspec"}
    assert {key for key in keys - tables if not re.search(rf"\b{key} = ", written)} == set()
    assert {key for key in tables if not re.search(rf"\[(\w+\.)*{key}\b", written)} == set()
    assert {name for name in QUANTITIES if not re.search(rf"\b{name}\b", written)} == set()


@pytest.mark.parametrize("name", TEXTS)
def test_a_sample_is_a_profile(name):
    """As it stands, and with any one of the lines that are commented out."""
    Profile.model_validate(tomllib.loads(TEXTS[name]))
    examples = list(EXAMPLE.finditer(TEXTS[name]))
    assert len(examples) > 3
    for example in examples:
        text = TEXTS[name][: example.start()] + example[1] + TEXTS[name][example.end() :]
        key = example[1].split(" = ")[0]
        if key in INSTEAD_OF:
            text, count = re.subn(*INSTEAD_OF[key], text)
            assert count == 1
        Profile.model_validate(tomllib.loads(text))


def test_the_line_that_the_serial_sample_shows_is_read():
    """Its checksum is right, and the sign of its amps is turned."""
    profile = Profile.model_validate(tomllib.loads(TEXTS["profile_serial"]))
    line = re.search(r"here (\S+)$", TEXTS["profile_serial"], re.MULTILINE)[1]
    inside = covered(line.encode(), profile.serial.checksum).decode()
    assert LineReader(profile.serial, profile.quantities).read(inside) == {"voltage_V": 24.81, "current_A": 32.1}
