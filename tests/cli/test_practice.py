"""`practice` and `exercise` at the command line: what they refuse, what they write, what they keep of a person."""

from __future__ import annotations

import io
import json
import re
import shlex
import stat
import sys
from pathlib import Path

import pytest

from troubleshoot.cli import main

PAGE = Path(__file__).resolve().parents[2] / "docs/how-to/practise-and-set-an-exercise.md"


@pytest.fixture(autouse=True)
def _places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.setenv("TROUBLESHOOT_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("TROUBLESHOOT_WHO", "R T/../x")
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["practice", "thre-wire", "--level", "7"], "nearest: three-wire"),
        (["practice", "three-wire", "--level", "opns"], "nearest: opens"),
        (["practice", "three-wire", "--level", "99"], "no level '99'"),
        (["practice", "--exercise", "x.yaml"], "not an ordinary file"),
        (["practice", "three-wire", "--exercise", "x.yaml"], "by itself"),
        (["practice", "--remember", "--forget"], "one of them"),
        (["exercise", "three-wire", "-o", "y.yaml"], "--fault ID, or --level"),
        (["exercise", "three-wire", "--fault", "F2 opn", "-o", "y.yaml"], "nearest: F2 open"),
        (
            ["exercise", "three-wire", "--fault", "F2 open", "--complaint", "wont-strt", "-o", "y.yaml"],
            "nearest: wont-start",
        ),
        (["exercise", "three-wire", "--fault", "F2 open", "--level", "halves", "-o", "y.yaml"], "chooses its own"),
        (["exercise", "three-wire", "--fault", "F2 open", "-o", "no/such/y.yaml"], "No such file"),
    ],
)
def test_what_does_not_fit_is_told_with_the_nearest_and_ends_with_2(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert told in out.err
    assert "Traceback" not in out.err


def test_an_exercise_is_set_never_written_over_and_a_slip_in_it_is_told_with_its_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = ["exercise", "three-wire", "--fault", "F2 open", "--title", "Monday", "-o", "monday.yaml"]
    assert main(words) == 0
    before = Path("monday.yaml").read_text(encoding="utf-8")
    assert "F2" not in before
    assert main(words) == 2
    assert "there already" in capsys.readouterr().err
    assert Path("monday.yaml").read_text(encoding="utf-8") == before
    Path("slip.yaml").write_text(before.replace("machine:", "machne:"), encoding="utf-8")
    assert main(["practice", "--exercise", "slip.yaml", "--plain"]) == 2
    err = capsys.readouterr().err
    assert "slip.yaml:5:1: there is no key 'machne' in an exercise (nearest: machine)" in err
    Path("other.yaml").write_text(before.replace("'three-wire'", "'hoist'"), encoding="utf-8")
    assert main(["practice", "--exercise", "other.yaml", "--plain"]) == 2


def test_nothing_is_remembered_unless_it_is_asked_for_and_then_for_ones_own_eyes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["practice", "--progress", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "remembers": False, "past": [], "weak": [], "next": 1, "why": "the beginning of the course",
    }  # fmt: skip
    assert not (tmp_path / "practice").exists()
    assert main(["practice", "--remember", "--progress"]) == 0
    (file,) = (tmp_path / "practice").iterdir()
    assert file.name == "progress-R_T____x.jsonl"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    from troubleshoot.cli.practice import kept
    from troubleshoot.practice.debrief import Result

    told = kept().done(Result("three-wire", 1, 3, "", True))
    assert told.startswith("Next: 2 halves")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert main(["practice", "--progress", "--json"]) == 0
    found = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert (found["remembers"], found["past"][0]["level"], found["next"]) == (True, 1, 2)
    assert main(["practice", "--forget"]) == 0
    assert not file.exists()


def test_the_page_says_commands_that_run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    commands = re.findall(r"(?m)^    troubleshoot (.*)$", PAGE.read_text(encoding="utf-8"))
    assert len(commands) == 5
    for command in commands:
        monkeypatch.setattr(sys, "stdin", io.StringIO(""))
        words = shlex.split(command)
        if words[0] == "practice" and not {"--remember", "--forget"} & set(words):
            words = ["--plain", *words]  # in a pipe whose end is reached at once
        assert main(words) == 0, command
    out = capsys.readouterr().out
    assert "PRACTICE  THREE-WIRE  seed 3" in out
    assert "practice --exercise monday.yaml" in out


def test_a_log_of_practice_lies_apart_verifies_and_is_no_job_of_the_plant(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from troubleshoot.cli.machines_on_disk import open_jobs

    monkeypatch.setattr(sys, "stdin", io.StringIO("\n.\nt\nopen panel\n.\ny\nq\n"))
    assert main(["--plain", "practice", "three-wire", "--level", "opens", "--seed", "3"]) == 0
    out = capsys.readouterr().out
    assert "panel cover: OFF" in out
    (log,) = (tmp_path / "practice/logs").iterdir()
    assert main(["log", "verify", str(log)]) == 0
    assert open_jobs() == ()
    assert not list((tmp_path).glob("plant/**/*.jsonl"))
    text = log.read_text(encoding="utf-8")
    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.practice.exercise import choose

    assert all(fault not in text for fault in choose(open_desk("three-wire"), 7, 3).faults)


def test_an_exercise_that_is_open_in_another_window_is_passed_over_for_the_one_left_before_it() -> None:
    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.cli.practised import go_on, left_exercise, new_log
    from troubleshoot.job.sheet import Pressed
    from troubleshoot.practice.exercise import choose
    from troubleshoot.practice.session import Practice

    desk = open_desk("three-wire")
    runners = []
    for seed in (1, 2):
        runner = Practice(choose(desk, 7, seed), desk, new_log("three-wire"), "R T")
        runner.give(Pressed("enter", runner.sheet(80, 24).id))
        runners.append(runner)
    assert left_exercise() is None, "both are open"
    runners[0].close()
    left = left_exercise()
    assert left is not None
    assert left.exercise.seed == 1
    again = go_on(left)
    assert left_exercise() is None
    again.close()
    runners[1].close()
    assert left_exercise() is not None
