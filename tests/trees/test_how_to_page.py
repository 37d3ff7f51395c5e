"""The page that teaches to write and prove a tree is true: its trees are read and proved, its figures are what comes out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from troubleshoot.cli import main

PAGE = Path(__file__).resolve().parents[2] / "docs/how-to/write-and-prove-a-tree.md"


def block(sort: str, name: str) -> str:
    (found,) = re.findall(rf"```{sort} {name}\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    return str(found)


@pytest.mark.parametrize("name", ["first", "second"])
def test_its_trees_prove_as_it_says(name, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.chdir(tmp_path)
    Path("hums.yaml").write_text(block("yaml", name), encoding="utf-8")
    text = PAGE.read_text(encoding="utf-8")
    commands = re.findall(r"(?m)^    troubleshoot ((?:check|prove) hums\.yaml.*)$", text)
    assert [c.split()[0] for c in commands] == ["check", "prove"]
    for command in commands:
        assert main(command.split()) == 0
    assert block("text", name) in capsys.readouterr().out


def test_its_other_commands_run_as_they_stand(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.chdir(tmp_path)
    commands = re.findall(r"(?m)^    troubleshoot ((?:prove hums |chart ).*)$", PAGE.read_text(encoding="utf-8"))
    assert [c.split()[0] for c in commands] == ["prove", "chart"]
    for command in commands:
        assert main(command.split()) == 0
    assert "tells nothing here" in capsys.readouterr().out
    assert Path("hums.svg").read_text(encoding="utf-8").startswith("<svg")
