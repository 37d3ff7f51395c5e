"""What is chosen for which terminal."""

from __future__ import annotations

import pytest

from troubleshoot.tui.terminal import Glyphs, Look, Terminal, detect, settings


def on(*, encoding: str = "utf-8", keyboard: bool = True, screen: bool = True, **env: str) -> Terminal:
    return detect(env, encoding=encoding, keyboard=keyboard, screen=screen)


def test_a_linux_console_gets_its_own_16_colours_and_its_own_characters() -> None:
    found = on(TERM="linux")
    assert (found.plain, found.look, found.glyphs, found.old) == (False, Look.CONSOLE, Glyphs.CONSOLE, True)
    assert settings(found)["TEXTUAL_DISABLE_KITTY_KEY"] == "1"


def test_a_terminal_of_256_colours_gets_shades() -> None:
    assert on(TERM="xterm-256color").look is Look.DARK
    assert on(TERM="xterm-256color", COLORFGBG="0;15").look is Look.LIGHT
    assert on(TERM="xterm").look is Look.CONSOLE


def test_no_color_wins_over_a_theme_and_an_empty_one_counts_for_nothing() -> None:
    """no-color.org: the variable counts "when present and not an empty string (regardless of its value)"."""
    assert on(TERM="xterm-256color", NO_COLOR="0", TROUBLESHOOT_THEME="dark").look is Look.MONO
    assert on(TERM="xterm-256color", NO_COLOR="").look is Look.DARK


@pytest.mark.parametrize("look", list(Look), ids=lambda look: look.value)
def test_every_theme_can_be_asked_for(look: Look) -> None:
    assert on(TERM="xterm-256color", TROUBLESHOOT_THEME=look.value).look is look


def test_shades_asked_for_on_16_colours_are_not_given_and_the_reason_is_said() -> None:
    found = on(TERM="linux", TROUBLESHOOT_THEME="night")
    assert found.look is Look.CONSOLE
    assert any("16 colours" in why for why in found.why)


def test_a_theme_nobody_knows_is_named_with_those_that_exist() -> None:
    assert any("'drak'" in why and "night" in why for why in on(TERM="xterm", TROUBLESHOOT_THEME="drak").why)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "no such thing"])
def test_a_screen_that_cannot_encode_gets_ascii(encoding: str) -> None:
    assert on(TERM="xterm", encoding=encoding).glyphs is Glyphs.ASCII


@pytest.mark.parametrize("term", ["", "dumb", "unknown"])
def test_a_dumb_terminal_gets_lines(term: str) -> None:
    assert on(TERM=term).plain


def test_a_pipe_on_either_side_gets_lines() -> None:
    assert on(TERM="xterm", keyboard=False).plain
    assert on(TERM="xterm", screen=False).plain


def test_nothing_moves_by_itself_on_any_terminal() -> None:
    assert settings(on(TERM="xterm-256color"))["TEXTUAL_ANIMATIONS"] == "none"
    assert "ESCDELAY" in settings(on(TERM="xterm-256color"))
