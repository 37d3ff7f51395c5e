"""Scene (j) in a real terminal of 80 by 24: a supervisor's Monday, from the front page to a countersigned job."""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import pytest
from review.weeks import WEEK
from scenes.drive_scene import READ_S, STILL_S, WAIT_S, Screen, Terminal, written

from troubleshoot.log.verify import read_events
from troubleshoot.review.signing import make_key

WIDTH, HEIGHT = 80, 24
PASS = "four words nobody guesses"
ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")


class Monday(Terminal):
    """The program, entered by the supervisor; every screen is kept with what was typed to get there."""

    def __init__(self, size: tuple[int, int], plant: Path, environment: dict[str, str]) -> None:
        super().__init__(*size, plant, environment)
        self.size = size
        self.screens: list[Screen] = []

    def until(self, typed: str, *words: str) -> str:
        """The screen once it shows all of these and has stopped changing."""
        until, before = time.monotonic() + WAIT_S, ""
        while time.monotonic() < until:
            rows = self.rows()
            now = "\n".join(row.rstrip() for row in rows)
            flat = " ".join(now.split())
            if all(w in flat for w in words) and now == before and "saving" not in now:
                assert len(rows) == self.size[1]
                assert all(len(row) <= self.size[0] for row in rows)
                self.screens.append(Screen(typed, "review", rows, False))
                return now
            before = now
            time.sleep(STILL_S)
        raise AssertionError(f"{words} never showed:\n" + "\n".join(self.rows()))

    def go(self, key: str, *words: str) -> str:
        """Press a key."""
        time.sleep(READ_S)
        self.press(key)
        return self.until(f"key {key}", *words)

    def say(self, text: str, *words: str, shown: str = "") -> str:
        """Type words and Enter. shown: what is kept of them."""
        self.type(text)
        return self.until(f"{shown or text}, Enter", *words)


def live_through(screen: Monday, key: Path) -> None:
    """A supervisor's Monday."""
    table = screen.until("troubleshoot", "What is wrong?", "r read a job back", "r review")
    table = screen.say("r", "REVIEW 4 jobs", "4 belt-7 ~26 Nov 22:15-22:41")
    assert "PgDn" not in table, "twelve jobs may scroll; four do not"
    assert table.splitlines()[-1].endswith("q leave")
    screen.go("y", "Yours to do.", "Down again within 7 days", "the clock moved back 61 min")
    screen.go("Escape", "REVIEW 4 jobs")
    job = screen.go("4", "departure replace K1 without a confirming test", "g sign")
    assert job.splitlines()[-1].endswith("q leave"), job
    screen.go("h", "what happened", "begins: belt-7", "37 left")
    lower = screen.go("NPage", "Caution read by Cy")
    assert "Mended" not in lower, "nothing of later stands above what was earlier"
    screen.go("Escape", "departure replace K1")
    screen.go("m", "Write back to this job.")
    screen.say("39 why was it not confirmed?", "Saved as event 56.", "saved 56")
    screen.go("k", "Which of these is done?")
    screen.say("1 guard refitted", "Saved as event 57.", "saved 57")
    screen.go("g", "Countersign up to event 57", "Your key file:")
    screen.say(str(key), "Passphrase:", shown="(path of kim.key)")
    screen._tmux("send-keys", "-t", "b", "-l", PASS)
    assert PASS not in screen.until("(the passphrase)", "Passphrase:", "\u2022" * len(PASS))
    screen.press("Enter")
    screen.until("Enter", "Countersigned by Kim up to event 57; it is event 58.", "saved 58")
    screen.go("Escape", "REVIEW 4 jobs", "open: 1; departures: 3")
    screen.go("Escape", "What is wrong?")


def begun(folder: Path, size: tuple[int, int]) -> tuple[Monday, Path]:
    plant = folder / "plant"
    shutil.copytree(WEEK, plant)
    shutil.copy(ROOT / "tests/trees/machines/fan-2.yaml", plant / "fan-2/circuit.yaml")
    key = folder / "kim.key"
    key.write_text(make_key("Kim", PASS, lambda n: bytes(range(n))).text())
    key.chmod(0o600)
    return Monday(size, plant, {"TROUBLESHOOT_WHO": "Kim", "TROUBLESHOOT_CONFIG": str(folder / "none")}), key


def test_a_supervisors_monday(tmp_path: Path) -> None:
    screen, key = begun(tmp_path, (WIDTH, HEIGHT))
    try:
        live_through(screen, key)
    finally:
        screen.close()
    events, verdict = read_events(next(tmp_path.glob("plant/belt-7/jobs/belt-7-thu.jsonl")))
    assert verdict.whole
    assert [e.kind for e in events[55:]] == ["comment", "closed", "signed"]


def main() -> None:
    """Every screen of it, to be looked at: ``python tests/scenes/test_scene_j.py 80x24 > FILE``."""
    size = tuple(map(int, sys.argv[1].split("x")))
    with tempfile.TemporaryDirectory() as folder:
        screen, key = begun(Path(folder), (size[0], size[1]))
        try:
            live_through(screen, key)
        finally:
            screen.close()
    sys.stdout.write(written(screen.screens, f"Scene (j) at {sys.argv[1]}: a supervisor's Monday, four jobs"))


if __name__ == "__main__":
    main()
