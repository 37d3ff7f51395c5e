"""`start`: a file that reads well at once, says what it is not yet, and takes the place of nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from troubleshoot.cli import main
from troubleshoot.cli.machines_on_disk import machine_files, ready_files


@pytest.fixture(autouse=True)
def plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "plant"


@pytest.mark.parametrize("like", [*ready_files(), "belt-7"])
def test_a_machine_begun_from_any_other_checks_and_nothing_of_it_counts_as_compared(like: str, plant: Path) -> None:
    assert main(["start", "machine", "mixer-2", "--like", like]) == 0
    text = (plant / "mixer-2/circuit.yaml").read_text()
    assert text.startswith("# mixer-2: begun from")
    assert "NOT of your panel" in text
    known = "copied" if like == "belt-7" else "assumed"
    devices = yaml.safe_load(text)["devices"]
    assert devices
    assert {device["known"] for device in devices.values()} == {known}
    assert main(["check", "mixer-2"]) == 0
    assert "mixer-2" in machine_files()


@pytest.mark.parametrize("name", ["noisy", "wont-start", "starts-itself"])
def test_a_tree_begun_checks(name: str, plant: Path) -> None:
    assert main(["start", "tree", name]) == 0
    assert main(["check", str(plant / "trees" / f"{name}.yaml")]) == 0
    assert (plant / "trees" / f"{name}.yaml").read_text().startswith(f"# {name}: ")


@pytest.mark.parametrize("words", [["machine", "mixer-2"], ["tree", "noisy"], ["machine", "m", "-o", "x.yaml"]])
def test_nothing_that_is_there_is_written_over(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["start", *words]) == 0
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.yaml")}
    capsys.readouterr()
    assert main(["start", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "is there already" in said.err
    assert "--force" not in said.err
    assert {path: path.read_bytes() for path in tmp_path.rglob("*.yaml")} == before


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["machine", "Belt 9"], "nearest: belt-9"),
        (["machine", "../x"], "nearest: x"),
        (["machine", "belt-7"], "is there already"),
        (["machine", "m", "--like", "three-wre"], "nearest: three-wire"),
        (["tree", "noisy", "--like", "wont-strt"], "nearest: wont-start"),
        (["tree", "a/b"], "nearest: a-b"),
        (["machine", "m", "-o", "no/such/m.yaml"], "no folder"),
    ],
)
def test_what_does_not_fit_ends_with_2_and_the_nearest(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["start", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert told in said.err
    assert not list(tmp_path.rglob("*.yaml"))
