"""What is typed at a reading means what an electrician meant by it, or is asked back."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.evidence.phrases import LIGHTS, PHRASES
from troubleshoot.evidence.seen import Interval, Unit, Word
from troubleshoot.evidence.words import Answer, AskBack, Asked, Understood, read_light, read_typed

CASES: list[list[str]] = yaml.load(
    (Path(__file__).parent / "cases" / "typed.yaml").read_text("utf-8"), Loader=yaml.BaseLoader
)
VOLTS = (Asked("V", 120.0),)


def card(words: str) -> tuple[Asked, ...]:
    asked = []
    for reading in words.split("|"):
        unit, *rest = reading.split()
        expected = next((float(word) for word in rest if word[0].isdigit()), None)
        known: Unit = "V" if unit == "V" else "A" if unit == "A" else "ohm"
        asked.append(Asked(known, expected, "shown" in rest, "ac" in rest))
    return tuple(asked)


def holds(answer: Answer, meaning: str) -> bool:
    weak = meaning.endswith(" weak")
    meaning = meaning.removesuffix(" weak")
    if answer.weak != weak:
        return False
    if meaning == "skipped":
        return answer.understood is None and answer.said == ""
    if meaning.startswith("unsteady "):
        return answer.understood is Word.UNSTEADY and spans(answer.around, meaning.removeprefix("unsteady "))
    if ".." in meaning:
        return spans(answer.understood, meaning)
    return answer.understood is Word(meaning) and answer.around is None


def spans(understood: object, text: str) -> bool:
    low, high = (float(end) for end in text.split(".."))
    return isinstance(understood, Interval) and (understood.low, understood.high) == pytest.approx((low, high))


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[1]!r} at {case[0]}")
def test_what_is_typed_means(case: list[str]) -> None:
    asked, typed, *meanings = case
    result = read_typed(typed, asked=card(asked))
    if meanings[0].startswith("ask: "):
        assert isinstance(result, AskBack)
        assert meanings[0].removeprefix("ask: ") in result.words
        assert list(result.instead) == meanings[1:]
    else:
        assert isinstance(result, Understood), result
        assert len(result.answers) == len(meanings)
        assert all(holds(answer, meaning) for answer, meaning in zip(result.answers, meanings, strict=True)), result


def test_the_case_file_has_the_sixty_that_were_asked_for() -> None:
    assert len(CASES) >= 60


@pytest.mark.parametrize("case", [case for case in CASES if case[2].startswith("ask: ")], ids=lambda case: case[1])
def test_every_line_offered_instead_is_itself_understood(case: list[str]) -> None:
    asked = card(case[0])
    result = read_typed(case[1], asked=asked)
    assert isinstance(result, AskBack)
    for line in result.instead:
        again = read_typed(line, asked=asked)
        # 1.200 V where 1200 V is expected is a scale question of its own; it must at least lead on.
        assert isinstance(again, Understood) or line not in again.instead


@pytest.mark.parametrize(
    ("asked", "typed", "echo"),
    [
        ("V 120 | V 120 | V 120", "120 nothing", "1: 120 V  2: nothing (nothing)  3: skipped"),
        ("V 0.01", "0.2 mV", "1: 0.2 mV"),
        ("ohm 3300", "3.3 kΩ", "1: 3.3 kohm"),
        ("V 24", "23,6", "1: 23.6 V (comma read as decimal point)"),
        ("V 24", "o", "1: nothing (letter O taken as zero)"),
        ("V 24", "-24", "1: -24 V"),
        ("V 120 ac", "-118", "1: 118 V (minus dropped: AC has no sign)"),
        ("V 24", "24ish", "1: about 24 V (21.6 to 26.4 V)"),
        ("V 120", "118-121", "1: 118 to 121 V"),
        ("ohm", ">550M", "1: more than 550 Mohm"),
        ("V 120 shown", "ok", "1: right, as expected (120 V)"),
        ("V 0", "60ish drifting", "1: unsteady, about 60 V (54 to 66 V)"),
        ("ohm", "OL", "1: OL (open)"),
    ],
)
def test_what_was_understood_is_shown_back_with_its_unit(asked: str, typed: str, echo: str) -> None:
    result = read_typed(typed, asked=card(asked))
    assert isinstance(result, Understood)
    assert result.echo == echo.replace("nothing (nothing)", "nothing")


def test_the_raw_text_of_each_reading_is_kept() -> None:
    result = read_typed("  118–121 V ;  ghost ", asked=VOLTS * 2)
    assert isinstance(result, Understood)
    assert [answer.said for answer in result.answers] == ["118–121 V", "ghost"]
    assert result.said == "  118–121 V ;  ghost "


def test_a_short_line_says_how_many_readings_are_missing() -> None:
    result = read_typed("120", asked=VOLTS * 3)
    assert isinstance(result, Understood)
    assert result.missing == 2


def test_a_paste_longer_than_four_kilobytes_is_refused_unread() -> None:
    result = read_typed("120 " * 1025, asked=VOLTS)
    assert isinstance(result, AskBack)
    assert "too long" in result.words
    assert isinstance(read_typed("é" * 2100, asked=VOLTS), AskBack)


@given(st.text(max_size=80), st.integers(1, 3))
def test_no_text_at_all_makes_it_fall_over(text: str, readings: int) -> None:
    result = read_typed(text, asked=(Asked("V", 24.0), Asked("ohm"), Asked("A", 4.8))[:readings])
    assert isinstance(result, AskBack) or len(result.answers) == readings


@given(st.text(alphabet="0123456789.,-+oOlLmMkKVAΩ ;/>~<ish", max_size=24))
def test_no_number_is_understood_that_was_not_typed(text: str) -> None:
    result = read_typed(text, asked=(Asked("V"),) * 3)
    if isinstance(result, Understood):
        for answer in result.answers:
            if isinstance(answer.understood, Interval):
                assert re.search("[0-9]", answer.said)
                assert answer.understood.low <= answer.understood.high


@given(st.integers(-9_999_999, 9_999_999), st.integers(0, 4))
def test_a_display_reading_holds_its_own_value_and_is_one_digit_wide(digits: int, places: int) -> None:
    shown = f"{digits / 10**places:.{places}f}"
    result = read_typed(shown + " V", asked=(Asked("V"),))
    if isinstance(result, Understood) and isinstance(interval := result.answers[0].understood, Interval):
        assert interval.middle == pytest.approx(float(shown), abs=1e-9)
        assert interval.high - interval.low == pytest.approx(10**-places)
    else:
        assert abs(digits) / 10**places > 999_999 or digits == 0


@pytest.mark.parametrize("phrase", sorted(PHRASES))
def test_every_word_of_the_vocabulary_is_understood_or_asked_about(phrase: str) -> None:
    meanings = {type(read_typed(phrase, asked=(Asked(unit, 120.0),))) for unit in ("V", "A", "ohm")}
    assert Understood in meanings


@pytest.mark.parametrize(
    ("typed", "word"),
    [("on", Word.ON), ("OFF", Word.OFF), ("dim", Word.DIM), ("faint", Word.DIM), ("flickers", Word.UNSTEADY),
     ("blinking", Word.UNSTEADY), ("comes  and goes", Word.UNSTEADY), ("?", Word.COULDNT), ("0", Word.OFF)],
)  # fmt: skip
def test_a_light_is_on_off_dim_or_unsteady(typed: str, word: Word) -> None:
    assert read_light(typed) is word


@pytest.mark.parametrize(("typed", "near"), [("onn", "on"), ("dimm", "dim"), ("120", None), ("", None)])
def test_anything_else_at_a_light_is_asked_back(typed: str, near: str | None) -> None:
    result = read_light(typed)
    assert isinstance(result, AskBack)
    assert near is None or result.instead == (near,)


def test_every_light_word_stands_in_lower_case() -> None:
    assert all(read_light(phrase.upper()) is word for phrase, word in LIGHTS.items())
