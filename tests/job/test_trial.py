"""A trial makes the moves that a rehearsal makes, errs as it was told, and counts honestly."""

from __future__ import annotations

import json
import random
import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from job.nights import desk, suspect

from troubleshoot.cli import main
from troubleshoot.cli import trial as command
from troubleshoot.job.erring import Erring, Errors
from troubleshoot.job.rehearse import rehearse
from troubleshoot.job.tally import figures, noticed, tally
from troubleshoot.job.trial import Named, Run, faults_of, play

SAME_MOVES = [
    "12:K1:14>FR1:95 open",
    "ES1 left in",
    "A1 %IX0.1 dead",
    "F4 open",
    "13:FR1:96>KM1:A1 to earth",
    "M1 jammed",
]


@pytest.mark.parametrize("fault", SAME_MOVES)
def test_a_trial_asks_step_by_step_what_a_rehearsal_asks_and_names_the_same(fault: str) -> None:
    truth = suspect(fault)
    run, played = play(desk(), "wont-start", truth), rehearse(desk(), "wont-start", truth, by="engine")
    asked = []
    for event in played.events:
        if event.kind == "repaired":
            break
        if event.kind in ("looked", "reading"):
            asked.append(event.data["step"])
    assert list(run.moves) == asked
    assert run.named.group == played.named
    assert run.confirmed == played.confirmed
    assert run.cost == pytest.approx(sum(s.cost for s in played.steps))
    assert run.named.chance == pytest.approx(dict(played.ranked)[played.named])


def test_after_the_first_repair_the_second_fault_is_named_as_in_a_rehearsal() -> None:
    first, second = suspect("F4 open"), suspect("KM1 coil open")
    run = play(desk(), "wont-start", first, also=(second,))
    played = rehearse(desk(), "wont-start", first, also=(second,), by="engine")
    mended = [e.data["group"] for e in played.events if e.kind == "repaired"]
    assert [run.named.group, run.second] == mended == [first.group, second.group]


def test_the_same_seed_gives_the_same_errors_and_another_seed_others() -> None:
    errors = Errors(0.1, 0.1)
    one, two, other = (play(desk(), "wont-start", suspect("F4 open"), seed=s, errors=errors) for s in ("a", "a", "b"))
    assert one == two
    assert one.errors > 0
    assert (one.moves, one.errors) != (other.moves, other.errors)


def erring(errors: Errors, seed: int = 0, fault: str = "KM1 coil open") -> Erring:
    return Erring(desk(), (suspect(fault),), random.Random(0), errors=errors, slips=random.Random(seed))


def test_lights_are_called_wrongly_as_often_as_told() -> None:
    bench, held = erring(Errors(lights=0.2)), desk().shows("wont-start")
    items = [*desk().lights(), *desk().looks()]
    right = {item: bench.shown(item, held) for item in items}
    rounds = 60
    wrong = sum(bench.called(i, held) != right[i] for _ in range(rounds) for i in items)
    share = wrong / (rounds * len(items))
    assert share == pytest.approx(0.2, abs=0.04)
    assert bench.made == wrong


def test_a_whole_wrong_point_is_read_at_one_and_the_same_terminal_beside_it_every_time() -> None:
    meters = [c.meter for c in desk().planner.candidates(desk().at_rest.situation).items if c.meter.mode == "ac volts"][
        :4
    ]
    bench = erring(Errors(points=1))
    for meter in meters:
        bench.typed([meter], desk().at_rest)
    assert len(bench._beside) == 1
    ((asked, read),) = bench._beside.items()
    assert asked != read
    again = next(m for m in meters if m.red == asked)
    assert bench._held(again).red == read


def test_a_person_without_errors_types_what_the_careful_person_types() -> None:
    careful, held = erring(Errors(), fault="F4 open"), desk().at_rest
    from job.nights import bench as plain

    meters = [c.meter for c in desk().planner.candidates(held.situation).items][:12]
    assert careful.typed(meters, held) == plain("F4 open").typed(meters, held)


def test_faults_are_drawn_by_the_chance_that_belief_begins_with() -> None:
    suspects, chance = faults_of(desk(), "wont-start")
    assert chance.sum() == pytest.approx(1)
    alike = desk().beginning_with(np.full(len(desk().machine.suspects), 1 / len(desk().machine.suspects)))
    assert alike.reasoner._tables is desk().reasoner._tables
    again, uniform = faults_of(alike, "wont-start")
    assert [s.id for s in again] == [s.id for s in suspects]
    assert np.ptp(uniform) < 0.6 * uniform.max()  # only how surely each shows the complaint is left
    assert np.ptp(chance) > 0.9 * chance.max()


def named(group: str, chance: float, *, right: bool) -> Named:
    return Named(group, chance, right, (1 - chance) ** 2 if right else 1 + chance**2, 0.0)


def run_of(last: Named, *, disagreed: bool = False) -> Run:
    return Run("c", "f", "g", last, last, False, disagreed, 60.0, 1, 0, ())


def test_stated_minus_achieved_is_counted_by_hand() -> None:
    some = [named("g", 0.9, right=True), named("h", 0.8, right=False)]
    assert figures(some).share == 0.5
    assert figures(some).calibration == pytest.approx(0.85 - 0.5)
    found = tally([run_of(n) for n in some])
    assert found["found_share"] == 0.5
    assert found["by_complaint"]["c"]["mean_cost"] == 60.0
    assert found["brier"] == pytest.approx((0.01 + 1.64) / 2)
    assert len(found["missed"]) == 1


def test_a_wrong_drawing_is_noticed_where_the_program_gives_up_or_its_own_test_disagrees_or_it_sends_to_that_wire() -> (
    None
):
    assert noticed(run_of(named("", 0.3, right=False)))
    assert noticed(run_of(named("h", 0.99, right=False), disagreed=True))
    assert noticed(run_of(named("g", 0.99, right=True)))
    assert not noticed(run_of(named("h", 0.99, right=False)))


@pytest.fixture
def _known_desk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The desk that other tests have warmed, and one share, so that everything stays in this process."""
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.setattr(command, "_desk", lambda machine, uniform: desk())
    monkeypatch.setattr(command, "open_desk", lambda machine: desk())


@pytest.mark.usefixtures("_known_desk")
def test_the_command_gives_a_script_the_promised_keys(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["trial", "belt-7", "--complaint", "wont-start", "--wrong-lights", "0.05", "--wrong-readings", "0.02"]
    assert main([*asked, "--runs", "12", "--json"]) == 0
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert {"found_share", "mean_cost", "brier", "calibration", "by_complaint"} <= set(found)
    assert found["runs"] == 12
    assert found["by_complaint"]["wont-start"]["found_share"] == found["found_share"] >= 0.8
    assert "of 12 right" in err


@pytest.mark.usefixtures("_known_desk")
def test_in_words_it_is_one_line_a_complaint(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trial", "belt-7", "--complaint", "wont-start", "--runs", "3", "--wrong-points", "1"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].startswith("wont-start")
    assert lines[2].startswith("together")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--complaint", "wont-strat"], "nearest: wont-start"),
        (["--second-fault", "--wrong-drawing"], "two trials"),
        (["--wrong-lights", "0.9"], "0.5"),
    ],
)
@pytest.mark.usefixtures("_known_desk")
def test_bad_input_is_one_message_and_2(capsys: pytest.CaptureFixture[str], more: list[str], words: str) -> None:
    assert main(["trial", "belt-7", *more]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert "Traceback" not in err


def test_every_command_of_the_page_on_belief_runs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    page = (Path(__file__).resolve().parents[2] / "docs/explanation/belief.md").read_text(encoding="utf-8")
    commands = re.findall(r"(?m)^troubleshoot (.*)$", page)
    assert commands
    for line in commands:
        assert main(shlex.split(line)) == 0
        assert "together" in capsys.readouterr().out
