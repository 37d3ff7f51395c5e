"""What hands, locks and eyes are owed: a stop that fails in the proof, a gap that is found, a lock that is not one's own."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from job.nights import Night, desk
from job.test_scene_d import GAP, told

from troubleshoot.cli.machines_on_disk import open_jobs
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.codec import put_item, put_situation
from troubleshoot.job.decide import decide
from troubleshoot.job.decided import DRAWN_MS, Decided, Ui, sheet_id
from troubleshoot.job.due import caution_of
from troubleshoot.job.folding import fold
from troubleshoot.job.handing import handover_page
from troubleshoot.job.rehearse import Event
from troubleshoot.job.sheet import Pressed
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.view import view
from troubleshoot.log.standing import handed_on
from troubleshoot.safety.isolation import as_it_stands

WIRE = "12:K1:14>FR1:95 open"


def at_the_proof(check: str, fault: str = WIRE) -> Night:
    """A night whose proof run stands at the check whose id begins so."""
    night = Night(fault)
    night.type("conv dead")
    night.press("y")
    night.press("8")
    night.careful_until("proof")
    for _ in range(60):
        if night.stage.check is not None and night.stage.check.id.startswith(check):
            return night
        night.careful()
    raise AssertionError(f"no check {check}")


def marked(night: Night, name: str, shown: str) -> None:
    """Press the row of something until it shows that."""
    assert night.stage.check is not None
    for _ in range(6):
        if night.state.marks.get((night.stage.check.id, name)) == shown:
            return
        row = next(line for line in night.sheet().lines if re.match(rf"\S\s+(?:\(.\) )?{name}\s", line.text))
        night.press(row.key)
    raise AssertionError(f"{name} never shows {shown}")


def sent(night: Night) -> None:
    """The readings of the check, or Enter where there are none or nothing may be read any more."""
    if "c" in night.live():
        night.press("c")
    if night.sheet().entry:
        night.type("0")
    else:
        night.press("enter")


# ------------------------------------------------------------------------------------- a stop that fails in the proof


def test_a_machine_that_runs_on_in_the_proof_is_stopped_by_its_disconnect_and_no_step_leans_on_that_stop() -> None:
    night = at_the_proof("stop S2")
    marked(night, "M1", "turns")
    # At once, above everything else: no caution and no reading stands before it.
    assert night.lines()[1].startswith("M1 (belt motor) MOVES? OPEN Q1 (main disconnect) NOW.")
    assert "CAUTION" not in night.text
    assert "c" not in night.live()
    assert night.sheet().entry is None
    night.force("0")
    assert "Read nothing now. OPEN Q1" in night.text
    sent(night)
    assert night.lines()[1] == "OPEN Q1 (main disconnect) NOW. Did it stop?"
    assert "M1 (belt motor) move when it must stand" in night.text
    assert "d" not in night.live(), "it was seen to run: it is no other trouble"
    night.press("m")
    assert "its feed must go" in night.text
    night.press("y")
    assert not night.state.power
    assert night.state.complaint == "wont-stop"
    assert night.desk.stop_failed(night.state)
    for _ in range(60):
        step = night.stage.step
        if night.stage.name in ("repair", "stuck", "ended"):
            break
        assert not (step is not None and "press S1" in " ".join(map(str, step.situation.situation.acts)))
        assert "with S2" not in night.text
        night.careful()


def test_a_slip_of_the_key_at_a_stop_is_taken_back() -> None:
    night = at_the_proof("stop S2")
    marked(night, "M1", "turns")
    sent(night)
    night.press("u")
    assert night.stage.name == "proof"
    assert night.state.complaint == "wont-start"
    marked(night, "M1", "still")
    assert "MOVES?" not in night.text
    assert "CAUTION" in night.text, "the reading has its caution again"


def test_with_power_on_again_a_failed_stop_is_looked_past_and_the_disconnect_stands_ready() -> None:
    plan = desk().isolation(())
    steps = as_it_stands(desk().machine, plan, distrusted=("S2", "ES1")).steps
    stop = next(s for s in steps if s.id == "stop")
    assert "must stand still. If not, open Q1 (main disconnect) at once" in stop.words
    assert "Stop the machine with" not in " ".join(s.words for s in steps)


def test_a_lamp_that_stays_dark_in_the_proof_is_no_failed_stop() -> None:
    night = at_the_proof("stop S2")
    marked(night, "H2", "off")
    sent(night)
    assert night.stage.name != "stop"
    assert night.state.complaint == "wont-start"


# ---------------------------------------------------------------------------------------- found by hand, then mended


def test_a_gap_over_its_plate_is_mended_locked_off_and_power_has_its_page_after_it() -> None:
    night = told(GAP)
    night.careful_until("repair")
    assert not night.state.power
    assert "power OFF, locked" in night.sheet().title
    assert "Confirmed, locked off: air gap of belt brake" in night.text
    assert "No test of its own confirms it" not in night.text
    assert "Both ends of the wire" not in night.text
    night.careful()
    assert next(e for e in night.log.events if e.kind == "repaired").data["confirmed"]
    assert night.stage.name == "power"
    # What was put in for the work is named where the power comes back, and on the page for whoever takes over.
    assert "load (incline) of M1: block out (by Ana)" in night.text
    assert "TEMPORARY: load (incline) of M1 is blocked or secured (by Ana)" in handover_page(night.desk, night.state)
    # One key, and what comes before it stands before it.
    assert night.text.endswith("c AFTER all this is read and Q1 is closed: power is back on")
    assert "faults still likely" not in night.text, "what was mended is mended"
    night.press("c")
    assert night.stage.name == "proof"
    assert not night.state.blocks


# --------------------------------------------------------------------------------------------------- the dead test


def isolating() -> Night:
    night = told(GAP)
    night.careful_until("isolate")
    while not night.sheet().needs_caution:
        night.careful()
    return night


def test_one_caution_stands_for_a_dead_test_of_which_it_names_every_point_and_for_nothing_else() -> None:
    night = isolating()
    first, plan = caution_of(night.desk, night.state, night.stage), night.stage.isolation
    assert first is not None
    assert plan is not None
    every = {m for s in plan.steps for m in s.readings}
    assert len(first[0].points) == len(every) > 4
    for point in {str(p) for m in every for p in (m.red, m.black)}:
        assert point in " ".join(first[0].shown)
    night.press("c")
    count = night.kinds.count("caution")
    while night.stage.name == "isolate":
        assert night.state.accepted == caution_of(night.desk, night.state, night.stage)[1]  # type: ignore[index]
        night.careful()
    assert night.kinds.count("caution") == count
    # Another person, a step taken back, anything operated: it is asked again.
    events = list(night.log.events)
    again = next(k for k, e in enumerate(events) if e.kind == "isolation" and e.data.get("readings")) + 1
    for kind, data in (
        ("resumed", {"who": "Ana"}), ("resumed", {"who": "Ben"}), ("retract", {"of": [events[again - 1].n]}),
        ("power", {"on": True}),
    ):  # fmt: skip
        state = fold([*events[:again], Event(events[again - 1].n + 1, kind, data)])
        assert not state.accepted, kind


def test_behind_a_lock_no_caution_speaks_as_if_the_power_were_on() -> None:
    night = isolating()
    text = " ".join(line for line in night.lines())
    assert "power OFF, locked" in night.sheet().title
    assert "may TURN now" not in text
    assert "can START" not in text
    assert "leads clipped on while locked off" not in text
    assert "Locked off is not dead" in text
    caution = caution_of(night.desk, night.state, night.stage)
    assert caution is not None
    assert caution[0].volts > 200, "the volts are said as if the disconnect had not opened"
    assert caution[0].level == "danger"


def test_steps_are_counted_forward_only() -> None:
    night = told(GAP)
    night.careful_until("isolate")
    last = 0
    for _ in range(40):
        if night.stage.name == "repair":
            break
        found = re.search(r"Step (\d+) of (\d+)", night.text) if night.stage.name == "isolate" else None
        if found:
            assert int(found[1]) >= last
            last = int(found[1])
        night.careful()
    assert last > 8


def test_clamps_go_round_a_wire_in_the_panel_and_no_lead_is_clipped_on() -> None:
    night = at_the_proof("hold S1")
    assert "Clamp: round one insulated wire at a time, no lead clipped on" in night.text
    assert "leads clipped on while locked off and dead" not in night.text
    assert "At panel PB7." in night.text


# ------------------------------------------------------------------------------------------------- behind a door


def behind(night: Night) -> list[str]:
    stage, signs = night.stage, night.desk.machine.net.signs
    items: Sequence[object] = (
        stage.step.items if stage.step else [i for i, _ in stage.check.expects] if stage.check else ()
    )
    devices = night.desk.machine.circuit.devices
    return [
        i.name for i in items if isinstance(i, Light | Look)
        and (tag := signs[i.name].var.split(" ")[0]) in devices
        and devices[tag].place == "panel" and devices[tag].kind != "disconnect"
    ]  # fmt: skip


def test_nothing_behind_the_door_is_looked_at_with_power_on_without_its_caution() -> None:
    night = Night(WIRE)
    night.type("conv dead")
    night.press("y")
    night.press("8")
    looked = 0
    for _ in range(60):
        if night.stage.name == "repair":
            break
        if (
            night.state.power
            and night.stage.name == "search"
            and behind(night)
            and not any(
                isinstance(i, Meter)
                for i in night.stage.step.items  # type: ignore[union-attr]
            )
        ):
            looked += 1
            above = night.text[: night.text.index("Different?")]
            assert "CAUTION panel PB7 is LIVE, up to 208 V AC" in above, night.text
        night.careful()
    assert looked >= 2


def test_whoever_may_not_open_the_panel_is_asked_to_look_at_nothing_in_it_again() -> None:
    night = Night("KM1 coil open")
    night.type("conv dead")
    night.press("y")
    night.press("8")
    while not behind(night):
        night.careful()
    night.press("n")
    night.press("2")
    night.press("1")
    assert "Panel PB7 stays shut: leave out what is in it." in night.text
    for _ in range(40):
        if night.stage.name in ("waiting", "ended"):
            break
        assert not behind(night), night.text
        assert night.stage.name in ("search", "last"), night.text
        night.careful()
    assert night.stage.name == "waiting"
    night.press("y")
    assert "Put off, not over: waiting: permit." in night.text
    assert "has ended" not in night.text


# -------------------------------------------------------------------------------------------------- handed over


class Log:
    """Events as a job writes them, without a session."""

    def __init__(self, fault: str = GAP) -> None:
        self.events: list[Event] = []

    def write(self, kind: str, data: Mapping[str, Any]) -> None:
        self.events.append(Event(len(self.events) + 1, kind, data))

    @property
    def state(self) -> State:
        return fold(self.events)

    @property
    def stage(self) -> Stage:
        return stage_of(desk(), self.state)

    def press(self, key: str) -> None:
        state = self.state
        decided = decide(desk(), state, Ui(), Pressed(key, sheet_id(state, Ui()), DRAWN_MS))
        assert isinstance(decided, Decided), decided
        for kind, data in decided.events:
            self.write(kind, data)

    def text(self) -> str:
        sheet = view(desk(), self.state, Ui(), 80, 1)
        return " ".join(" ".join([sheet.title, *(line.text for line in sheet.lines)]).split())


@pytest.fixture
def locked() -> Log:
    """Ana has locked off to go at the gap of the brake, and has not tested dead yet."""
    log = Log()
    log.write("opened", {
        "who": "Ana", "machine": "belt-7", "complaint": "brake-drags", "said": "brake drags",
        "shows": put_situation(desk().shows("brake-drags")),
    })  # fmt: skip
    log.write("people", {"clear": True})
    for question in ("last", "hot", "load"):
        log.write("told", {"question": question, "answer": "", "said": "nobody knows"})
    log.write("temporary", {"what": "wire 13 lifted at KM1:A1", "by": "Ana"})
    log.write("putting back", {"of": log.events[-1].n, "what": "wire 13 lifted at KM1:A1", "by": "Ana"})
    while not log.stage.next.startswith("prove"):
        assert log.stage.name == "isolate"
        log.press("y")
    return log


def test_whoever_takes_over_puts_their_own_lock_beside_the_other_and_that_one_comes_off_by_its_owner(
    locked: Log,
) -> None:
    assert "lock of Ana on Q1" in " ".join(handover_page(desk(), locked.state))
    locked.write(
        "handover", {"to": "Ben; belt runs by 07:00", "by": "Ana", "page": handover_page(desk(), locked.state)}
    )
    assert handed_on(locked.events) == "HANDED to Ben, lock of Ana on Q1"
    locked.write("resumed", {"who": "Ben"})
    assert handed_on(locked.events) == ""
    assert locked.stage.name == "people", "Ben has seen nobody clear yet"
    locked.press("y")
    assert "power OFF, lock of Ana, NOT yours" in locked.text()
    asked = []
    while not locked.stage.next.startswith("prove"):
        asked.append(next(s.words for s in locked.stage.isolation.steps if s.id == locked.stage.next))  # type: ignore[union-attr]
        locked.press("y")
    words = " / ".join(asked)
    assert "Stop the machine" not in words, "it is open: there is nothing to stop"
    assert "Look at Q1 (main disconnect): still open, handle off, the lock of Ana on it." in words
    assert "Your own lock and tag on Q1, beside that of Ana" in words
    assert words.index("Your own lock") < words.index("Ana now takes their own lock off Q1")
    assert not locked.state.their_locks
    assert "lock of Ben on Q1" in " ".join(handover_page(desk(), locked.state))
    assert "lock of Ana" not in " ".join(handover_page(desk(), locked.state))
    assert "Worked on by Ana, Ben." in handover_page(desk(), locked.state)[0]


def test_a_lock_that_stays_on_stands_on_the_page_before_power(locked: Log) -> None:
    locked.write("resumed", {"who": "Ben"})
    locked.press("y")
    while not locked.stage.next.startswith("their lock"):
        locked.press("y")
    locked.press("k")
    assert locked.state.their_locks == {"Ana": frozenset({"Q1"})}
    assert not locked.stage.next.startswith("their lock")
    page = view(desk(), _at_power(locked), Ui(), 80, 1)
    text = " ".join(" ".join(line.text for line in page.lines).split())
    assert "LOCK OF Ana on Q1: only Ana takes it off." in text


def _at_power(log: Log) -> State:
    events = [*log.events, Event(99, "put back", {"of": log.state.temporary[0].n, "what": "", "by": "Ben"}),
              Event(100, "repaired", {"group": "YB1 air gap", "suspect": GAP, "act": "set", "item": "YB1 air gap",
                                      "note": "", "confirmed": True, "words": "gap worn"})]  # fmt: skip
    state = fold(events)
    assert stage_of(desk(), state).name == "power"
    return state


def test_a_new_person_gets_the_whole_caution_and_nothing_as_before(locked: Log) -> None:
    locked.press("c")
    assert locked.state.warned is not None
    locked.write("resumed", {"who": "Ben"})
    locked.press("y")
    while not locked.stage.next.startswith("prove"):
        locked.press("y")
    found = caution_of(desk(), locked.state, locked.stage)
    assert found is not None
    text = " ".join(found[0].shown)
    assert "As before" not in text
    for part in ("only the insulated probe enters", "One hand", "Ben: only if qualified"):
        assert part in text, part


def test_the_page_says_that_a_tester_was_not_proved_again_and_what_is_blocked(locked: Log) -> None:
    stage = locked.stage
    assert stage.isolation is not None
    for step in stage.isolation.steps:
        if step.id.startswith(("prove before", "dead")):
            proves = step.id.startswith("prove")
            locked.write("isolation", {
                "step": step.id, "words": step.words, "said": "", "proves": proves,
                "readings": [put_item(m) for m in step.readings], "understood": [],
            })  # fmt: skip
    page = " ".join(handover_page(desk(), locked.state))
    assert "NOT proved dead: step" in page
    assert "the tester was not proved again after the dead test" in page
    assert "TEMPORARY: load (incline) of M1 is blocked or secured (by Ana)" in page
    assert "Temporary: nothing is noted" not in page


def test_the_page_of_a_job_that_waited_says_what_was_confirmed_what_for_and_by_whom(locked: Log) -> None:
    locked.write("reading", {
        "step": "confirm", "group": "S1 block 13-14", "agrees": True, "situation": put_situation(desk().at_rest),
        "items": [], "said": "", "source": "asked", "shown": True, "cost": 0.0,
    })  # fmt: skip
    locked.write("ended", {"how": "waiting: part", "note": "start button block, order 4711", "temporary": []})
    locked.write("resumed", {"who": "Ben"})
    page = handover_page(desk(), locked.state)
    assert "Worked on by Ana, Ben." in page[0]
    assert "Waited for: part: start button block, order 4711 (Ana)" in page
    assert any(line.startswith("Found, NOT mended: start button S1 block 13-14, confirmed") for line in page)


def test_a_job_that_was_handed_over_opens_with_its_page_and_asks_for_a_name_behind_a_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "belt-7" / "jobs"
    folder.mkdir(parents=True)
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    night = Night(GAP, folder=folder)
    night.type("belt 7 brake drags")
    night.press("y")
    night.press("e")
    night.press("7")
    night.type("Ben; belt runs by 07:00")
    assert "HANDED to Ben," in open_jobs()[0].words
    night.leave_and_come_back()
    assert night.stage.name == "handed"
    assert "belt runs by 07:00" in night.text
    assert night.sheet().entry is None, "a q typed there would be no name"
    assert "resumed" not in night.kinds
    night.press("y")
    night.type("Ben")
    assert night.state.who == "Ben"
    assert night.stage.name == "people"
    assert "HANDED" not in open_jobs()[0].words


# ------------------------------------------------------------------------------------------- small honest things


def test_who_has_nothing_to_prove_the_tester_on_can_say_so_and_nothing_counts_as_dead(locked: Log) -> None:
    stage = locked.stage
    assert stage.isolation is not None
    assert all(s.ask == "reading" for s in stage.isolation.steps if s.id.startswith("prove"))
    from dataclasses import replace

    from troubleshoot.job.mending import isolate_given

    unit = next(s for s in stage.isolation.steps if s.id.startswith("prove"))
    unit = replace(unit, ask="done", readings=(), expects=())
    alone = replace(stage, isolation=replace(stage.isolation, steps=(unit,)), next=unit.id)
    said = isolate_given(desk(), locked.state, alone, Pressed("d", ""))
    assert isinstance(said, Decided)
    assert [kind for kind, _ in said.events] == ["cannot"]
    assert said.ui.panel == "end"
    proved = isolate_given(desk(), locked.state, alone, Pressed("y", ""))
    assert isinstance(proved, Decided)
    assert proved.events[0][1]["proves"]
    assert "battery" in proved.events[0][1]["said"]


def test_what_was_just_read_dead_is_not_asked_again_to_confirm_it() -> None:
    night = Night("K1 13-14 welded")
    night.type("belt 7 wont stop")
    night.press("y")
    night.press("y")
    night.press(str(len([r for r in night.lines() if r[:1].isdigit()])))
    night.careful_until("repair")
    readings = [e.data for e in night.log.events if e.kind == "reading"]
    asked = [(data["situation"]["name"], *(str(row[0]) for row in data["items"])) for data in readings]
    assert len(asked) == len(set(asked)), asked
    assert night.state.confirmed.get("K1")


def test_a_tester_that_was_proved_elsewhere_is_proved_there_again_and_the_dead_point_is_not_asked_a_second_time() -> (
    None
):
    plan = desk().isolation(())
    after = next(s for s in plan.steps if s.id == "prove after")
    assert after.readings
    for said in ("proved on a proving unit or another live point", "proved on a proving unit, or on a battery"):
        step = next(
            s for s in as_it_stands(desk().machine, plan, done={"prove before": said}).steps if s.id == "prove after"
        )
        assert (step.ask, step.readings) == ("done", ())
        assert "on the same proving unit or live point as before" in step.words
    usual = as_it_stands(desk().machine, plan, done={"prove before": "120"}).steps
    assert next(s for s in usual if s.id == "prove after") == after


def test_what_moves_when_it_must_stand_has_no_points_to_read_on_its_page() -> None:
    night = at_the_proof("stop S2")
    assert "should be" in night.text
    marked(night, "M1", "turns")
    assert "OPEN Q1 (main disconnect) NOW" in night.text
    assert "should be" not in night.text
    assert night.sheet().entry is None
