"""A machine that was described is in the plant folder whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from troubleshoot.cli.door import commands
from troubleshoot.cli.machines_on_disk import read_machine
from troubleshoot.cli.saving import folders, put, save_machine
from troubleshoot.describe.pattern import compose
from troubleshoot.machine import Machine

TEXT = compose({"buttons": "straight"}, machine="belt-12")


@pytest.fixture
def plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    return tmp_path / "plant"


def test_it_lies_in_a_folder_of_its_own_and_reads_back(plant):
    circuit = save_machine("belt-12", TEXT)
    assert circuit.name == "belt-12"
    assert isinstance(read_machine(plant / "belt-12/circuit.yaml"), Machine)
    assert folders() == {"belt-12"}


def test_the_check_from_the_shell_passes_on_it(plant):
    save_machine("belt-12", TEXT)
    done = CliRunner().invoke(commands, ["check", str(plant / "belt-12")])
    assert done.exit_code == 0, done.output


def test_what_was_there_before_is_kept(plant):
    save_machine("belt-12", TEXT)
    save_machine("belt-12", compose({"buttons": "controller"}, machine="belt-12"))
    assert (plant / "belt-12/circuit-before-1.yaml").read_text(encoding="utf-8") == TEXT


def test_text_that_does_not_read_back_is_never_written(plant):
    with pytest.raises(OSError, match="was not saved"):
        save_machine("belt-12", TEXT[: len(TEXT) // 2])
    assert not (plant / "belt-12").exists()


def test_when_the_disk_fails_half_way_the_old_file_is_whole_and_nothing_else_lies_there(plant, monkeypatch):
    save_machine("belt-12", TEXT)

    def broken(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError, match="No space"):
        put(plant / "belt-12/circuit.yaml", b"half")
    assert (plant / "belt-12/circuit.yaml").read_text(encoding="utf-8") == TEXT
    assert [p.name for p in (plant / "belt-12").iterdir()] == ["circuit.yaml"]


def test_describe_in_line_mode_goes_from_words_to_the_job(plant):
    done = CliRunner().invoke(
        commands, ["describe", "--plain", "--complaint", "belt 12 dead"], input="1\n1\n1\n4\n0\n1\n2\ny\nq\n"
    )
    assert done.exit_code == 0, done.output
    assert "I don't know belt 12 yet." in done.output
    assert "Is everybody clear" in done.output
    assert (plant / "belt-12/circuit.yaml").is_file()


def test_a_ready_circuit_that_is_not_there_is_answered_with_the_nearest(plant):
    done = CliRunner().invoke(commands, ["describe", "three-wir"])
    assert done.exit_code == 2
    assert "nearest: three-wire" in done.output
