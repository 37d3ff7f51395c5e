"""`rehearse`: what a script gets of a careful person's job, and how it says that the fault was not found."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from job import nights

from troubleshoot.cli import main
from troubleshoot.job import rehearse as rehearsing


@pytest.fixture(autouse=True)
def _own_plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))


def rehearse(capsys: pytest.CaptureFixture[str], fault: str, *more: str) -> tuple[int, str]:
    code = main(["rehearse", "belt-7", "--complaint", "wont-start", "--fault", fault, *more])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return code, out


@pytest.fixture
def _known_desk(monkeypatch: pytest.MonkeyPatch) -> None:
    """The desk that other tests have warmed: computing all its tables again would take half a minute."""
    monkeypatch.setattr("troubleshoot.cli.rehearse.open_desk", nights.desk)


@pytest.mark.usefixtures("_known_desk")
@pytest.mark.parametrize("by", ["tree", "engine"])
def test_a_found_fault_ends_with_0_and_every_step_has_its_five_parts(
    capsys: pytest.CaptureFixture[str], by: str
) -> None:
    code, out = rehearse(capsys, "KM1 coil open", "--by", by, "--json")
    found = json.loads(out)
    assert code == 0
    assert found["found"] is True
    assert all(set(step) == {"words", "caution", "expected", "seen", "cost"} for step in found["steps"])
    assert found["cost"] == pytest.approx(sum(step["cost"] for step in found["steps"]))
    chances = [row["chance"] for row in found["suspects"]]
    assert chances == sorted(chances, reverse=True)
    assert found["suspects"][0]["repair"] == found["named"] == "KM1"
    live = [step for step in found["steps"] if step["seen"].endswith(" V")]
    assert len(live) > 3
    assert all(step["caution"] for step in live)


@pytest.mark.usefixtures("_known_desk")
def test_a_fault_that_was_not_named_first_ends_with_1(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every fault of the demo machine is found, so a real rehearsal is told here that it named another."""
    real = rehearsing.rehearse
    monkeypatch.setattr(rehearsing, "rehearse", lambda *a, **k: replace(real(*a, **k), found=False))
    code, out = rehearse(capsys, "Q1 off", "--json")
    assert code == 1
    assert json.loads(out)["found"] is False
    assert "NOT found" in rehearse(capsys, "Q1 off")[1]


@pytest.mark.usefixtures("_known_desk")
def test_in_words_it_says_the_cautions_the_readings_and_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    code, out = rehearse(capsys, "KM1 coil open")
    assert code == 0
    for part in ("Walk round once", "caution:", "should be:", "seen:", "found: named KM1", "Ended: mended", "trips"):
        assert part in out
