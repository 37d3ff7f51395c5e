"""The first lesson and README's pictures show what the program really says. ``python tests/lesson.py`` renews both."""

from __future__ import annotations

import pytest
from lesson import DOCS, PAGE, PICTURES, picture, renewed, seen


def test_the_first_lesson_shows_what_the_program_says() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert renewed(page) == page, "the program now says something else: python tests/lesson.py"
    assert "\nDone.\n" in page


@pytest.mark.parametrize("name", sorted(PICTURES))
async def test_a_picture_in_readme_is_a_screen_of_this_program(name: str) -> None:
    kept = (DOCS / "screens" / f"{name}.svg").read_text(encoding="utf-8")
    assert seen(kept) == seen(await picture(PAGE.read_text(encoding="utf-8"), PICTURES[name])), (
        "the screen has changed: python tests/lesson.py"
    )
