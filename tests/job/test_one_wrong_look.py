"""One wrong look, many answers back: undo offers the one that stands against all the rest beside the last."""

from __future__ import annotations

from job.nights import Night

from troubleshoot.job.facts import said_words, taken_back_alone


def wronged() -> Night:
    """A welded overload contact looked for where the motor was called still although it turned."""
    night = Night("K1 coil open")
    night.type("belt 7 dead")
    wrong = False
    for _ in range(25):
        sheet = night.sheet()
        row = next((line for line in sheet.lines if "M1 " in line.text and "Start" in night.text and line.keys), None)
        if not wrong and night.stage.step is not None and night.stage.step.situation.situation.acts and row is not None:
            night.press(row.keys[0])
            night.press("enter")
            wrong = True
            continue
        if wrong and night.stage.name == "search" and taken_back_alone(night.desk, night.state) is not None:
            return night
        night.careful()
    raise AssertionError(night.text)


def test_undo_offers_the_answer_that_stands_against_the_rest_and_takes_only_that_one_back() -> None:
    night = wronged()
    odd = taken_back_alone(night.desk, night.state)
    assert odd is not None
    assert "No single fault I know gives" in night.text
    before, last = night.state.undoable, night.state.undoable[-1]
    night.press("u")
    assert said_words(odd) in night.text
    assert "Take back which answer?" in night.text
    assert all(len(line) <= 80 for line in night.lines())
    assert night.state.undoable == before, "nothing is taken back yet"
    night.press("2")
    assert odd.event not in night.state.undoable
    assert last in night.state.undoable
    assert "No single fault I know gives" not in night.text


def test_undo_twice_takes_back_the_last_answer_as_ever() -> None:
    night = wronged()
    last = night.state.undoable[-1]
    night.press("u")
    night.press("u")
    assert last not in night.state.undoable
