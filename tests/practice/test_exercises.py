"""The same seed, the same exercise; and an exercise file does not give away what is hidden in it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from practice.desks import desk, hidden

from troubleshoot.practice.exercise import (
    BY_NUMBER,
    LEVELS,
    Exercise,
    choose,
    is_condition,
    is_joint,
    is_open,
    shown_by,
)
from troubleshoot.practice.sealed import read_exercise, write_exercise


@pytest.mark.parametrize("level", [level.number for level in LEVELS])
def test_the_same_seed_gives_the_same_exercise_and_others_differ(level: int) -> None:
    if BY_NUMBER[level].name == "wrong description":
        pytest.skip("its tables take long; `test_a_machine_that_somebody_worked_on` has it")
    first = choose(desk(), level, 3)
    assert choose(desk(), level, 3) == first
    if not BY_NUMBER[level].lesson and 6 < level < 12:
        assert len({choose(desk(), level, seed).faults for seed in range(6)}) > 2


def test_each_level_hides_what_it_says() -> None:
    known = {s.id: s for s in desk().machine.suspects}
    for level, fits in ((6, is_condition), (7, is_open), (8, is_joint), (9, is_open), (12, is_open)):
        for seed in range(3):
            assert all(fits(known[f]) for f in choose(desk(), level, seed).faults)
    two = choose(desk(), 10, 1)
    assert len({known[f].group for f in two.faults}) == 2


def test_what_is_hidden_shows_the_complaint_that_is_told() -> None:
    for seed in range(6):
        made = choose(desk(), 7, seed)
        k = [s.id for s in desk().machine.suspects].index(made.faults[0])
        assert desk().reasoner.complained(made.complaint, desk().shows(made.complaint).situation)[k] >= 0.9


def test_a_wrong_note_says_volts_where_there_are_none() -> None:
    made = choose(desk(), 12, 0)
    assert made.note is not None
    from troubleshoot.practice.panel import Panel

    panel = Panel(desk(), made.suspects(desk()), 0, fresh=False)
    for act in desk().shows(made.complaint).situation.acts:
        panel.do(act)
    truth = panel.truth(made.note.meter.mode, made.note.meter.red, made.note.meter.black)
    assert abs(truth.high) < 0.5 * float(made.note.said)


# ---------------------------------------------------------------------------------------------------------------- files


@settings(max_examples=40)
@given(st.data())
def test_a_file_reads_back_as_it_was_and_holds_no_word_of_what_is_hidden(data: st.DataObject) -> None:
    ids = [s.id for s in desk().machine.suspects[:-1]]
    faults = tuple(data.draw(st.lists(st.sampled_from(ids), min_size=1, max_size=2, unique=True)))
    title = data.draw(
        st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp", "Cn", "Co")), max_size=40)
    )
    made = Exercise("three-wire", 7, data.draw(st.integers(0, 9999)), "wont-start", "it's dead", faults, title=title)
    text = write_exercise(made)
    assert read_exercise(text.encode(), "x.yaml") == made
    for fault in faults:
        words = next(s.words for s in desk().machine.suspects if s.id == fault)
        assert "level" not in text.replace(f"title: '{title}'", "")
        assert fault not in text.replace(f"title: '{title}'", "")
        assert words not in text


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ("machine:", "machin:", "x.yaml:5:1: there is no key 'machin' in an exercise (nearest: machine)"),
        ("seed: '1'", "level: 'opns'\nseed: '1'", "x.yaml:8:8: there is no level 'opns' (nearest: opens)"),
        ("seed: '1'", "seed: 'one'", "x.yaml:8:7: seed 'one' is no whole number"),
        ("seed: '1'", "seed: '2'", "the digest does not fit"),
        ("practice: 1", "practice: 7", "reads format 1"),
        ("sealed: |\n", "sealed: |\n  x\n", "the digest does not fit"),
        ("title: ''", "title: [", "x.yaml:"),
        ("machine:", "machine: &a", "anchor"),
    ],
)
def test_a_slip_in_the_file_is_told_with_its_line_and_the_nearest_name(before: str, after: str, told: str) -> None:
    text = write_exercise(hidden("three-wire", "F2 open", complaint="wont-start"))
    assert before in text
    found = read_exercise(text.replace(before, after, 1).encode(), "x.yaml")
    assert isinstance(found, tuple)
    assert any(told in str(problem) for problem in found), [str(p) for p in found]


@settings(max_examples=60)
@given(st.binary(max_size=300))
def test_no_bytes_make_reading_raise(junk: bytes) -> None:
    assert isinstance(read_exercise(junk, "x.yaml"), tuple)


def test_what_is_packed_and_is_no_exercise_is_refused_even_with_a_right_digest() -> None:
    import base64
    import json
    import re
    import zlib

    from troubleshoot.practice import sealed

    text = write_exercise(hidden("three-wire", "F2 open", complaint="wont-start"))
    for inside in (b"[]", b"{", json.dumps({"faults": 1, "meter": [], "note": None}).encode(), b"\xff" * 90000):
        packed = base64.b64encode(zlib.compress(inside)).decode()
        fields = dict(re.findall(r"(?m)^(\w+): '(.*)'$", text))
        fields = {k: v.replace("''", "'") for k, v in fields.items()}
        digest = sealed._digest(fields, packed)
        other = re.sub(r"sealed: \|\n(  .*\n)+", f"sealed: |\n  {packed}\n", text)
        other = re.sub(r"digest: \w+", f"digest: {digest}", other)
        found = read_exercise(other.encode(), "x.yaml")
        assert isinstance(found, tuple)
        assert "no exercise" in str(found[0])


def test_the_complaint_of_a_hidden_fault_is_the_one_that_shows_it() -> None:
    by_id = {s.id: s for s in desk().machine.suspects}
    assert shown_by(desk(), by_id["F2 open"]) == "wont-start"
    assert shown_by(desk(), by_id["H1 open"]) == "light-lies"


@pytest.mark.parametrize("seed", range(12))
def test_what_comes_and_goes_is_nothing_that_has_blown(seed: int) -> None:
    made = choose(desk(), 9, seed)
    (suspect,) = made.suspects(desk())
    assert suspect.comes_and_goes
    assert suspect.sort in ("wire", "contact")
