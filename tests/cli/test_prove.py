"""`prove`: what a script gets, and the three ways it ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from troubleshoot.cli import main

BROKEN = Path(__file__).resolve().parents[1] / "trees/broken"


@pytest.fixture(autouse=True)
def _own_plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))


def test_a_tree_that_holds_ends_with_0_and_json_has_every_share(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "hums", "--on", "three-wire", "--json"]) == 0
    out, err = capsys.readouterr()
    (row,) = json.loads(out)
    assert "1 of 1" in err
    assert row["holds"] is True
    shares = [row[k] for k in ("named", "together", "wrong", "handed_over", "nameless")]
    assert sum(shares) == pytest.approx(1, abs=1e-5)
    assert row["ratio"] == pytest.approx(row["cost"] / row["best_cost"], abs=0.01)
    assert {"node", "named", "repairs", "faults", "chance", "way", "splits"} == set(row["cannot_separate"][0])


@pytest.mark.parametrize(
    ("name", "code", "said"),
    [
        ("names-the-contactor", 1, "PROMISE BROKEN: named right"),
        ("runs-it-again", 1, "UNSAFE: node see: wont-stop, and it is run again (running)"),
        ("ohms-on-a-live-coil", 1, "UNSAFE: node coil: ohms with the power on"),
        ("two-names-for-one-reading", 2, "on three-wire, node coil: 'as expected' and 'nothing' are the same reading"),
        ("goes-in-circles", 2, "a loop: coil -> rung -> coil"),
    ],
)
def test_each_tree_broken_on_purpose_is_told_in_words(
    capsys: pytest.CaptureFixture[str], name: str, code: int, said: str
) -> None:
    assert main(["prove", str(BROKEN / f"{name}.yaml"), "--on", "three-wire"]) == code
    out, err = capsys.readouterr()
    assert said in (out if code == 1 else err)
    assert "Traceback" not in out + err


def test_a_tree_whose_complaint_the_machine_has_not_and_a_misspelt_name_are_told_the_nearest(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["prove", "jog-latches", "--on", "three-wire"]) == 2
    assert "three-wire has no complaint 'jog-latches'" in capsys.readouterr().err
    assert main(["prove", "wont-strat", "--on", "three-wire"]) == 2
    assert "no tree 'wont-strat' (nearest: wont-start)" in capsys.readouterr().err


def test_the_schemas_are_json(capsys: pytest.CaptureFixture[str]) -> None:
    for what in ("circuit", "tree"):
        assert main(["schema", what]) == 0
        assert json.loads(capsys.readouterr().out)["title"] == f"{what} file of troubleshoot"
