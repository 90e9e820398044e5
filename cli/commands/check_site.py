"""The command that checks a site file and says what it means."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.check_site.contradictions import contradictions
from ...analysis.check_site.description import describe
from ...analysis.equipment.conductor import check_conductors
from ...analysis.forecast.bank_check import bank_by_plates
from ...analysis.site.site import Site
from ...ingest.toml.toml_file import read_toml
from ..render.documents.parts import document_of, print_json
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.site import site_answer


@click.command("check-site")
@click.argument("site", type=click.Path(path_type=Path))
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(site: Path, explain: bool, as_json: bool) -> None:
    """Check a site file and say what it means in plain words.

    Every mistake is told with its line. Figures that are possible but do not go together are warnings.

    Example: shuntbook check-site site.toml
    """
    checked = read_toml(site, Site)
    meaning, warnings = describe(checked), contradictions(checked)
    # A file that is possible, though odd, ends with status 0: warnings are for people.
    if as_json:
        bank = document_of(bank_by_plates(checked, checked.loads))
        document = {"site": checked.name, "description": meaning, "warnings": warnings, "bank": bank}
        print_json(document | {"conductors": document_of(check_conductors(checked))})
        return
    say_answer(site_answer(checked, meaning, warnings), explain=explain)
