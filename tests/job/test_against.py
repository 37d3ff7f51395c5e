"""The program read against the lights taken: the contact that holds an output off is named where the person stands."""

from __future__ import annotations

import pytest
from job.nights import FILES, Night, desk

from troubleshoot.circuit.model import Situation
from troubleshoot.job.against import MOST_LINES, Taken, in_short, pages, sentences, taken_of
from troubleshoot.job.desk import Desk
from troubleshoot.job.sheet import Role
from troubleshoot.log.event import Event
from troubleshoot.machine import Machine, describe
from troubleshoot.program import WIDTH, draw, values_by_lights
from troubleshoot.tui.answering import shown_keys
from troubleshoot.tui.glyphs import fit
from troubleshoot.tui.placing import key_rows
from troubleshoot.tui.terminal import Glyphs

HELD = "Program: motor (%QX0.0) is off: start (%IX0.1, line 127) is off."
WALKED = [
    ("31:S1:14>X3:3 open", "dead"), ("12:K1:14>FR1:95 open", "dead"), ("A1 force %IX0.1 off", "dead"),
    ("A1 program line 127: start missing in motor", "dead"), ("S2 sticks", "dead"), ("S3 13-14 open", "stops when I let go"),
    ("A1 program line 127: run_mode inverted in motor", "stops when I let go"), ("ES1 11-12 open", "dead"),
]  # fmt: skip


def lights_read(fault: str, complaint: str = "belt 7 dead") -> Night:
    """Until the lights have been read where the complaint shows, with Start held."""
    night = Night(fault)
    night.type(complaint)
    for _ in range(60):
        held = [e for e in looked(night) if e.data["situation"]["acts"] and "program" in e.data]
        if held and night.stage.step is not None and night.stage.step.kind == "measure":
            return night
        night.careful()
    raise AssertionError(night.text)


def looked(night: Night) -> list[Event]:
    return [event for event in night.log.events if event.kind == "looked"]


# ------------------------------------------------------------------------------------------------------- what is said


def test_a_dead_start_input_is_named_by_name_address_and_line_on_the_step_and_on_its_why() -> None:
    """The wire of Start is broken: its input stays dark while Start is held, and the program waits for it."""
    night = lights_read("31:S1:14>X3:3 open")
    while night.sheet().needs_caution:
        night.careful()
    assert HELD in night.text
    night.press("w")
    assert HELD in night.text


def test_it_is_in_the_record_with_the_lights_it_was_read_from() -> None:
    night = lights_read("31:S1:14>X3:3 open")
    told = looked(night)[-1].data["program"]
    assert list(told) == [HELD.removeprefix("Program: ")]


def test_an_output_that_is_dark_against_its_rung_is_told_and_no_contact_blamed() -> None:
    night = lights_read("A1 program line 127: start missing in motor")
    night.press("w")
    assert "motor (%QX0.0) is off and should be on by these lights: a light misread, another program" in night.text
    assert "start (%IX0.1" not in night.text


def test_where_the_lights_are_as_they_should_be_the_program_has_nothing_to_say() -> None:
    """A broken wire behind the interposing relay: inputs and outputs are all as in a good machine."""
    night = lights_read("12:K1:14>FR1:95 open")
    night.press("w")
    assert "Program:" not in night.text
    (held,) = [e for e in looked(night) if e.data["situation"]["name"] == "start held" and "program" in e.data]
    assert list(held.data["program"]) == []


def test_at_rest_a_motor_that_is_off_because_nobody_starts_it_is_no_finding() -> None:
    shown = {
        "A1 RUN": "on",
        **{f"A1 {p}": "on" if p in ("%IX0.0", "%IX0.2", "%IX0.3", "%QX0.2") else "off" for p in desk().machine.points},
    }
    taken = taken_of(desk(), shown, desk().at_rest.situation)
    assert taken is not None
    assert sentences(desk(), taken) == ()


def test_a_stop_left_in_is_named_behind_the_bit_that_it_holds_off() -> None:
    shown = {
        "A1 RUN": "on",
        **{f"A1 {p}": "on" if p in ("%IX0.0", "%IX0.1", "%IX0.3", "%QX0.2") else "off" for p in desk().machine.points},
    }
    taken = taken_of(desk(), shown, desk().shows("wont-start").situation)
    assert taken is not None
    assert (
        sentences(desk(), taken)[0] == "motor (%QX0.0) is off: stop_ok (%IX0.2, line 126) is off, so stop_chain is off."
    )


def test_lights_of_a_controller_that_does_not_run_say_nothing_of_its_program() -> None:
    shown = {"A1 RUN": "off", **{f"A1 {p}": "off" for p in desk().machine.points}}
    assert taken_of(desk(), shown, desk().at_rest.situation) is None


def test_a_light_that_comes_and_goes_is_not_known() -> None:
    shown = {"A1 RUN": "on", **{f"A1 {p}": "off" for p in desk().machine.points}, "A1 %IX0.1": "unsteady"}
    shown |= {"A1 %IX0.0": "on", "A1 %IX0.2": "on"}
    taken = taken_of(desk(), shown, desk().at_rest.situation)
    assert taken is not None
    assert "%IX0.1" not in taken.points
    (rung,) = [page for page in pages(desk(), taken, 80) if page.title.startswith("motor,")]
    assert "|====| |=====+==| |------------+--( )--|" in rung.lines
    assert "|   closed   |   ?             |  off  |" in rung.lines


# ------------------------------------------------------------------------------------------------------- how it is shown


@pytest.mark.parametrize(("fault", "complaint"), WALKED)
def test_every_screen_of_a_job_with_the_reading_and_the_rungs_fits_80x24(fault: str, complaint: str) -> None:
    night = Night(fault)
    night.type(f"belt 7 {complaint}")
    seen = 0
    for _ in range(60):
        if night.stage.name in ("repair", "handback", "ended"):
            break
        if "l" in night.live():
            assert fits(night)
            night.press("w")
            assert fits(night)
            night.press("l")
            first = night.lines()
            for _ in range(6):
                seen += 1
                assert fits(night)
                assert all(len(line.text) <= WIDTH for line in night.sheet().lines if line.role is Role.RUNG)
                if "l" not in night.live():
                    break
                night.press("l")
                if night.lines() == first:
                    break
            night.press("escape")
        night.careful()
    assert seen


def fits(night: Night) -> bool:
    """Title, sheet, entry and keys in 24 rows of 80; an unread caution has its own rule, it scrolls and is never cut."""
    sheet = night.session.sheet(80, 24)
    lines = [line for line in sheet.lines if not line.text.startswith("NOT RECORDED")]
    keys = key_rows(shown_keys(sheet), 80, fit(Glyphs.ASCII), most=3)
    high = 1 + len(lines) + (sheet.entry is not None) + len(keys)
    return sheet.needs_caution or (high <= 24 and all(len(line.text) <= 80 for line in lines))


def test_the_rung_drawn_is_alive_as_the_lights_have_it() -> None:
    night = lights_read("31:S1:14>X3:3 open")
    night.press("l")
    lines = night.lines()
    assert "Rung of motor, by the lights, Start held by a helper:" in lines
    assert "|====| |=====+==| |------------+--( )--|" in lines
    assert "|   closed   |  open           |  off  |" in lines
    assert HELD.removeprefix("Program: ") in lines
    night.press("escape")
    assert not any(line.startswith("Rung of") for line in night.lines())


def test_a_rung_too_long_for_a_screen_is_shown_whole_page_after_page() -> None:
    text = FILES["belt-7"].read_text(encoding="utf-8")
    old = "motor := stop_chain AND (start OR (motor AND run_mode));"
    assert old in text
    long = " OR ".join(f"(start AND stop_ok AND run_mode AND NOT %MX1.{k} AND estop_ok AND %MX2.{k})" for k in range(8))
    found = describe(text.replace(old, f"motor := stop_chain AND ({long});").encode(), "long.yaml")
    assert isinstance(found, Machine), found
    assert found.program is not None
    long_desk = Desk(found, {})
    taken = Taken(Situation("rest"), dict.fromkeys(found.points, False))
    told = [page for page in pages(long_desk, taken, 80) if page.title.startswith("motor,")]
    assert len(told) > 2
    assert all(len(page.lines) <= MOST_LINES for page in told)
    assert all(len(line) <= WIDTH for page in told for line in page.lines)
    drawn = [
        line for line in draw(found.program, "motor", values=values_by_lights(found.program, taken.points)) if line
    ]
    assert len([line for page in told for line in page.lines if line]) == len(drawn)
    assert len(in_short(long_desk, taken, 80)) <= 160
