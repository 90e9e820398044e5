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
    assert path.read_text(encoding="utf-8") == 'name = "Mill"\n\n[bank]\nnominal_V = 12\ncapacity_Ah = 100\n'
    assert "surge" not in said.err
    assert "tank" not in said.err


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
    err = " ".join(said.err.split())
    assert "The name of the place: is needed for a site file. >" in err
    assert "The bank's nominal voltage: must be a number with or without its unit, V (got '24 x')." in err
    assert "The pressure at which the pump stops: then 'Pump starts at' must be below the" in err
    assert "The pressure at which the pump stops: needs its unit: psi or bar or kPa" in err
    assert tomllib.loads(path.read_text(encoding="utf-8"))["water"]["cut_out_kPa"] == 420


def test_answers_that_end_too_soon_leave_nothing(asked):
    """The sentence says which was wanted."""
    status, path, said = asked("Mill", "12")
    assert status == 2
    assert "shuntbook: The bank's capacity: is needed for a site file, and there are no more answers" in said.err
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
    assert "nothing half-written" in process.communicate(timeout=60)[1]
    assert process.returncode == 130
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
