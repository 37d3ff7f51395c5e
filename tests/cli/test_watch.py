"""`check --watch` on a terminal: again at every change, and the last answer at the end."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from tui.pty_desk import PtyDesk

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("ends", ["well", "badly"])
def test_each_change_is_checked_and_ctrl_c_ends_with_the_last_answer(ends: str, tmp_path: Path) -> None:
    file = tmp_path / "mixer.yaml"
    shutil.copy(ROOT / "troubleshoot/circuits/three-wire.yaml", file)
    right = file.read_text()
    desk = PtyDesk([sys.executable, "-m", "troubleshoot", "check", "--watch", str(file)])
    desk.until("watching, Ctrl-C ends")
    assert b"nothing wrong" in desk.out
    seen = len(desk.out)
    file.write_text(right.replace("kind: contactor", "kind: contacter"))
    desk.until("contacter", since=seen)
    desk.until("watching", since=seen)
    if ends == "well":
        seen = len(desk.out)
        file.unlink()  # as an editor that puts a new file in the place of the old one
        desk.until("watching", since=seen)
        seen = len(desk.out)
        file.write_text(right)
        desk.until("nothing wrong", since=seen)
        desk.until("watching", since=seen)
    desk.type("\x03")
    assert desk.ended() == (0 if ends == "well" else 2)
    assert b"Traceback" not in desk.out
