"""The whole of scene (b) in a real terminal of 80 by 24: nothing cut off, every screen with its task, everything saved."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from scenes.drive_scene_b import MACHINE, Screen, drive

from troubleshoot.cli.machines_on_disk import open_desk

WIDTH, HEIGHT = 80, 24
FAULT = "12:K1:14>FR1:95 open"
TASKS = {
    "people": "Is everybody clear",
    "last": "Ask whoever ran it",
    "search": ("different", "Red on:", "red on:"),
    "isolate": "now   ",
    "confirm": "Confirm wire 12",
    "repair": "Do: re-make wire 12, K1:14 to FR1:95.",
    "power": "Before power goes back on",
    "proof": "Proof run, ",
    "handback": "Ready to hand back",
    "ended": "This job has ended: mended.",
}
"""What to do now, by stage: one of the words must be on each of its screens."""

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")


@pytest.fixture(scope="module")
def screens(tmp_path_factory: pytest.TempPathFactory) -> list[Screen]:
    """The job lived through once, for all tests of this module."""
    lived: list[Screen] = []
    plant: Path = tmp_path_factory.mktemp("plant")
    drive(open_desk(MACHINE), FAULT, WIDTH, HEIGHT, lived, plant=plant)
    return lived


def test_every_stage_from_the_first_question_to_the_hand_back_is_lived_through(screens: list[Screen]) -> None:
    assert {s.stage for s in screens} == {"front", *TASKS}
    assert screens[-1].stage == "ended"
    assert "mended" in screens[-1].text
    assert "wire 12 open between K1:14 and FR1:95, confirmed" in " ".join(screens[-1].text.split())


def test_nothing_is_cut_off_and_nothing_has_to_be_scrolled(screens: list[Screen]) -> None:
    for screen in screens:
        rows = [row.rstrip() for row in screen.rows]
        assert len(rows) == HEIGHT
        assert all(len(row) <= WIDTH for row in rows)
        assert "PgDn" not in screen.text
        missing = [line for line in screen.owed if line not in rows]
        assert not missing, f"{missing} not whole on:\n{screen.text}"
        assert rows[-1].startswith("? help")
        assert rows[-1].endswith("q leave"), "a key has found no room"


def test_every_screen_says_what_to_do_now(screens: list[Screen]) -> None:
    for screen in screens[1:]:
        words = TASKS[screen.stage]
        assert any(w in screen.text for w in ([words] if isinstance(words, str) else words)), screen.text


def test_the_saved_number_grows_with_every_answer(screens: list[Screen]) -> None:
    saved = [screen.saved for screen in screens]
    assert saved == list(range(saved[0], saved[0] + len(saved)))


def test_every_live_reading_had_its_caution_on_the_screen_before_typing_opened(screens: list[Screen]) -> None:
    live = [k for k, s in enumerate(screens) if s.stage == "search" and "Type what the meter shows" in s.text]
    assert live
    for k in live:
        assert screens[k - 1].unread
        assert "CAUTION" in screens[k - 1].rows[1]
        assert "Read the caution, then press c" in screens[k - 1].text


def test_no_word_of_the_machinery_reaches_the_person(screens: list[Screen]) -> None:
    # Words that no electrician uses of a fault: they belong to the program's own rooms.
    for word in ("belief", "suspect", "situation", "posterior", "entropy", "hop ", "epoch"):
        assert not any(word in screen.text.lower() for screen in screens), word
