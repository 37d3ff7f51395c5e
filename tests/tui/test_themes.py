"""Every meaning can be read under every look."""

from __future__ import annotations

import pytest

from troubleshoot.job.sheet import Role
from troubleshoot.tui.terminal import Look
from troubleshoot.tui.themes import MEANINGS, SHADES, ansi


def luminance(shade: str) -> float:
    """Relative luminance of sRGB, WCAG 2.1."""
    parts = [int(shade[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("look", [look for look in Look if not ansi(look)], ids=lambda look: look.value)
def test_text_stands_out_from_its_background_as_wcag_asks(look: Look) -> None:
    """WCAG 2.1, success criterion 1.4.3: contrast of at least 4.5 : 1; 1.4.6 asks 7 : 1 of the high-contrast look."""
    for meaning, (fg, bg, _) in SHADES[look].items():
        lighter, darker = sorted((luminance(fg), luminance(bg)), reverse=True)
        least = 7.0 if look is Look.HIGH_CONTRAST and meaning != "danger" else 4.5
        assert (lighter + 0.05) / (darker + 0.05) >= least, (meaning, fg, bg)


@pytest.mark.parametrize("look", list(Look), ids=lambda look: look.value)
def test_every_meaning_has_foreground_and_background(look: Look) -> None:
    assert set(SHADES[look]) == set(MEANINGS)
    assert {role.value for role in Role} - {"blank", "face"} <= set(MEANINGS), "a face has the shades of a row"
    for fg, bg, _ in SHADES[look].values():
        assert (fg == "ansi_default") == (bg == "ansi_default"), "a fixed colour on an unknown one"
        assert fg != bg or fg == "ansi_default"


def test_night_has_no_green_and_no_blue_light_to_speak_of() -> None:
    for fg, bg, _ in SHADES[Look.NIGHT].values():
        for shade in (fg, bg):
            red, green, blue = (int(shade[n : n + 2], 16) for n in (1, 3, 5))
            assert red >= max(green, blue)
    assert all(luminance(bg) < 0.1 or fg == "#000000" for fg, bg, _ in SHADES[Look.NIGHT].values())
