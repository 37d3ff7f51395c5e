"""What is claimed is held against the panel: a reset nobody made, a proof nobody ran, an answer before the prediction."""

from __future__ import annotations

from practice.desks import desk, hidden
from practice.test_practised import texts
from practice.trainee import Trainee, begin


def at_the_repair(fault: str) -> Trainee:
    t = Trainee(begin(hidden("three-wire", fault), desk()))
    for _ in range(80):
        if t.page == "question" and t.practice._stage().name == "repair":
            return t
        assert not t.over, t.text
        t.step()
    raise AssertionError(t.text)


def test_a_trip_is_reset_by_a_hand_on_the_panel_and_not_by_what_is_typed() -> None:
    t = at_the_repair("FR1 tripped")
    t.type("banana in the works")
    assert not any(e.kind == "repaired" for e in t.practice._log.events)
    assert "On the panel FR1 still stands tripped" in " ".join(t.text.split())
    t.put_right(t.practice._stage().suspect)
    assert not t.over
    t.type("belt was jammed")
    assert any(e.kind == "repaired" for e in t.practice._log.events)


def test_a_proof_that_was_ticked_off_and_never_run_heads_the_debrief_and_is_no_pass() -> None:
    t = at_the_repair("FR1 tripped")
    t.put_right(t.practice._stage().suspect)
    t.type("belt was jammed")
    for _ in range(10):
        if t.practice._stage().name == "proof" and t.practice._stage().check.situation.situation.acts:  # type: ignore[union-attr]
            break
        t.step()
    assert t.practice._stage().name == "proof"
    t.press("enter")
    t.press("e")
    t.press("5")
    assert t.over
    result = t.practice._debrief.result  # type: ignore[union-attr]
    assert result.found
    assert result.unproved > 1
    assert not result.passed
    pages = " ".join(texts(t).split())
    assert "proof checks made and true" in pages
    assert "of your answers false" in pages
    assert "Safe all the way" not in pages
    assert 'As the cause you wrote: "belt was jammed".' in pages
