"""Options and what is said of them: each is documented, and each that is documented is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import click
import pytest
from places import ROOT
from syntax import OF_ALL_MODULES, nodes

import shuntbook
from shuntbook.cli.main import COMMANDS, group, run

PACKAGE = Path(shuntbook.__file__).parent
GUIDES = ("README.md", "sample_data/README.md", "DEVELOPERS.md")
#: A long option as a text names it, and not a part of a longer word or the variable of a style sheet, `var(--x)`.
OPTION = re.compile(r"(?<![\w\-(])--[a-z][a-z-]*[a-z]\b")
#: Those that click gives every command.
FOREIGN = {"--help", "--version"}


def options_of(name):
    """Return the long options of a command."""
    command = group.get_command(click.Context(group), name)
    return {long for option in command.params for long in option.opts if long.startswith("--")}


ALL = {name: options_of(name) for name in COMMANDS}
ANY = set().union(*ALL.values()) | FOREIGN


def command_lines(text):
    """Yield the command and the options of each line of a guide that runs one of ours."""
    for line in re.findall(r"shuntbook ([^`\n]+)", text):
        name, *words = line.split(" #")[0].split()
        if name in ALL:
            yield name, [word for word in words if OPTION.fullmatch(word)]


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_says_what_it_does(name):
    """Every option and the command itself have a help text, which ends as a sentence does."""
    command = group.get_command(click.Context(group), name)
    assert "Example: shuntbook" in command.help
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, option.opts
            assert option.help.endswith("."), option.opts


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_stands_in_the_readme(name):
    """Whoever reads the README alone meets every option of every command."""
    told = set(OPTION.findall((ROOT / "README.md").read_text(encoding="utf-8")))
    assert ALL[name] <= told | FOREIGN, ALL[name] - told


@pytest.mark.parametrize("guide", GUIDES)
def test_each_option_of_a_guide_is_there(guide):
    """A command line that a guide prints uses options of that command."""
    lines = list(command_lines((ROOT / guide).read_text(encoding="utf-8")))
    assert lines or guide == "DEVELOPERS.md"
    for name, options in lines:
        assert set(options) <= ALL[name] | FOREIGN, name


def test_each_option_of_the_readme_is_there():
    """Also outside command lines, the README and the tutorial name no option that no command has."""
    for guide in GUIDES[:2]:
        assert set(OPTION.findall((ROOT / guide).read_text(encoding="utf-8"))) <= ANY, guide


def texts(path):
    """Yield the texts of a module that may be shown: its strings, but for those that document it."""
    for node in nodes(path):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


@OF_ALL_MODULES
def test_each_option_that_a_sentence_names_is_there():
    """What a sentence, a help text or a page tells somebody to add exists."""
    named = {
        (path.relative_to(PACKAGE).as_posix(), option)
        for room in ("ingest", "analysis", "cli")
        for path in sorted((PACKAGE / room).rglob("*.py"))
        for text in texts(path)
        for option in OPTION.findall(text)
    }
    assert len({option for _, option in named}) > 20
    assert {(path, option) for path, option in named if option not in ANY} == set()


@pytest.mark.parametrize("name", COMMANDS)
def test_an_option_of_other_commands_is_answered_with_their_names(name, capsys):
    """Whoever knows it from one of them learns which; what none has keeps the nearest known one."""
    for option in sorted(ANY - ALL[name] - FOREIGN):
        others = [other for other in COMMANDS if option in ALL[other]]
        assert run([name, option, "10:30"]) == 2
        said = capsys.readouterr().err
        assert said.startswith(f"shuntbook: no such option '{option}' here, but "), said
        listed, _, rest = said.partition("here, but ")[2].partition(" it; see ")
        assert re.findall(r"[\w-]+", listed.removesuffix(" has").removesuffix(" have").replace(" and ", " ")) == others
        assert rest.strip() == f"shuntbook {name} --help"
    assert run([name, "--explainn"]) == 2
    assert " here, but " not in capsys.readouterr().err
