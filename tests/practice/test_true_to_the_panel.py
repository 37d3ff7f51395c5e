"""What is claimed is held against the panel: a reset nobody made, a proof nobody ran, an answer before the prediction."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest
from practice.desks import desk, hidden
from practice.learner import Learner
from practice.test_practised import texts
from practice.trainee import Trainee, begin, memory_log

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act
from troubleshoot.evidence.seen import Meter, Word
from troubleshoot.job.lists import item_keys, listed
from troubleshoot.job.sheet import Pressed, Typed
from troubleshoot.practice.bench import rows
from troubleshoot.practice.bench_sheet import short
from troubleshoot.practice.course import Course
from troubleshoot.practice.door import Door, Ways
from troubleshoot.practice.exercise import choose
from troubleshoot.practice.judging import reading_wrong
from troubleshoot.practice.meter import Setting, Shown, Truth
from troubleshoot.practice.panel import Metered, Panel
from troubleshoot.practice.tasks import Task, lesson, why
from troubleshoot.safety.doings import doings
from troubleshoot.tui.answering import leave_key


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


@pytest.mark.parametrize("how", ["a", "typed", "r"])
def test_no_lead_goes_on_before_it_was_said_what_should_be_there(how: str) -> None:
    learner = Learner(desk(), 1)
    learner.press("enter")
    meter = learner.course._sitting.task.meters[0]
    learner.press(".")
    learner.type("; ".join(w for p in (meter.red, meter.black) for w in learner.cover(p)) or "leads off")
    learner.type(f"leads {meter.red} {meter.black}") if how == "typed" else learner.press(how)
    assert not learner.over
    assert learner.course._sitting.record.metered == []
    assert "First say what should be there" in " ".join(learner.text.split())


def test_before_the_prediction_of_a_hidden_fault_no_lead_goes_on_either() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not (t.page == "question" and t.practice._asks_first() and t.practice._stage().step.kind == "measure"):  # type: ignore[union-attr]
        t.step()
    t.press(".")
    t.press("a")
    assert not t.over
    assert "First say what should be there" in " ".join(t.text.split())


def test_a_cover_that_comes_off_says_what_is_live_behind_it() -> None:
    learner = Learner(desk(), 2)
    learner.press("enter")
    said = " ".join(learner.at_panel("open panel").split())
    most = learner.course._sitting.panel.inside("panel")
    assert most[0] > 400
    assert f"LIVE INSIDE, up to {most[0]:.0f} V AC" in said
    assert "only a probe" in said


def test_the_knob_turns_both_ways() -> None:
    learner = Learner(desk(), 2)
    learner.press("enter")
    learner.press(".")
    before = learner.course._sitting.panel.setting.mode
    learner.press("k")
    assert learner.course._sitting.panel.setting.mode != before
    learner.press("v")
    assert learner.course._sitting.panel.setting.mode == before
    learner.press("v")
    assert learner.course._sitting.panel.setting.mode == "ac+dc volts"


def test_leaving_says_that_the_course_goes_on_with_it() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    learner = Learner(desk(), 1)
    for sheet in (t.sheet, learner.sheet):
        assert "the course goes on with it" in leave_key(sheet).does
        assert "Left half-way, it is gone on with from the course." in " ".join(
            " ".join(line.text for line in sheet.lines).split()
        )
    learner.press("enter")
    assert "the course goes on with it" in leave_key(learner.sheet).does


def test_an_exercise_that_is_over_leads_to_the_course_or_to_another_one() -> None:
    begun: list[int] = []

    def another(machine: str, level: int) -> Course:
        begun.append(level)
        return Course(choose(desk(), level, 1), desk(), memory_log, "RT")

    door = Door(Ways(("three-wire",), another), "three-wire", inside=(another("three-wire", 2), 2))
    for wanted in ("a", "enter"):
        door.give(Pressed("enter", door.sheet(80, 24).id))
        door.give(Pressed(".", door.sheet(80, 24).id))
        door.give(Typed("open panel; knob ohms; leads Q1:1 Q1:3", door.sheet(80, 24).id))
        sheet = door.sheet(80, 24)
        assert {"a", "enter"} <= {k.key for k in sheet.keys}
        assert not sheet.done
        door.give(Pressed(wanted, sheet.id))
    assert begun == [2, 2]
    assert door.sheet(80, 24).title == "PRACTICE  the course"


def test_dont_know_is_one_key_everywhere_and_goes_on() -> None:
    learner = Learner(desk(), 1)
    learner.press("enter")
    learner.press("z")
    assert learner.course._sitting.said_first
    assert not learner.course._sitting.predicted[0][4]
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not t.practice._asks_first():
        t.step()
    assert "n" not in {k.key for k in t.sheet.keys}
    t.press("z")
    assert not t.practice._asks_first()


def test_millivolts_typed_as_volts_are_asked_again_with_what_was_left_out() -> None:
    learner = Learner(desk(), 1)
    while True:
        learner.step()
        course = learner.course
        task = course._sitting.task
        right = desk().reasoner.predict(task.meters[0], task.situation.situation).right
        if course._sitting.said_first and not learner.sheet.needs_caution and abs(right) < 0.001:
            break
    learner.bring(task.situation)
    learner.tidy(task.meters[0].mode)
    learner.once(task.meters[0])
    taken = course._sitting.record.of(task.meters[0])
    assert taken is not None
    course._sitting.record.metered.append(replace(taken, shown=Shown("3.9 mV", 0.0039)))
    at = course._sitting.at
    learner.type("3.9")
    assert course._sitting.at == at
    assert "You left out milli" in learner.text
    learner.type("3.9 mV")
    assert course._sitting.at == at + 1


def test_an_answer_that_was_taken_back_is_no_false_answer_and_its_move_says_so() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not (t.page == "question" and t.practice._stage().step and listed(t.practice._stage())):
        t.step()
    if t.practice._asks_first():
        t.press("enter")
    key = item_keys(t.practice._stage())[0]
    wrong = next(
        k for k, item in zip(item_keys(t.practice._stage()), listed(t.practice._stage()), strict=False) if item
    )
    assert key == wrong
    t.press(key)
    t.press("enter")
    log = t.practice._log.events
    assert any(row[3] for e in log if e.kind == "answered" for row in e.data["items"])
    t.press("u")
    for _ in range(12):
        t.step()
        if t.practice._stage().name == "isolate":
            break
    t.press("e") if t.page == "question" else None
    t.practice._end(None)
    pages = " ".join(texts(t).split())
    assert "Taken back." in pages
    assert "it showed" not in pages
    assert "left before it" in pages


def test_what_sits_behind_a_shut_cover_is_not_seen_until_it_is_off() -> None:
    learner = Learner(desk(), 2)
    learner.press("enter")
    learner.press(".")
    shut = " ".join(learner.text.split())
    assert "KM1 dropped" not in shut.partition("Seen:")[2].partition("Behind")[0]
    assert "Behind a cover that is on (panel): KM1." in shut
    learner.type("open panel")
    opened = " ".join(learner.text.split())
    assert "Behind a cover" not in opened
    assert "KM1" in opened.partition("Seen:")[2]


def test_the_title_of_the_question_is_what_the_panel_says() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    t.step()
    assert "cover" not in t.sheet.title
    t.at_panel("open panel", "open Q1", "lock Q1")
    assert "disconnect OFF" in t.sheet.title
    assert "panel OPEN" in t.sheet.title
    assert "lock on Q1" in t.sheet.title
    assert "Your lock and tag on Q1." in t.at_panel("unlock Q1", "lock Q1")


def test_start_is_the_first_key_of_every_machine_that_has_one_and_stop_the_second() -> None:
    for machine in ("three-wire", "reversing-conveyor"):
        panel = Panel(desk(machine), (), 0, fresh=False)
        has = doings(desk(machine).machine)
        first, second, *_ = rows(panel)
        assert first.does == f"press {has.starts[0]}"
        assert second.does.endswith(has.stops[0])


def test_names_of_keys_end_with_a_whole_word() -> None:
    learner = Learner(desk(), 2)
    learner.press("enter")
    learner.press(".")
    labels = [k.label for k in learner.sheet.keys]
    assert {"test FR1", "lock Q1", "open panel"} <= set(labels)
    assert short("wrong description") == "wrong"


def test_no_row_of_lights_is_marked_as_said_before_it_was_touched() -> None:
    t = Trainee(begin(hidden("three-wire", "F2 open"), desk()))
    while not (t.practice._asks_first() and listed(t.practice._stage())):
        t.step()
    assert "<- you" not in t.text
    t.press(item_keys(t.practice._stage())[0])
    assert t.text.count("<- you") == 1


def test_after_its_prediction_the_first_lesson_says_why_and_draws_it() -> None:
    for task in lesson(desk(), 1, 0).tasks:
        assert why(desk(), task).startswith("Why: ")
    at_rest = desk().at_rest

    def told(red: str, black: str) -> str:
        pins = desk().pins
        return why(desk(), Task("read", "", at_rest, (Meter("ac volts", pins[red], pins[black]),)))

    assert "both are live from one side" in told("F2:1", "F2:2")
    dc = Task("read", "", at_rest, (Meter("dc volts", desk().pins["F2:1"], desk().pins["F2:2"]),))
    assert "F2:1 is live, with AC; the DC range does not show that. Nothing here does not mean dead." in why(desk(), dc)
    assert "live from two sides" in told("F1:1", "F2:1")
    assert "FR1:96 is fed now; NB:1 is not" in told("FR1:96", "NB:1")
    assert "S1 (start button) is open between S1:13 and S1:14" in told("X1:3", "NB:1")
    learner = Learner(desk(), 1)
    learner.press("enter")
    learner.type("nothing")
    assert "Why: " in learner.text


@pytest.mark.parametrize("machine", ["three-wire", "float-pump", "reversing-conveyor"])
def test_a_button_that_stuck_springs_back_when_it_is_replaced_and_starts_nothing(machine: str) -> None:
    its = desk(machine)
    kinds = {tag: KINDS[device.kind] for tag, device in its.machine.circuit.devices.items()}
    controls = {c.var for tag, kind in kinds.items() for c in kind.controls(its.machine.circuit.devices[tag])}
    sticking = [
        s for s in its.machine.suspects if s.broken and any(e.does == "stuck" and e.slot in controls for e in s.edits)
    ]
    assert sticking or machine == "float-pump"
    whole = Panel(its, (), 0, fresh=False)
    for suspect in sticking:
        panel = Panel(its, (suspect,), 0, fresh=False)
        stuck = [e.slot for e in suspect.edits if e.does == "stuck" and e.slot in controls]
        for tag in its.machine.disconnects:
            panel.do(Act("open", tag))
        panel.mend(suspect.group)
        assert [panel.position(tag) for tag in stuck] == [whole.position(tag) for tag in stuck], suspect.id
        for tag in its.machine.disconnects:
            panel.do(Act("close", tag))
        assert panel.motors() == whole.motors(), suspect.id


MACHINES = ["three-wire", "hoist"]
if os.environ.get("TROUBLESHOOT_TESTS") == "all":
    MACHINES.append("belt-7")  # as long as the other two together


@pytest.mark.parametrize("machine", MACHINES)
def test_no_why_calls_a_point_unfed_that_carries_volts_of_either_kind_or_driven_where_it_floats(machine: str) -> None:
    its = desk(machine)
    earth = next(iter(sorted(its.earthed, key=str)))
    told = 0
    for named in (its.at_rest, its.shows("wont-start")):
        for candidate in its.planner.candidates(named.situation).items:
            meter = candidate.meter
            if meter.mode not in ("ac volts", "dc volts"):
                continue
            words = why(its, Task("read", "", named, (meter,)))
            both = [Meter(mode, p, earth) for mode in ("ac volts", "dc volts") for p in (meter.red, meter.black)]
            most = max(abs(its.reasoner.predict(m, named.situation).right) for m in both if m.red != m.black)
            if "neither is fed" in words:
                assert most < 10, (str(meter), words)
            if its.reasoner.expected(meter, named.situation).floating:
                assert "stray" in words, (str(meter), words)
            told += "does not mean dead" in words
    assert told


def test_a_reading_taken_while_the_panel_stood_otherwise_than_the_card_asks_is_read_again_not_called_right() -> None:
    learner = Learner(desk(), 1)
    while learner.page == "intro" or not learner.course._sitting.task.situation.situation.acts:
        learner.step()
    sitting = learner.course._sitting
    start = next(act.device for act in sitting.task.situation.situation.acts if act.verb == "press")
    learner.step()  # what should be there
    learner.press("c")
    learner.tidy(sitting.task.meters[0].mode)
    before = len(sitting.scores)
    learner.type(learner.once(sitting.task.meters[0]))
    assert len(sitting.scores) == before
    assert f"{start} (" in sitting.echo
    assert "the card asks for it pressed" in sitting.echo
    learner.bring(sitting.task.situation)
    learner.type(learner.once(sitting.task.meters[0]))
    assert len(sitting.scores) == before + 1


def test_leads_left_on_a_point_whose_caution_was_read_are_no_unread_reading_when_the_knob_turns_on_the_next_card() -> (
    None
):
    learner = Learner(desk(), 1)
    sitting = learner.course._sitting
    while learner.page == "intro" or learner.panel.red is None:
        learner.step()
    live = {learner.panel.red, learner.panel.black}
    assert not sitting.accepted
    learner.at_panel("knob ac")
    assert learner.page != "stopped"
    assert learner.course._debrief is None
    assert {learner.panel.red, learner.panel.black} == live


def test_an_unfused_look_in_the_amperes_jack_is_called_the_short_circuit_that_it_is() -> None:
    learner = Learner(desk("belt-7"), 4)
    while learner.page == "intro":
        learner.step()
    panel, task = learner.panel, learner.course._sitting.task
    panel.setting = Setting(amps_jack=True, fuse_blown=True, mode="ac volts")
    truth = Truth(24.0, 24.0)
    taken = Metered(task.meters[0].red, task.meters[0].black, panel.setting, Shown("3.4 mV", 0.0034), truth, "", True)
    panel.truth = lambda *_: truth  # type: ignore[method-assign]
    assert "a good one makes a short circuit here" in reading_wrong(panel, task.meters[0], taken, Word.NOTHING)


def controller_stopped() -> Trainee:
    t = Trainee(begin(hidden("latched-jog", "A1 stopped"), desk("latched-jog")))
    t.press("enter")
    t.press("y")
    return t


def test_a_controller_that_was_left_stopped_is_set_to_run_at_the_panel_and_not_by_what_is_typed() -> None:
    t = controller_stopped()
    called = (("repaired", {"suspect": "A1 stopped", "group": "A1"}),)
    assert t.practice._not_done(called) == "On the panel A1 still stands stopped: put it right there first (.)."
    t.press(".")
    row = next(r for r in rows(t.panel) if r.does == "set A1 to run")
    assert row.key
    assert "stopped" not in row.says  # what it stands in is not given away
    t.press(row.key)
    assert t.panel.position("A1") == "running"
    assert t.practice._not_done(called) == ""
    t.press("u")
    assert t.panel.position("A1") == "stopped"
    t.type("set A1 to run")
    t.type("set A1 to run")
    assert "A1 runs its program already." in t.text


def test_a_controller_set_to_run_under_a_held_start_is_a_restart_by_itself() -> None:
    t = controller_stopped()
    t.press(".")
    t.type("press S1")
    t.type("set A1 to run")
    assert t.over
    result = t.practice._debrief.result  # type: ignore[union-attr]
    assert result.unsafe == "restarted by itself"
    assert "M1 started the moment A1 was set to run" in " ".join(texts(t).split())


def test_a_trip_is_reset_at_the_panel_before_the_machine_is_asked_to_run_and_nothing_is_metered_meanwhile() -> None:
    t = Trainee(begin(hidden("three-wire", "M1 drags", complaint="trips-overload"), desk()))
    t.press("enter")
    t.prove_meter()
    for _ in range(40):
        if t.practice._stage().name == "reset":
            break
        item = next((i for i in listed(t.practice._stage()) if i.name == "FR1"), None)
        if item is not None and t.page == "question" and not t.practice._asks_first():
            # As it was found it had tripped: the trainee says so.
            key = next(
                k
                for k, i in zip(item_keys(t.practice._stage()), listed(t.practice._stage()), strict=False)
                if i == item
            )
            t.panel.do(Act("trip", "FR1"))
            t.press(key)
            t.press("enter")
            continue
        t.step()
    assert t.practice._stage().name == "reset", t.text
    t.press("y")
    assert "On the panel FR1 still stands tripped: let it cool and reset it there first (.)." in " ".join(
        t.text.split()
    )
    t.press(".")
    assert "let FR1 cool (wait 300), then reset it once; nothing is metered yet." in " ".join(t.text.split())
    assert "leads on" not in t.text
    t.press(".")
    t.step()
    assert not t.over
    assert any(e.kind == "reset" and e.data["tag"] == "FR1" for e in t.practice._log.events)
