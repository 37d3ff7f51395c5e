"""Whatever is pressed or typed, in whatever order: never a traceback, never what is hidden on a sheet before the end."""

from __future__ import annotations

import contextlib

from hypothesis import given, settings
from hypothesis import strategies as st
from practice.desks import desk, hidden
from practice.trainee import Trainee, begin

from troubleshoot.job.sheet import Pressed, Role, Typed
from troubleshoot.tui.answering import live_keys

WORDS = st.sampled_from([
    "press S1", "release S1", "press S2", "release S2", "press ES1", "release ES1", "open Q1", "close Q1", "lock Q1",
    "unlock Q1", "open panel", "close panel", "knob dc", "knob ohms", "knob low", "knob x", "range 6", "range 9", "jack a",
    "jack v", "red F4:2", "black G1:N", "leads F4:2 G1:N", "leads off", "F4:2 PE:1", "read", "prove", "change leads", "wait 5 s",
    "test FR1", "reset FR1", "refit F4", "pull F4", "lose power", "120", "0", "nothing", "277 0 277", "OL", "120 120 0",
    "KM1:A1 G1:N", "KM1:A1 G1:N 120", "put S1 in x", "; ;", "press", "leads Q9:1 Q1:2", "NB 7 £", "conveyor",
])  # fmt: skip
MOVES = st.one_of(
    st.integers(0, 60), WORDS, st.sampled_from(["dot", "step", "step", "step", "enter", "c"]),
    st.text(st.characters(codec="utf-8"), max_size=12),
)  # fmt: skip


@settings(max_examples=8)
@given(
    st.sampled_from(["F2 open", "KM1 coil open", "F4 open"]),
    st.lists(MOVES, min_size=5, max_size=40),
    st.integers(0, 5),
)
def test_no_move_breaks_it_and_none_gives_it_away(fault: str, moves: list[int | str], steps: int) -> None:
    t = Trainee(begin(hidden("three-wire", fault), desk()))
    for _ in range(steps):
        t.step()
    for move in moves:
        if t.over:
            break
        sheet = t.sheet
        # Once the job has found it by itself, from the answers, it may name it; and what can start names many.
        told = [line.text for line in sheet.lines if line.role not in (Role.CAUTION, Role.DANGER)]
        assert all(fault not in text for text in told if not text.startswith("Found: ")), fault
        assert all(len(line.text) <= 80 for line in sheet.lines)
        match move:
            case "step":
                # The scripted person was not prepared for where the moves have led.
                with contextlib.suppress(AssertionError, StopIteration, ValueError, IndexError):
                    t.step()
            case "dot":
                t.press(".")
            case "enter" | "c":
                t.press(str(move))
            case int():
                keys = sorted(live_keys(sheet))
                if keys:
                    t.practice.give(Pressed(keys[move % len(keys)], sheet.id, 400))
            case _:
                t.practice.give(Typed(str(move), sheet.id))
    if not t.over:
        for event in t.practice._log.events:
            assert event.kind in ("repaired", "power") or fault not in repr(dict(event.data))
