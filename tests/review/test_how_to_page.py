"""Every command of the page on reviewing a week runs, in its order, as it stands."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from job.nights import desk
from review.weeks import WEEK

from troubleshoot.cli import logs_on_disk, main
from troubleshoot.review import signing

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to/review-a-week.md").read_text(encoding="utf-8")
SHOWN = [
    shlex.split(line.removeprefix("$ troubleshoot "))
    for block in re.findall(r"```console\n(.*?)```", PAGE, re.DOTALL)
    for line in block.splitlines()
    if line.startswith("$ troubleshoot ")
]


def test_every_command_shown_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(WEEK, tmp_path / "plant")
    shutil.copy(ROOT / "tests/trees/machines/fan-2.yaml", tmp_path / "plant/fan-2/circuit.yaml")
    (tmp_path / "pass").write_text("four words that nobody guesses\n")
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    monkeypatch.setenv("TROUBLESHOOT_WHO", "Kim")
    monkeypatch.setattr(logs_on_disk, "open_desk", desk)
    monkeypatch.setattr(signing, "COST", 1 << 8)
    monkeypatch.chdir(tmp_path)
    assert len(SHOWN) >= 12
    for words in SHOWN:
        if words[:2] == ["review", "sign"]:
            words = [*words, "--yes"]  # what is listed first is asked about, and nobody is at a keyboard here
        assert main(words) == 0, f"{words}: {capsys.readouterr().err}"
        assert capsys.readouterr().out.strip(), words


def test_the_keys_it_names_are_those_of_the_screen() -> None:
    pages = ("table_page", "job_pages")
    source = "".join((ROOT / f"troubleshoot/review/{name}.py").read_text(encoding="utf-8") for name in pages)
    for key in re.findall(r"(?m)^\| `(\w)` \|", PAGE):
        assert f'LiveKey("{key}"' in source
