"""Practice in a real terminal of 80 by 24: panel and question each on one screen, with the key that leads on in sight."""

from __future__ import annotations

from pathlib import Path

from practice.drive_practice import drive


def test_question_and_panel_fit_80_by_24_with_the_next_key_in_sight(tmp_path: Path, tmux: str) -> None:
    screens = drive(80, 24, tmp_path)
    for screen in screens:
        assert len(screen.rows) == 24
        assert all(len(row.rstrip()) <= 80 for row in screen.rows)
        assert "q leave" in " ".join(screen.rows[-3:]), screen.text
    intro, people, *_ = screens
    assert "Enter begin" in intro.text
    assert "Is everybody clear" in people.text
    predicted = next(s for s in screens if "First say it, then look" in s.text)
    assert "Enter that is it" in predicted.text
    panel = next(s for s in screens if s.text.startswith("PANEL"))
    assert ". to the question" in panel.text
    assert "Meter: V AC, automatic range, leads in V and COM; red free, black free." in panel.text
    assert "On the proving unit, AC: 1" in "".join(s.text for s in screens)
    last = screens[-1].text
    assert last.startswith("PRACTICE  THREE-WIRE")
    assert not [s for s in screens[:-1] if "hums, does not turn" in s.text and not s.text.startswith("PANEL")]
