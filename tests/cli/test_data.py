"""Where things lie: from a clone, an editable install and a wheel."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from troubleshoot.cli import data as places
from troubleshoot.cli import main


def test_the_shipped_folders_are_found_from_here(root: Path) -> None:
    assert places.data("trees") == root / "trees"
    assert places.data("machines").name == "machines"


def test_a_wheel_holds_them_inside_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "troubleshoot"
    (package / "trees").mkdir(parents=True)
    (package / "trees" / "__init__.py").touch()  # the room of that name
    (package / "data" / "trees").mkdir(parents=True)
    (package / "machines").mkdir()
    monkeypatch.setattr(places, "files", lambda name: package)
    assert places.data("trees") == package / "data" / "trees"
    assert places.data("machines") == package / "machines"


def test_a_clone_keeps_them_beside_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "troubleshoot"
    (package / "trees").mkdir(parents=True)
    (package / "trees" / "__init__.py").touch()
    (tmp_path / "trees").mkdir()
    monkeypatch.setattr(places, "files", lambda name: package)
    assert places.data("trees") == tmp_path / "trees"


def test_a_part_that_is_missing_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(places, "files", lambda name: tmp_path)
    with pytest.raises(places.NotShipped, match="'trees'"):
        places.data("trees")


def test_the_plant_is_where_the_environment_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    assert places.plant_folder() == tmp_path / "plant"
    assert main(["paths", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["plant"] == str(tmp_path / "plant")
    assert not (tmp_path / "plant").exists()
    monkeypatch.delenv("TROUBLESHOOT_PLANT")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert places.plant_folder() == tmp_path / "troubleshoot" / "plant"
