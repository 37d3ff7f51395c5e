"""What holds of every scene of the night in a real terminal: nothing cut off, every screen with its task, everything saved.

Each size has a module of its own, so that they run side by side.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import ClassVar

import pytest
from scenes.drive_scene import SCENES, Screen, drive

TASKS = {
    "front": ("I don't know", "question "),
    "stop": "OPEN Q1 (main disconnect) NOW. Did it stop?",
    "people": "Is everybody clear",
    "last": ("Ask whoever ran it", "At the machine", "Before anything is touched"),
    "watch": "Watch it.",
    "tried": "which stop was tried",
    "search": ("different", "Different?", "Red on:", "red on:", "Red on", "meter shows", "read it"),
    "isolate": "now   ",
    "confirm": "Confirm ",
    "repair": "Do: ",
    "putback": "Put back first",
    "reset": "has tripped, and the next step needs",
    "power": "Before power goes back on",
    "proof": "Proof run, ",
    "waiting": "What is left needs a permit",
    "handed": "take it up",
    "handback": ("Ready to hand back", "The proof run is through"),
    "ended": ("This job has ended: ", "Put off, not over: "),
}
"""What to do now, by stage: one of the words must be on each of its screens."""
STAGES = {
    "a": {"people", "last", "search", "isolate", "confirm", "repair", "power", "proof", "handback", "ended"},
    "b": {"people", "last", "search", "isolate", "confirm", "repair", "power", "proof", "handback", "ended"},
    "c": {"people", "last", "search", "watch", "isolate", "confirm", "repair", "power", "proof", "handback", "ended"},
    "d": {"people", "last", "search", "isolate", "repair", "power", "proof", "handback", "ended"},
    "e": {
        "stop",
        "people",
        "last",
        "tried",
        "search",
        "isolate",
        "repair",
        "power",
        "proof",
        "handback",
        "ended",
    },
    "f": {"people", "last", "search", "isolate", "confirm", "repair", "power", "proof", "handback", "ended"},
    "g": {"people", "last", "search", "waiting", "ended"},
    "h": {"people", "last", "search", "isolate", "confirm", "repair", "putback", "power", "proof", "handback", "ended"},
}


@pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")
class Lived:
    """Every scene at one size."""

    size: ClassVar[tuple[int, int]]
    sample: ClassVar[str] = "".join(STAGES)
    """Scenes of the ordinary run; ``TROUBLESHOOT_TESTS=all`` lives through every one."""

    @pytest.fixture(scope="class", params=list(STAGES))
    def lived(
        self, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
    ) -> tuple[str, list[Screen]]:
        """A night lived through once, for all tests of this size."""
        if request.param not in request.cls.sample and os.environ.get("TROUBLESHOOT_TESTS") != "all":
            pytest.skip("lived through with TROUBLESHOOT_TESTS=all")
        screens: list[Screen] = []
        plant: Path = tmp_path_factory.mktemp("plant")
        drive(SCENES[request.param], *request.cls.size, screens, plant=plant)
        return request.param, screens

    @pytest.fixture
    def screens(self, lived: tuple[str, list[Screen]]) -> list[Screen]:
        return lived[1]

    def test_every_stage_to_the_end_of_the_job_is_lived_through(self, lived: tuple[str, list[Screen]]) -> None:
        scene, screens = lived
        assert {s.stage for s in screens} - {"front", "aside"} >= STAGES[scene]
        assert screens[-1].stage == "ended"
        text = " ".join(screens[-1].text.split())
        first = "Put off, not over" if SCENES[scene].ends.startswith("waiting") else "This job has ended"
        assert f"{first}: {SCENES[scene].ends}" in text
        if scene in "bch":
            assert "wire 12 open between K1:14 and FR1:95, confirmed" in text

    def test_nothing_is_cut_off_and_nothing_has_to_be_scrolled(self, screens: list[Screen]) -> None:
        for screen in screens:
            rows = [row.rstrip() for row in screen.rows]
            assert len(rows) == self.size[1]
            assert all(len(row) <= self.size[0] for row in rows)
            assert "PgDn" not in screen.text
            missing = [line for line in screen.owed if line not in rows]
            assert not missing, f"{missing} not whole on:\n{screen.text}"
            while not rows[-1]:
                rows.pop()  # a tall screen gives every key a second row to be touched on
            assert any(row.startswith("? help") for row in rows[-3:]), "the keys begin with help"
            assert rows[-1].endswith("q leave"), "a key has found no room"

    def test_every_screen_says_what_to_do_now(self, screens: list[Screen]) -> None:
        for screen in (s for s in screens[1:] if s.stage != "aside"):
            words = TASKS[screen.stage]
            assert any(w in screen.text for w in ([words] if isinstance(words, str) else words)), screen.text

    def test_the_saved_number_grows_with_every_answer(self, lived: tuple[str, list[Screen]]) -> None:
        scene, screens = lived
        saved = [screen.saved for screen in screens]
        assert saved == sorted(saved)
        if scene in "be":  # nothing but answers: no page was opened beside them
            assert saved == list(range(saved[0], saved[0] + len(saved)))

    def test_every_live_reading_had_its_caution_on_the_screen_before_typing_opened(
        self, lived: tuple[str, list[Screen]]
    ) -> None:
        scene, screens = lived
        live = [
            k
            for k, s in enumerate(screens)
            if s.stage == "search" and "power ON" in s.rows[0] and "Type what the meter shows" in s.text
        ]
        assert live or scene in "eg"  # what does not stop is found dead; without a permit nothing is metered
        for k in live:
            assert screens[k - 1].unread
            assert "CAUTION" in screens[k - 1].rows[1]
            assert "Read the caution, then press c" in screens[k - 1].text

    def test_no_word_of_the_machinery_reaches_the_person(self, screens: list[Screen]) -> None:
        # Words that no electrician uses of a fault: they belong to the program's own rooms.
        for word in ("belief", "suspect", "situation", "posterior", "entropy", "hop ", "epoch"):
            assert not any(word in screen.text.lower() for screen in screens), word
