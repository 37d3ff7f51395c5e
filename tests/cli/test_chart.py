"""``chart`` writes what can be printed, and says in one line what is wrong with what it was given."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import pytest

from troubleshoot.cli import main


@dataclass(frozen=True)
class Done:
    exit_code: int
    stderr: str


@pytest.fixture(autouse=True)
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Done]:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))

    def given(*words: str) -> Done:
        code = main(["chart", *words])
        return Done(code, capsys.readouterr().err)

    return given


def test_an_svg_of_one_sheet_with_the_date_that_was_given(tmp_path: Path, run) -> None:
    out = tmp_path / "hums.svg"
    done = run("hums", "--on", "three-wire", "-o", str(out), "--date", "2026-11-30")
    assert done.exit_code == 0, done.stderr
    assert "written to" in done.stderr
    texts = [t.text or "" for t in ElementTree.parse(out).iter("{http://www.w3.org/2000/svg}text")]
    assert any("2026-11-30" in text for text in texts)
    assert any(text.startswith("LIVE. DANGER") for text in texts)
    again = tmp_path / "again.svg"
    run("hums", "--on", "three-wire", "-o", str(again), "--date", "2026-11-30")
    assert again.read_bytes() == out.read_bytes()


def test_what_does_not_fit_on_one_sheet_goes_on_over_numbered_ones_and_says_so(tmp_path: Path, run) -> None:
    out = tmp_path / "start.svg"
    done = run("wont-start", "--on", "belt-7", "-o", str(out))
    assert done.exit_code == 0
    assert "3 sheets" in done.stderr
    assert {p.name for p in tmp_path.iterdir()} == {"start.svg", "start-2.svg", "start-3.svg"}
    larger = tmp_path / "large.svg"
    assert "sheets" not in run("wont-start", "--on", "belt-7", "-o", str(larger), "--paper", "a3").stderr


def test_a_pdf_with_a_page_a_sheet_and_its_letters_in_it(tmp_path: Path, run) -> None:
    pytest.importorskip("typst")
    out = tmp_path / "start.pdf"
    done = run("wont-start", "--on", "belt-7", "-o", str(out), "--date", "2026-11-30")
    assert done.exit_code == 0, done.stderr
    content = out.read_bytes()
    assert content.startswith(b"%PDF-")
    assert b"/Count 3" in content
    assert b"DejaVuSansMono" in content


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("wont-strt", "--on", "belt-7", "-o", "x.svg"), "nearest: wont-start"),
        (("hums", "--on", "belt-8", "-o", "x.svg"), "nearest: belt-7"),
        (("waits", "--on", "belt-7", "-o", "x.svg"), "belt-7 has no complaint 'waits'"),
        (("hums", "--on", "belt-7", "-o", "x.png"), ".svg or .pdf"),
        (("hums", "--on", "belt-7", "-o", "x.svg", "--date", "30.11.2026"), "no date like 2026-11-30"),
        (("hums", "--on", "three-wire", "-o", "no/such/folder/x.svg"), "cannot be written"),
    ],
)
def test_what_cannot_be_drawn_is_said_in_one_line(words, says, tmp_path, monkeypatch, run) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert done.exit_code == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []
