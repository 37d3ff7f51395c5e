"""The pages on checking our numbers and on saying what fails here do what they say, in a shell, from first to last.

Witness of the first: ngspice (Debian package ``ngspice``), a general circuit simulator.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from troubleshoot.cli import main

PAGES = Path(__file__).resolve().parents[2] / "docs" / "how-to"


def blocks(page: str) -> list[str]:
    return re.findall(r"```bash\n(.*?)```", (PAGES / page).read_text(encoding="utf-8"), re.DOTALL)


@pytest.fixture
def shell(tmp_path: Path):
    """Runs a block of a page in an empty folder, with `troubleshoot` of this checkout, and gives what it printed."""
    programs = tmp_path / "bin"
    programs.mkdir()
    call = "import sys; from troubleshoot.cli import main; sys.argv[0] = 'troubleshoot'; sys.exit(main())"
    (programs / "troubleshoot").write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -c "{call}" "$@"\n')
    (programs / "troubleshoot").chmod(0o755)
    path = f"{programs}{os.pathsep}{os.environ['PATH']}"
    root = str(PAGES.parents[1])
    env = os.environ | {"PATH": path, "PYTHONPATH": root, "TROUBLESHOOT_PLANT": str(tmp_path / "plant")}

    def run(block: str) -> str:
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", block], cwd=tmp_path, env=env, capture_output=True, text=True,
            stdin=subprocess.DEVNULL, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout

    return run


def volts(printed: str) -> float:
    return float(re.findall(r"(?m)^0\s+\S+\s+(\S+)", printed)[-1])


def test_a_simulator_shows_at_the_coil_what_we_say(shell, ngspice: str, capsys) -> None:
    deck, run, fault = blocks("check-our-numbers.md")
    page = (PAGES / "check-our-numbers.md").read_text(encoding="utf-8")
    assert (
        main(["expect", "belt-7", "--after", "put S3 in run; press S1", "--meter", "ac volts", "KM1:A1", "KM1:A2"]) == 0
    )
    said = capsys.readouterr().out.strip()
    assert f"`{said}`" in page
    assert all(line in page for line in shell(deck).splitlines())
    theirs = volts(shell(run))
    assert f"{theirs:.2f} V" in page
    assert abs(theirs - float(said.split()[0])) < 0.1
    assert volts(shell(fault)) < 1e-3  # the rung is open


def test_priors_in_the_circuit_file_move_what_is_suspected_first(shell, tmp_path: Path) -> None:
    def chance(printed: str, suspect: str) -> float:
        return float(next(line for line in printed.splitlines() if suspect in line).split()[0])

    (see,) = blocks("say-what-fails-here.md")
    before = shell(see)
    page = (PAGES / "say-what-fails-here.md").read_text(encoding="utf-8")
    (priors,) = re.findall(r"```yaml\n(.*?)```", page, re.DOTALL)
    file = tmp_path / "washer.yaml"
    file.write_text(file.read_text(encoding="utf-8") + priors, encoding="utf-8")
    after = shell(see.split("\n", 1)[1])
    assert chance(after, "S1 13-14 open") > 2.5 * chance(before, "S1 13-14 open")
    assert chance(after, "FR1 tripped") < 0.75 * chance(before, "FR1 tripped")
    file.write_text(file.read_text(encoding="utf-8").replace('"S1 13-14 open"', '"S1 13-14 opne"'), encoding="utf-8")
    with pytest.raises(AssertionError, match=r"washer\.yaml:\d+:\d+.*S1 13-14 open"):
        shell(see.split("\n")[1])
