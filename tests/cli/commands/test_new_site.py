"""``new-site`` asks for a site file at the terminal or from a pipe, and writes it whole or not at all."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import tomllib

import pytest
from ready_python import ready_python
from terminals import POISON_OF_A_LINE, obeyed

from shuntbook.cli.main import run
from shuntbook.cli.site_form.questions import QUESTIONS
from shuntbook.cli.site_form.system import field_at
from shuntbook.ingest.zone import zone_of_computer

MAIN = [ready_python(), "-c", "from shuntbook.cli.main import main; main()", "new-site"]
ALL = [
    *("Mill", "24,5 V", "420", "agm", "3 kVA", "6 kVA", "5", "", "3/4 hp", "230", "5 A", "1,15 kW", "4"),
    *("80 gal", "2,8 bar", "4,2 bar", "2,6 bar", "10 gal/min"),
]


@pytest.fixture
def asked(tmp_path, monkeypatch, capsys):
    """Answer the questions, a line each; return status, the new file, and what was said on either stream."""
    monkeypatch.chdir(tmp_path)

    def ask(*answers, name="site.toml"):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{answer}\n" for answer in answers)))
        status = run(["new-site", name])
        return status, tmp_path / name, capsys.readouterr()

    return ask


def words(said):
    """What was said on standard error, in one line."""
    return " ".join(said.err.split())


def test_every_question_is_of_a_field():
    """What it asks of, what takes the answer in another unit, and what it waits for."""
    for question in QUESTIONS:
        wheres = [question.where, *question.after, *([question.other] if question.other else [])]
        assert all(field_at(where) is not None for where in wheres)
        assert question.sentence


def test_answers_of_a_pipe_make_a_site_file(asked):
    """In the units of the plates; what there is one of gets its name; the answer is that of check-site."""
    status, path, said = asked(*ALL)
    assert status == 0
    assert tomllib.loads(path.read_text(encoding="utf-8")) == {
        "name": "Mill",
        "zone": zone_of_computer(),
        "bank": {"nominal_V": 24.5, "capacity_Ah": 420, "chemistry": "agm"},
        "inverters": [{"name": "inverter", "continuous_VA": 3000, "surge_VA": 6000, "surge_s": 5}],
        "loads": [
            {
                "name": "well pump",
                "kind": "pump",
                "inverter": "inverter",
                "hp": 0.75,
                "voltage_V": 230,
                "current_A": 5,
            }
        ],
        "array": {"power_W": 1150, "sun_hours_h": 4},
        "units": {"pressure": "bar"},
        "water": {
            "load": "well pump",
            "tank_volume_gal": 80,
            "cut_in_kPa": 280,
            "cut_out_kPa": 420,
            "precharge_kPa": 260,
            "flow_gal_per_min": 10,
        },
    }
    assert said.out.startswith("Mill: nothing in it contradicts itself.")
    assert said.out.endswith("Written to site.toml; next: shuntbook check-site site.toml\n")
    assert "--explain" not in said.out


def test_what_goes_against_practice_is_said(asked):
    """A tank that is full before the pump may stop."""
    status, _, said = asked(*ALL[:13], "20 gal", *ALL[14:])
    assert status == 0
    assert "Look again: 'well pump' fills the tank in" in said.out


def test_the_rest_is_skipped_where_answers_end(asked):
    """Three answers are enough; what waits for another is not asked."""
    status, path, said = asked("Mill", "12", "100 Ah")
    assert status == 0
    zone = f'zone = "{zone_of_computer()}"'
    assert path.read_text(encoding="utf-8") == f'name = "Mill"\n{zone}\n\n[bank]\nnominal_V = 12\ncapacity_Ah = 100\n'
    assert "surge" not in said.err
    assert "starts" not in said.err


def test_lithium_is_asked_for_its_limit(asked):
    """Without it the bank cannot be judged; of lead-acid it is not asked."""
    status, path, _ = asked("Mill", "12", "100", "lifepo4", "100 A")
    assert (status, tomllib.loads(path.read_text(encoding="utf-8"))["bank"]["max_discharge_A"]) == (0, [100])
    _, _, said = asked("Mill", "12", "100", "agm", name="other.toml")
    assert "most amps" not in said.err


def test_a_wrong_answer_is_told_in_a_sentence_and_asked_again(asked):
    """Also one that does not go together with one before."""
    answers = list(ALL)
    answers[15:16] = ["2 bar", "50", "4,2 bar"]
    status, path, said = asked("", "Mill", "24 x", *answers[1:])
    assert status == 0
    err = words(said)
    assert "The name of the place: is needed for a site file. >" in err
    assert "The bank's nominal voltage: must be a number with or without its unit, V (got '24 x')." in err
    assert "The pressure at which the pump stops: then 'Pump starts at' must be below the" in err
    assert "The pressure at which the pump stops: needs its unit: psi or bar or kPa" in err
    assert tomllib.loads(path.read_text(encoding="utf-8"))["water"]["cut_out_kPa"] == 420


def test_answers_that_end_too_soon_leave_nothing(asked):
    """The sentence says which was wanted."""
    status, path, said = asked("Mill", "12")
    assert status == 2
    sentence = "shuntbook: the answers end before the bank's capacity, which a site file needs; nothing was written"
    assert sentence in words(said)
    assert list(path.parent.iterdir()) == []


def test_a_file_that_is_there_is_left(asked, tmp_path):
    """Before a question is asked; and one that came meanwhile."""
    (tmp_path / "site.toml").write_text("mine\n", encoding="utf-8")
    status, path, said = asked(*ALL)
    assert (status, path.read_text(encoding="utf-8")) == (2, "mine\n")
    assert "exists already and is left as it is" in said.err
    assert "> " not in said.err


def test_a_file_that_comes_meanwhile_is_left(tmp_path, monkeypatch):
    """Whoever wrote it knows nothing of the questions."""
    path = tmp_path / "site.toml"

    class Meanwhile(io.StringIO):
        def readline(self, *_):
            path.write_text("theirs\n", encoding="utf-8")
            return super().readline()

    monkeypatch.setattr("sys.stdin", Meanwhile("Mill\n12\n100\n"))
    assert run(["new-site", str(path)]) == 2
    assert path.read_text(encoding="utf-8") == "theirs\n"


def test_both_pressures_at_once_answer_two_questions(asked):
    """As a switch's plate has them: the second is not asked, and what was taken is said."""
    answers = [*ALL[:13], "20 gal", "40/60 psi", "38 psi", "5 gal/min"]
    status, path, said = asked(*answers)
    water = tomllib.loads(path.read_text(encoding="utf-8"))["water"]
    assert (status, water["cut_in_psi"], water["cut_out_psi"], water["precharge_psi"]) == (0, 40, 60, 38)
    assert "Taken as: the pump starts at 40 psi and stops at 60 psi." in words(said)
    assert "The pressure at which the pump stops (" not in words(said)
    assert "16 The pressure at which the pump stops 60 psi" in words(said)


def test_what_plates_say_is_told_as_it_was_taken(asked):
    """Batteries by their number, another word for a kind, a fraction; what needs no word gets none."""
    status, path, said = asked("Mill", "24", "8 x 6 V 210 Ah", "lead-acid", "3000/6000 W", "5", "230", "1 1/2 hp")
    assert status == 0
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["bank"] == {
        **{"nominal_V": 24, "capacity_Ah": 420, "chemistry": "flooded_lead_acid"},
        **{"strings": 2, "batteries": 8, "battery_V": 6},
    }
    assert (data["inverters"][0]["continuous_W"], data["inverters"][0]["surge_W"]) == (3000, 6000)
    for taken in (
        "420 Ah: 8 batteries of 6 V are 2 rows side by side of 4 (24 V), each of 210 Ah.",
        "flooded_lead_acid (lead-acid, with water to top up); it may also be agm or gel.",
        "3000 W without a break and 6000 W for a moment.",
        "1.5 hp.",
    ):
        assert f"Taken as: {taken}" in words(said)
    assert words(said).count("Taken as:") == 4


def test_what_goes_against_practice_is_told_at_its_question(asked):
    """In the units of the answer, and before the next one is asked; not what the next answer may settle."""
    status, _, said = asked(*ALL[:13], "20 gal", "40/60 psi", "20 psi", "")
    told, asked_next = (words(said).index(each) for each in ("Look again: The pre-charge", "What the pump gives"))
    assert status == 0
    assert told < asked_next
    assert "surge_s" not in words(said)
    assert words(said).count("Look again: The pre-charge") == 1
    _, _, said = asked(*ALL[:13], "20 gal", "40/60 psi", "20 psi", "back", "20 psi", name="again.toml")
    assert words(said).count("Look again: The pre-charge") == 2
    _, _, said = asked(*ALL[:13], "20 gal", "2,8 psi", name="other.toml")
    assert "if bar is meant, answer 2.8 bar" in words(said)


def test_a_later_answer_goes_before_an_earlier_one_in_another_unit(asked):
    """Both ratings at the second question: the volt-amperes stand in place of the watts."""
    status, path, _ = asked("Mill", "24", "420", "agm", "300 W", "3/6 kVA", "5")
    inverter = tomllib.loads(path.read_text(encoding="utf-8"))["inverters"][0]
    assert (status, inverter["continuous_VA"], inverter["surge_VA"]) == (0, 3000, 6000)
    assert "continuous_W" not in inverter


def test_back_asks_the_question_before_again(asked):
    """As often as it is said; what was answered there goes, and before the first there is none."""
    status, path, said = asked("back", "Mill", "12", "100", "Back", "back", "24", "200")
    assert (status, "This is the first question." in said.err) == (0, True)
    assert tomllib.loads(path.read_text(encoding="utf-8"))["bank"] == {"nominal_V": 24, "capacity_Ah": 200}


def test_back_goes_behind_an_answer_to_two_questions(asked):
    """Both are open again."""
    status, path, _ = asked(*ALL[:13], "20 gal", "40/60 psi", "back", "30 psi", "50 psi")
    water = tomllib.loads(path.read_text(encoding="utf-8"))["water"]
    assert (status, water["cut_in_psi"], water["cut_out_psi"]) == (0, 30, 50)


def test_answers_are_shown_and_any_can_be_changed(asked):
    """By its number; the others stay, also one that another answer had settled."""
    answers = [*ALL[:13], "20 gal", "40/60 psi", "38 psi", "5 gal/min", "", "99", "16", "62 psi", "1", "Barn", "", "x"]
    status, path, said = asked(*answers)
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert (status, data["name"], data["water"]["cut_in_psi"], data["water"]["cut_out_psi"]) == (0, "Barn", 40, 62)
    assert data["water"]["flow_gal_per_min"] == 5
    assert "There is no answer '99': a number from 1 to 19, or Enter." in words(said)
    assert words(said).count("Your answers, as they were taken:") == 3
    assert "8 The voltage that the inverter gives skipped" in words(said)


def test_a_change_asks_what_then_is_wanted_and_what_no_longer_holds(asked):
    """Lithium has a limit, which was not asked of lead-acid; kWh at other volts are other Ah."""
    skipped = [""] * 6
    status, path, _ = asked("Mill", "24", "4,8 kWh", "agm", *skipped, "4", "lifepo4", "100 A", "2", "48", "")
    bank = tomllib.loads(path.read_text(encoding="utf-8"))["bank"]
    assert (status, bank["capacity_Ah"], bank["max_discharge_A"]) == (0, 100, [100])
    answers = ["Mill", "24", "8 x 6 V 210 Ah", "agm", *skipped, "2", "36", "300 Ah", ""]
    status, path, said = asked(*answers, name="other.toml")
    assert "The bank's capacity: does not go with the bank's 36 V: 6 of them are a row" in words(said)
    assert (status, tomllib.loads(path.read_text(encoding="utf-8"))["bank"]["capacity_Ah"]) == (0, 300)


def test_an_inverters_idle_watts_are_asked_last(asked):
    """So answers of a pipe stay where they were; without an inverter nobody is asked."""
    status, path, said = asked(*ALL, "28 W", "yes")
    inverter = tomllib.loads(path.read_text(encoding="utf-8"))["inverters"][0]
    assert (status, inverter["idle_W"], inverter["always_on"]) == (0, 28, True)
    _, _, said = asked("Mill", "12", "100", name="other.toml")
    assert "nothing running" not in said.err


def test_nought_is_taken_as_it_was_typed(asked):
    """One that takes nothing is no decimal."""
    status, path, said = asked("Mill", "12", "100", "", "1000", *[""] * 7, "0")
    assert status == 0
    assert "idle_W = 0\n" in path.read_text(encoding="utf-8")
    assert "Taken as: 0" not in words(said)


def test_a_tank_is_kept_without_a_plate_and_without_pressures(asked):
    """It is of the pump that fills it, whatever that is."""
    status, path, _ = asked("Mill", "12", "100", "", "", "", "", "", "", "300 L")
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert status == 0
    assert data["water"] == {"load": "well pump", "tank_volume_L": 300}
    assert data["loads"] == [{"name": "well pump", "kind": "pump"}]


def test_what_was_not_asked_and_what_was_skipped_is_told(asked):
    """Whose clock is taken; and that without its pump a file has no load."""
    said = words(asked("Mill", "12", "100")[2])
    assert f"Time zone: {zone_of_computer()}, this computer's" in said
    assert "The pump was skipped, so the file has no load" in said
    assert "The pump was skipped" not in words(asked(*ALL, name="whole.toml")[2])


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX knows them")
def test_ctrl_c_leaves_nothing(tmp_path):
    """In the midst of the questions."""
    process = subprocess.Popen(
        [*MAIN, "site.toml"], cwd=tmp_path, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    process.stdin.write("Mill\n12\n")
    process.stdin.flush()
    seen = ""
    while "capacity" not in seen:
        seen += process.stderr.read(1)
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=60) == 130  # its questions stay open meanwhile: their end may overtake the signal
    assert "nothing half-written" in process.communicate()[1]
    assert list(tmp_path.iterdir()) == []


def test_what_is_typed_reaches_the_terminal_as_text(tmp_path):
    """Nothing in it is obeyed, in the echo, the refusal and the answer; and the file reads back."""
    answers = f"{POISON_OF_A_LINE}\n{POISON_OF_A_LINE}\n12\n100\n{POISON_OF_A_LINE}\n\n"
    done = subprocess.run(
        [*MAIN, "site.toml"], cwd=tmp_path, input=answers.encode("utf-8", "replace"), capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert obeyed(done.stdout) == obeyed(done.stderr) == []
    assert tomllib.loads((tmp_path / "site.toml").read_text(encoding="utf-8"))["bank"]["capacity_Ah"] == 100


def test_what_is_no_text_is_told(tmp_path):
    """Bytes of another encoding; nothing is written."""
    done = subprocess.run(
        [*MAIN, "site.toml"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONIOENCODING": "utf-8"},
        input=b"M\xfchle\n12\n100\n",
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2
    assert b"standard input is not text in UTF-8" in done.stderr
    assert list(tmp_path.iterdir()) == []
