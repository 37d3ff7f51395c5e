"""Nothing that somebody else wrote may steer, reorder or hide anything on a terminal."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.showing import show

HOSTILE = {
    # ECMA-48 control functions and what common terminals do with them; from memory.
    "clipboard, OSC 52": "\x1b]52;c;cm0gLXJm\x07",
    "window title, OSC 0": "\x1b]0;gone\x07",
    "link, OSC 8": "\x1b]8;;http://h\x1b\\L\x1b]8;;\x1b\\",
    "colour, CSI": "\x1b[31mred\x1b[0m",
    "erase screen": "\x1b[2J",
    "cursor home": "\x1b[H",
    "report back, DSR": "\x1b[6n",
    "full reset": "\x1bc",
    "device control string": "\x1bP$q\x1b\\",
    "application command": "\x1b_G\x1b\\",
    "alternate screen": "\x1b[?1049h",
    "mouse on": "\x1b[?1003h",
    "C1 CSI": "\x9b31m",
    "C1 OSC": "\x9d0;gone\x9c",
    "C1 DCS": "\x90x\x9c",
    "bell": "\x07",
    "backspace over": "120 V\x08\x08\x08\x08\x080 V",
    "return over": "live\rdead",
    "line feed": "K1\nK2",
    "vertical tab": "a\x0bb",
    "form feed": "a\x0cb",
    "tab": "a\tb",
    "shift out": "\x0eabc\x0f",
    "NUL": "a\x00b",
    "DEL": "a\x7fb",
    "next line": "a\x85b",
    "right-to-left override": "\u202eno",
    "right-to-left embedding": "\u202bno",
    "pop": "\u202c",
    "isolate": "\u2066a\u2069",
    "right-to-left mark": "a\u200fb",
    "Arabic letter mark": "a\u061cb",
    "zero width space": "K\u200b1",
    "zero width joiner": "K\u200d1",
    "zero width non-joiner": "K\u200c1",
    "word joiner": "K\u20601",
    "byte order mark": "\ufeffK1",
    "soft hyphen": "K\u00ad1",
    "grapheme joiner": "K\u034f1",
    "Hangul filler": "K\u31641",
    "half-width filler": "K\uffa01",
    "blank braille": "K\u28001",
    "variation selector": "K\ufe0f1",
    "tag letters": "K\U000e00411",
    "line separator": "a\u2028b",
    "paragraph separator": "a\u2029b",
    "lone surrogate": "a\ud800b",
    "escaped byte of a file name": "a\udce9b",
    "not a character": "a\ufffeb",
    "private use": "a\ue000b",
    "flood of marks": "a" + "\u0301" * 500,
    "mark with nothing below": "\u0301a",
    "Cyrillic K in a tag": "\u041a1",
    "Cyrillic o in a Latin word": "st\u043ep",
    "full-width digit": "K\uff11",
    "interlinear": "a\ufff9b",
}  # fmt: skip


def _visible(text: str) -> bool:
    return text.isprintable() and not any(unicodedata.category(c)[0] == "C" for c in text)


@pytest.mark.parametrize("hostile", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_string_is_shown_marked(hostile):
    shown = show(hostile)
    assert _visible(shown)
    assert shown != hostile
    assert show(shown) == shown


@pytest.mark.parametrize("hostile", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_string_is_no_name(hostile):
    assert flaw_in_name(f"x{hostile}x" if hostile[0].isspace() else hostile)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31m", "␛[31m"),
        ("\u202eno", "<U+202E>no"),
        ("a\x7f\x00\x9b", "a␡␀<U+009B>"),
        ("K1\nK2", "K1␊K2"),
        ("a" + "\u0301" * 99, "a\u0301\u0301<+97 marks>"),
        ("\u041a1", "\u041a<U+041A>1"),
        ("120\u00a0V", "120 V"),
    ],
)
def test_marks_say_what_was_there(text, shown):
    assert show(text) == shown


@pytest.mark.parametrize(
    "ordinary",
    [
        "K1:14",
        "motor hums, 0.2 Ω, 40 °C, ±5 %, µA",
        "[bold]x[/]",
        "Größe, naïve, señal",
        "Việt Nam",
        "ПУСК и СТОП",
        "он",
        "緊急停止",
        "Κινητήρας",
        "⚠ live",
        "a\\x1b",
    ],
)
def test_ordinary_words_of_any_language_come_back_unchanged(ordinary):
    assert show(ordinary) == ordinary
    assert flaw_in_name(ordinary) is None


def test_lines_can_be_kept_for_text_of_several_lines():
    assert show("IF a\r\n\tb;\x1b\nEND", newlines="keep") == "IF a\n    b;␛\nEND"


@given(st.text(st.characters(), max_size=80))
def test_whatever_is_shown_is_visible_and_stays_the_same_when_shown_again(text):
    shown = show(text)
    assert _visible(shown)
    assert show(shown) == shown
    assert all(map(_visible, show(text, newlines="keep").split("\n")))


def test_every_single_code_point_is_safe():
    for code in (*range(0x3000), *range(0xD7F0, 0xE010), *range(0xFE00, 0x10000), *range(0xE0000, 0xE0200)):
        assert _visible(show("a" + chr(code))), hex(code)


@given(st.text(st.sampled_from("K1é\u0301\u202e\u200b \x1bК"), max_size=8))
def test_a_name_without_flaw_is_shown_as_it_is(text):
    if flaw_in_name(text) is None:
        assert show(text) == text
