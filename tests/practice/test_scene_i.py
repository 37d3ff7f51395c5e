"""Scene (i): a trainee's first week, as inputs and the lines that the screen owes for them."""

from __future__ import annotations

import io

import pytest
from practice.desks import desk, hidden
from practice.learner import Learner
from practice.trainee import Trainee, begin, memory_log

from troubleshoot.job.sheet import Input, Typed
from troubleshoot.practice.course import Course
from troubleshoot.practice.exercise import choose
from troubleshoot.practice.session import Practice
from troubleshoot.tui.plain import run_plain


def in_order(text: str, *words: str) -> None:
    at = 0
    flat = " ".join(text.split())
    for word in words:
        found = flat.find(" ".join(word.split()), at)
        assert found >= 0, f"{word!r} does not come after {flat[:at][-60:]!r}:\n{text}"
        at = found + len(word)


def said(runner: object, lines: list[str]) -> str:
    """The inputs, down a pipe."""
    out = io.StringIO()
    assert run_plain(runner, io.StringIO("\n".join(lines) + "\n"), out, talking=False) == 0  # type: ignore[arg-type]
    return out.getvalue()


def course(level: int, seed: int = 0) -> Course:
    return Course(choose(desk(), level, seed), desk(), memory_log, "RT")


def test_day_one_first_say_it_then_measure_with_no_fault_at_all() -> None:
    made = course(1)
    task = made._sitting.lesson.tasks[0]
    meter = task.meters[0]
    knob = {"ac volts": "ac", "dc volts": "dc"}[meter.mode]
    acts = [str(a) for a in task.situation.situation.acts]
    lines = [
        "",
        "7",
        ".",
        "t",
        "open panel",
        *acts,
        f"knob {knob}",
        ".",
        "c",
        ".",
        f"leads {meter.red} {meter.black}",
        "read",
        ".",
    ]
    text = said(made, lines)
    in_order(
        text, "Lesson 1: no fault: say what should be there, then measure.", "20 tasks", "Type: First say it",
        "You said 7; a good machine has", "CAUTION", "PANEL", f"{meter.red} to {meter.black}:", "DISPLAY",
    )  # fmt: skip


def test_day_one_reading_before_the_caution_ends_the_day_with_the_reason() -> None:
    made = course(1)
    meter = next(
        t
        for t in made._sitting.lesson.tasks
        if abs(desk().reasoner.predict(t.meters[0], t.situation.situation).right) > 50
    ).meters[0]
    made._sitting.lesson = type(made._sitting.lesson)(
        (next(t for t in made._sitting.lesson.tasks if t.meters[0] == meter),)
    )
    acts = [str(a) for a in made._sitting.task.situation.situation.acts]
    text = said(made, ["", "120", ".", "t", "open panel", *acts, f"leads {meter.red} {meter.black}"])
    in_order(text, "Stopped for safety: reading before the caution", "its caution was not read", "Done.")


@pytest.mark.parametrize(
    ("level", "owed"), [(2, "by halves"), (3, "With load"), (4, "Somebody had your meter"), (5, "Open Q1")]
)
def test_days_two_to_five_each_ask_what_the_scene_says(level: int, owed: str) -> None:
    learner = Learner(desk(), level).play()
    assert learner.sheet.done
    text = " ".join(" ".join(line.text for sheet in learner.seen for line in sheet.lines).split())
    assert owed.casefold() in text.casefold()
    assert "Safe all the way" in text


class _Written(Practice):
    """Writes down what it is told."""

    def give(self, said: Input) -> None:
        if isinstance(said, Typed):
            self.lines.append(said.text)
        else:
            self.lines.append("" if said.key == "enter" else said.key)
        super().give(said)

    lines: list[str]


def test_the_first_hidden_fault_is_found_down_a_pipe_with_the_same_inputs_as_on_the_screen() -> None:
    made = hidden("three-wire", "F2 open")
    first = _Written(made, desk(), memory_log(), "RT")
    first.lines = []
    Trainee(first).play()
    lines = list(first.lines)
    # In a pipe the panel takes words once a place to type is open; `t` opens it for good.
    lines.insert(lines.index(".") + 1, "t")
    text = said(begin(made, desk()), lines + [""] * 6)
    in_order(
        text, '"won\'t start"', "Is everybody clear", "Walk round once and look", "First say it, then look", "You said:",
        "First say it, then measure", "should be", "CAUTION", "PANEL  THREE-WIRE", "DISPLAY", "Understood:",
        "make it safe first", "lock on Q1", "Test dead", "Found: fuse F2 open.", "Before power goes back on", "Proof run",
        "Proved. Ready to hand back.", "Safe all the way", "Hidden: fuse F2 open; to mend it: find the cause, then replace",
        "Your moves, and how many repairs each left", "The expert's way through the same exercise", "Done.",
    )  # fmt: skip
    assert "Traceback" not in text
    assert "No clock runs." in text
