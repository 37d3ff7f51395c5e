"""Completion: what shells are offered, and bash, zsh and fish completing in a real terminal."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest
from tui.pty_desk import PtyDesk

from troubleshoot.cli import main
from troubleshoot.cli.completion import in_bash

ROOT = Path(__file__).resolve().parents[2]
BEGIN = {
    "bash": (["--norc", "--noprofile", "-i"], 'eval "$(troubleshoot completion bash)"'),
    "zsh": (["-f", "-i"], 'autoload -U compinit; compinit -u -D; eval "$(troubleshoot completion zsh)"'),
    "fish": (["--no-config", "-i"], "troubleshoot completion fish | source"),
}


@pytest.fixture
def program(tmp_path: Path) -> Path:
    """A folder in which the program has its name, as it has once installed."""
    path = tmp_path / "bin/troubleshoot"
    path.parent.mkdir()
    path.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m troubleshoot "$@"\n')
    path.chmod(0o755)
    return path.parent


@pytest.mark.parametrize("shell", BEGIN)
def test_a_fault_with_spaces_is_completed_to_one_word_by_the_shell_itself(
    shell: str, program: Path, tmp_path: Path
) -> None:
    found = shutil.which(shell)
    if found is None:
        if shell == "bash" and os.environ.get("CI"):
            pytest.fail("bash is missing")
        pytest.skip(f"{shell} is not installed")
    args, begin = BEGIN[shell]
    desk = PtyDesk(
        [found, *args], size=(150, 24), PATH=f"{program}:{os.environ['PATH']}", HOME=str(tmp_path), TERM="xterm"
    )
    desk.type(f"{begin}; printf 'rea%s\\n' dy\r")
    desk.until("ready")
    # The shell runs what it completed: the program answers only where it was handed one word.
    for typed, rest in ((r"KM1\ coil\ o", "pen"), (r"U:X2:1\>M1:U1\ o", "pen")):
        seen = desk.type(f"troubleshoot expect belt-7 --lights --json --fault {typed}\t")
        desk.until(rest, since=seen)
        seen = desk.type("\r")
        desk.until('{"lights"', since=seen)
        desk.read(0.5)
    desk.type("\x04exit\r")
    desk.kill(9)
    desk.ended()


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("troubleshoot rehe", ["rehearse"]),
        ("troubleshoot rehearse three-wire-u", ["three-wire-unearthed"]),
        ("troubleshoot rehearse belt-7 --complaint wont-star", ["wont-start"]),
        ("troubleshoot rehearse belt-7 --fault 'KM1 coil o", ["KM1 coil open"]),
        ("troubleshoot chart wont-sta", ["wont-start"]),
        ("troubleshoot rehearse no-such --fault K", []),
        ("troubleshoot schema ", ["circuit", "tree"]),
        ("troubleshoot completion po", ["powershell"]),
    ],
)
@pytest.mark.parametrize("shell", ["bash", "powershell"])
def test_what_is_offered(
    shell: str, line: str, offered: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("_TROUBLESHOOT_COMPLETE", f"{shell}_complete")
    monkeypatch.setenv("COMP_LINE", line)
    monkeypatch.setenv("COMP_POINT", str(len(line)))
    with pytest.raises(SystemExit) as ended:
        main([])
    assert ended.value.code == 0
    said = capsys.readouterr()
    rows = [row.split("\t") for row in said.out.splitlines() if row]
    assert [row[1].strip("'") for row in rows] == offered
    assert {row[0] for row in rows} <= {"plain"}
    if shell == "powershell":
        assert all(len(row) == 3 and row[2] for row in rows)
    assert said.err == ""


@pytest.mark.parametrize(
    ("line", "put"),
    [
        ("t --fault ", r"U:X2:1\>M1:U1\ open"),
        ("t --fault U:X", r"X2:1\>M1:U1\ open"),  # bash keeps what stands before its last colon
        ("t --fault=U:X", r"X2:1\>M1:U1\ open"),
        ("t --fault 'U:X", "U:X2:1>M1:U1 open"),
        ('t --fault "U:X', "U:X2:1>M1:U1 open"),
    ],
)
def test_in_bash_a_value_is_put_as_the_word_before_the_cursor_is_quoted(line: str, put: str) -> None:
    assert in_bash("U:X2:1>M1:U1 open", line) == put


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_the_words_for_each_shell_name_the_program(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    out = capsys.readouterr().out
    assert "troubleshoot" in out
    assert f"{shell}_complete" in out
    assert "%(" not in out
