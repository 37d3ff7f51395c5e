"""Scene (j) in a real terminal of 80 by 24: a supervisor's Monday, from the front page to a countersigned job."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest
from review.weeks import WEEK
from scenes.drive_scene import READ_S, STILL_S, WAIT_S, Terminal

from troubleshoot.log.verify import read_events
from troubleshoot.review.signing import make_key

WIDTH, HEIGHT = 80, 24
PASS = "four words nobody guesses"
ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")


class Screen(Terminal):
    """The program, entered by the supervisor."""

    def until(self, *words: str) -> str:
        """The screen once it shows all of these and has stopped changing."""
        until, before = time.monotonic() + WAIT_S, ""
        while time.monotonic() < until:
            rows = self.rows()
            now = "\n".join(row.rstrip() for row in rows)
            flat = " ".join(now.split())
            if all(w in flat for w in words) and now == before and "saving" not in now:
                assert len(rows) == HEIGHT
                assert all(len(row) <= WIDTH for row in rows)
                return now
            before = now
            time.sleep(STILL_S)
        raise AssertionError(f"{words} never showed:\n" + "\n".join(self.rows()))

    def go(self, key: str, *words: str) -> str:
        time.sleep(READ_S)
        self.press(key)
        return self.until(*words)


def test_a_supervisors_monday(tmp_path: Path) -> None:
    plant = tmp_path / "plant"
    shutil.copytree(WEEK, plant)
    shutil.copy(ROOT / "tests/trees/machines/fan-2.yaml", plant / "fan-2/circuit.yaml")
    key = tmp_path / "kim.key"
    key.write_text(make_key("Kim", PASS, lambda n: bytes(range(n))).text())
    key.chmod(0o600)
    screen = Screen(WIDTH, HEIGHT, plant, {"TROUBLESHOOT_WHO": "Kim", "TROUBLESHOOT_CONFIG": str(tmp_path / "none")})
    try:
        screen.until("What is wrong?", "r read a job back", "r review")
        screen.type("r")
        table = screen.until("REVIEW 4 jobs", "4 belt-7 ~26 Nov 22:15-22:41")
        assert "PgDn" not in table, "twelve jobs may scroll; four do not"
        assert table.splitlines()[-1].endswith("q leave")
        screen.go("y", "Yours to do.", "Repeats within 90 days", "the clock moved back 61 min")
        screen.go("Escape", "REVIEW 4 jobs")
        job = screen.go("4", "departure replace K1 without a confirming test", "g sign")
        assert job.splitlines()[-1].endswith("q leave"), job
        screen.go("h", "what happened", "begins: belt-7", "36 left")
        screen.go("NPage", "Caution read by Cy")
        screen.go("Escape", "departure replace K1")
        screen.go("m", "Write back to this job.")
        screen.type("39 why was it not confirmed?")
        screen.until("Saved as event 56.", "saved 56")
        screen.go("k", "Which of these is done?")
        screen.type("1 guard refitted")
        screen.until("Saved as event 57.", "saved 57")
        screen.go("g", "Countersign up to event 57", "Your key file:")
        screen.type(str(key))
        screen.until("Passphrase:")
        screen._tmux("send-keys", "-t", "b", "-l", PASS)
        assert PASS not in screen.until("Passphrase:", "\u2022" * len(PASS))
        screen.press("Enter")
        screen.until("Countersigned by Kim up to event 57; it is event 58.", "saved 58")
        screen.go("Escape", "REVIEW 4 jobs", "open: 1; departures: 2")
        screen.go("Escape", "What is wrong?")
    finally:
        screen.close()
    events, verdict = read_events(next(plant.glob("belt-7/jobs/belt-7-thu.jsonl")))
    assert verdict.whole
    assert [e.kind for e in events[55:]] == ["comment", "closed", "signed"]
