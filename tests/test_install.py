"""What makes an installation without a network: the scripts refuse what would harm, and lead where the program goes."""

from __future__ import annotations

import json
import re
import runpy
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from troubleshoot.cli import ahead, doctor, main

ROOT = Path(__file__).resolve().parent.parent
CI = ROOT / ".ci"
PAGE = (ROOT / "docs/how-to/install.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("script", ["wheelhouse", "frozen/build", "audit"])
def test_every_script_is_one_that_bash_reads(script: str) -> None:
    subprocess.run(["bash", "-n", str(CI / script)], check=True)
    assert (CI / script).stat().st_mode & 0o100


@pytest.mark.parametrize(("script", "there"), [("wheelhouse", "x.whl"), ("frozen/build", "troubleshoot")])
def test_a_folder_that_holds_something_is_left_as_it_is(script: str, there: str, tmp_path: Path) -> None:
    (tmp_path / there).write_text("mine")
    done = subprocess.run(["bash", str(CI / script), str(tmp_path)], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "nothing was done" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == [there]
    assert subprocess.run(["bash", str(CI / script)], capture_output=True, check=False).returncode == 2


def test_in_a_folder_without_python_the_proof_run_is_still_a_process_of_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr(ahead.subprocess, "Popen", lambda args, **_: started.append(args) or 1 / 0)
    with pytest.raises(ZeroDivisionError):
        ahead.ProofAhead("belt-7", wiring=False)
    ran: list[tuple[str, ...]] = []
    monkeypatch.setattr(ahead, "main", lambda *args: ran.append(args) or 0)
    monkeypatch.setattr(sys, "argv", ["troubleshoot", *started[0][1:]])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(CI / "frozen/enter.py"), run_name="__main__")
    assert (ended.value.code, ran) == (0, [("belt-7", "drawn")])


def test_the_frozen_folder_knows_the_version_of_every_library_that_doctor_names() -> None:
    spec = (CI / "frozen/troubleshoot.spec").read_text(encoding="utf-8")
    assert set(doctor.LIBRARIES) <= set(re.findall(r'"([\w-]+)"', spec))
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    assert {re.split(r"[><=]", one)[0] for one in wanted} <= set(doctor.LIBRARIES)


def judged(found: object, tmp_path: Path) -> int:
    """Exit code that the audit makes of this answer of its tool."""
    (program,) = re.findall(r"<<'PY'\n(.*?)\nPY\n", (CI / "audit").read_text(encoding="utf-8"), re.DOTALL)
    (tmp_path / "out").write_text(json.dumps(found) if found is not None else "")
    return subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "out")], capture_output=True, check=False
    ).returncode


def test_an_audit_that_nobody_answered_is_not_a_clean_one(tmp_path: Path) -> None:
    clean = {"name": "a", "version": "1", "vulns": []}
    weak = {"name": "b", "version": "1", "vulns": [{"id": "X-1", "fix_versions": []}]}
    skipped = {"name": "c", "skip_reason": "not found"}
    answers = [[clean], [clean, weak], [skipped], [clean, skipped], [skipped, weak], []]
    assert [judged({"dependencies": one}, tmp_path) for one in answers] == [0, 1, 3, 3, 1, 3]
    assert judged(None, tmp_path) == 3


def test_doctor_says_what_will_be_missing_and_where_nothing_can_be_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "file" / "plant"))
    monkeypatch.setattr(doctor, "_version", lambda name: "missing" if name in doctor.EXTRAS else "1")
    assert main(["doctor", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    missing = " ".join(found["will be missing"]["list"])
    for words in ("troubleshoot[pdf]", "troubleshoot[postgres]", "plant folder cannot be written"):
        assert words in missing
    assert found["folders"]["machines"] == "1 files"
    assert "now" in found["clock"]


def test_the_page_shows_the_commands_that_the_scripts_take() -> None:
    for script in re.findall(r"(?m)^    (\.ci/\S+)", PAGE):
        assert (ROOT / script).exists()
    assert "--no-index --find-links" in (CI / "wheelhouse").read_text(encoding="utf-8")
