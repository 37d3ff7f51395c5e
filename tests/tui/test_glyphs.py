"""Characters a terminal can draw."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from troubleshoot.tui.glyphs import CONSOLE_SAFE, fit, fitted
from troubleshoot.tui.terminal import Glyphs


@given(st.text())
def test_ascii_is_ascii(text: str) -> None:
    assert fit(Glyphs.ASCII)(text).isascii()


@given(st.text())
def test_nothing_a_terminal_obeys_comes_through(text: str) -> None:
    for glyphs in Glyphs:
        assert all(char.isprintable() for char in fit(glyphs)(text))


@given(st.text())
def test_a_console_gets_only_characters_its_fonts_have(text: str) -> None:
    assert all(c.isascii() or c in CONSOLE_SAFE or "\xa1" <= c <= "\xff" for c in fit(Glyphs.CONSOLE)(text))


def test_a_drawn_rung_keeps_its_columns() -> None:
    rung = "├──┤ K1 ├──○──┬──( KM1 )──┤ ● ■"
    for glyphs in Glyphs:
        assert cell_len(fitted(rung, glyphs)) == cell_len(rung)


def test_ohms_are_written_out_where_the_sign_is_missing() -> None:
    assert fitted("150 Ω", Glyphs.CONSOLE) == "150 ohm"
    assert fitted("± 5 °C", Glyphs.CONSOLE) == "± 5 °C"
