"""From an empty folder to the pump's amp-hours at the desk, in a real browser, without a word typed in a terminal."""

import json
import re
import sys
import time
from contextlib import contextmanager

import pytest
from browsers import as_wide_as, browser, faults, until
from desks import desk, let_in
from selenium.webdriver.common.by import By
from selenium.webdriver.support.select import Select
from short_cycling import RUNS, short_cycling
from telling import told

#: What somebody reads off the plates, by the fields' names; a choice is one of a list.
PLATES = {
    "name": "Hillside",
    "bank.nominal_V": "12",
    "bank.capacity_Ah": "400",
    "inverters.0.continuous_W": "1500",
    "loads.0.hp": "1/2",
}
#: A file comes to the page as from a file manager: what is dropped has a name and bytes, and no path.
DROP = """
const carried = new DataTransfer();
carried.items.add(new File([arguments[0]], arguments[1]));
document.querySelector("[data-drop]").dispatchEvent(
  new DragEvent("drop", {bubbles: true, cancelable: true, dataTransfer: carried}));
"""
#: More would be asked of a person than the answer is worth: a file, its sign, its reading, the plates, where to go on.
MOST_DECISIONS = 15


class Hands:
    """A person's hands: they press, type and choose, and each of that is a decision."""

    def __init__(self, driven, client):
        self.driven, self.client = driven, client
        self.decisions, self._began = [], time.monotonic()

    @property
    def took_s(self):
        """How long it took until now, as quick as the hands are."""
        return time.monotonic() - self._began

    def sees(self, selector, words=""):
        """Wait until something with such words can be seen, and return it."""

        def seen():
            found = [each for each in self.driven.find_elements(By.CSS_SELECTOR, selector) if each.is_displayed()]
            return next((each for each in found if words in each.text), None)

        return until(lambda: _steady(seen), f"{selector} {words!r}")

    def presses(self, selector, words=""):
        """Press what has such words."""
        pressed = self.sees(selector, words)
        self.decisions.append(words or pressed.text)
        self.driven.execute_script("arguments[0].scrollIntoView({block: 'center'})", pressed)
        pressed.click()

    def types(self, name, text):
        """Type into a field, or choose from its list."""
        field = self.sees(f"[name='{name}']")
        self.decisions.append(f"{name}: {text}")
        if field.tag_name == "select":
            Select(field).select_by_value(text)
        else:
            field.send_keys(text)

    def drops(self, path):
        """Drop a file anywhere on the page."""
        self.decisions.append(f"drops {path.name}")
        self.driven.execute_script(DROP, path.read_text(encoding="utf-8"), path.name)

    def picks(self, path):
        """Choose a file by the page's own field, and have it taken."""
        self.sees("input[type=file]").send_keys(str(path))
        self.presses("[data-drop] button")


def _steady(seen):
    """What is seen, unless the page is just being exchanged for the next."""
    from selenium.common.exceptions import StaleElementReferenceException

    try:
        return seen()
    except StaleElementReferenceException:
        return None


@contextmanager
def at_an_empty_desk(tmp_path, width, *, scripts=True):
    """Somebody before a desk over an empty folder."""
    folder = tmp_path / "pump"
    folder.mkdir()
    with desk(folder) as client, browser() as driven:
        client.folder = folder
        let_in(driven, client)
        driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not scripts})
        as_wide_as(driven, width)
        faults(driven)
        driven.get(f"{client.origin}/")
        yield Hands(driven, client)


def from_file_to_answer(hands):
    """Go on from the dropped file: the one question, the reading, the system, the answer."""
    evidence = hands.sees("#evidence").text
    assert "charging" in evidence and "each time" in evidence
    hands.presses(".question button.main", "charging")
    hands.presses(".question button.main", "Read it into a log")
    hands.sees(".told", f"in {RUNS} runs")
    hands.presses("main a", "Describe the system")
    for name, text in PLATES.items():
        hands.types(name, text)
    hands.presses("button.main", "Save")
    hands.sees("#saved", "Saved as")
    hands.presses(".next a", "answer")
    return hands.sees(".told", f"in {RUNS} runs").text


def hold_answer(hands, sentence, capsys):
    """The page's amp-hours are the command's, and the truth lies within their interval; all files are ordinary."""
    folder = hands.client.folder
    (log,), (site,) = folder.glob("*.parquet"), folder.glob("*.toml")
    status, out, _ = told(capsys, "cycles", log, "--site", site, "--json")
    assert status == 0
    total = json.loads(out)["load_total"]
    amount, interval = map(float, re.search(r"took ([\d.]+)\sAh\s±\s([\d.]+)", sentence).groups())
    assert amount == pytest.approx(total["charge_Ah"], abs=0.06)
    assert total["runs"] == RUNS
    assert abs(short_cycling()[1] - amount) <= interval
    # such as an answer's page, which is made by itself, every file but the lists is of this visit
    assert (folder / "Messung.csv").read_text(encoding="utf-8") == short_cycling()[0]


@pytest.fixture
def export(tmp_path):
    """The export, outside the desk's folder."""
    path = tmp_path / "Messung.csv"
    path.write_text(short_cycling()[0], encoding="utf-8")
    return path


@pytest.mark.timeout(300)
@pytest.mark.parametrize("width", [390, pytest.param(1440, marks=pytest.mark.night)])
def test_from_an_empty_folder_to_the_answer(tmp_path, export, capsys, width):
    """A file is dropped, its sign asked with the evidence, the system typed off its plates, and there it is."""
    with at_an_empty_desk(tmp_path, width) as hands:
        hands.drops(export)
        sentence = from_file_to_answer(hands)
        assert faults(hands.driven) == []
        hold_answer(hands, sentence, capsys)
        with capsys.disabled():
            sys.stdout.write(
                f"\n{width} px, {hands.took_s:.0f} s, {len(hands.decisions)} decisions: {hands.decisions}\n"
            )
        assert len(hands.decisions) <= MOST_DECISIONS


@pytest.mark.timeout(300)
def test_with_scripts_off_it_goes_as_well(tmp_path, export, capsys):
    """The file is chosen, not dropped; all else is the same."""
    with at_an_empty_desk(tmp_path, 820, scripts=False) as hands:
        hands.picks(export)
        hold_answer(hands, from_file_to_answer(hands), capsys)
