"""A job as it is read back: cautions as shown, what should be beside what was typed, corrections as normal work."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from job.nights import desk
from review.weeks import NAMES, job, path

from troubleshoot.log.event import Event, make_event
from troubleshoot.log.verify import Verdict, read_events, verify
from troubleshoot.report.blocks import Moment, Spans, Tone
from troubleshoot.report.text import as_text
from troubleshoot.review.page import job_report
from troubleshoot.review.reading import read_back
from troubleshoot.review.telling import known_kinds

HEADS = {
    "belt-7-mon": (56, "37406f2af87a93ce"),
    "fan-2-tue": (44, "8f1345b1c8e656c9"),
    "belt-7-wed": (23, "b15711bb971db8c6"),
    "belt-7-thu": (55, "9444d34f8398ac34"),
}
"""Of the logs that release 0.1.0 wrote, as they were printed then."""


@pytest.mark.parametrize("name", NAMES)
def test_a_log_of_every_release_verifies_for_ever(name: str) -> None:
    number, digest = HEADS[name]
    verdict = verify(path(name), head=(number, digest))
    assert (verdict.whole, verdict.anchored, verdict.version) == (True, number, "0.1.0")


@pytest.fixture(scope="module")
def monday() -> dict[int, Moment]:
    one = job("belt-7-mon")
    belt = desk("belt-7")
    moved = {m.n: m for m in one.movements(belt)}
    return {m.n: m for m in one.moments(belt, moved) if m.n}


def details(moment: Moment) -> str:
    return " | ".join(f"{what}: {words}" for what, words in moment.details)


def test_the_caution_stands_there_as_it_was_shown_with_who_read_it_and_how_long(monday: dict[int, Moment]) -> None:
    assert monday[16].title == "Caution read by Ana, on the screen for 2.0 s"
    assert "DANGER: up to 211 V AC at the points. M1 (belt motor) should TURN now" in details(monday[16])


def test_what_should_be_stands_beside_what_was_typed_and_what_was_taken(monday: dict[int, Moment]) -> None:
    said = details(monday[22])
    assert "K1:14 to NB:1, AC V: should be 115-124 V AC; typed '120.0 V', taken as 120 V" in said
    assert "FR1:95 to NB:1, AC V: should be 115-124 V AC; typed '0 V', taken as nothing" in said
    assert "typed in one go: '120.0 V 120.0 V 0 V'" in said


def test_a_reading_taken_back_is_shown_whole_and_called_normal_work(monday: dict[int, Moment]) -> None:
    assert monday[17].struck
    assert monday[17].tone is Tone.PLAIN
    assert "typed '48 V'" in details(monday[17])
    assert "normal work" in details(monday[17])
    assert not monday[20].struck


def test_it_says_how_the_suspicion_moved_and_what_was_taken_back_moves_nothing(monday: dict[int, Moment]) -> None:
    assert re.search(r"then: 4 left: wire 12 \(K1:14 to FR1:95\) \d\d%", details(monday[22]))
    assert re.search(r"then: \d left: wire 12 \(K1:14 to FR1:95\) 9\d%", details(monday[37]))
    assert "then" not in dict(monday[17].details)


def test_what_was_seen_otherwise_than_it_should_be_is_named_and_the_rest_is_counted(monday: dict[int, Moment]) -> None:
    assert "motor contactor: out (should be pulled in)" in details(monday[15])
    assert "the rest: 1 as they should be" in details(monday[15])


def test_the_hazards_told_before_power_are_there(monday: dict[int, Moment]) -> None:
    assert "WILL start M1 (belt motor) if it ran before" in details(monday[39])


def test_the_confirming_test_and_the_repair_say_whether_they_agree(monday: dict[int, Moment]) -> None:
    assert "confirming: wire 12, K1:14 to FR1:95: it agrees" in details(monday[37])
    assert monday[38].tone is Tone.GOOD
    thursday = {m.n: m for m in job("belt-7-thu").moments(None, {})}
    (repair,) = [m for m in thursday.values() if m.title.startswith("Mended")]
    assert repair.tone is Tone.BAD
    assert "NOT confirmed beforehand" in details(repair)


def test_a_clock_that_was_set_back_is_marked_in_minutes_and_time_down_does_not_believe_it() -> None:
    tuesday = job("fan-2-tue")
    assert "The clock moved back 61 min" in [m.title for m in tuesday.moments(None, {})]
    assert tuesday.set_back_min == 61
    assert tuesday.row is not None
    assert tuesday.row.minutes_down == 18, "by the clock on the wall it would be none"


def test_a_clock_that_was_set_forward_is_marked_too() -> None:
    first = event(1, "opened", "2026-11-25T03:00:00.000+01:00", 0, {"session": "s", "version": "v", "format": 1})
    second = event(2, "note", "2026-11-25T04:01:05.000+01:00", 5000, {"text": "x"})
    one = read_back("x", (first, second), Verdict(2, (2, second.hash), "s", "v"), {})
    assert "The clock moved forward 61 min." in [m.title for m in one.moments(None, {})]


def event(n: int, kind: str, at: str, elapsed_ms: int, data: dict[str, object]) -> Event:
    return make_event(n, kind, at, elapsed_ms, data, "0" * 64)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_of_a_log_is_left_out(name: str) -> None:
    shown = {m.n for m in job(name).moments(None, {})}
    rows = {e.n for e in job(name).events if e.kind in ("mark", "marked all")}
    assert shown | rows >= {e.n for e in job(name).events}


def test_every_kind_of_the_reference_page_is_told_in_words(root: Path) -> None:
    page = (root / "docs/reference/log-events.md").read_text(encoding="utf-8")
    kinds = set(re.findall(r"(?m)^\| `([a-z ]+)` \|", page.partition("## Kinds")[2].partition("## Values")[0]))
    assert len(kinds) > 25
    assert kinds <= known_kinds()


def test_a_kind_of_a_later_program_and_a_form_that_is_not_known_are_shown_and_break_nothing() -> None:
    odd = [
        event(1, "opened", "2026-11-25T03:00:00.000+01:00", 0, {}),
        event(2, "weighed", "2026-11-25T03:00:01.000+01:00", 10, {"kg": 3}),
    ]
    odd += [event(n, kind, "2026-11-25T03:00:02.000+01:00", 20, {"items": [1]})
            for n, kind in enumerate(sorted(known_kinds() - {"opened", "retract", "clock"}), 3)]  # fmt: skip
    one = read_back("x", odd, Verdict(len(odd), (len(odd), odd[-1].hash), "s", "v"), {})
    text = as_text(job_report(one, None, ()))
    assert "weighed (not known to this program)" in text
    assert "kg: 3" in text
    assert text.count("not known to this program") > 20


def test_a_log_that_was_edited_opens_with_a_banner_and_its_earlier_events(tmp_path: Path) -> None:
    lines = path("belt-7-mon").read_bytes().splitlines(keepends=True)
    lines[21] = lines[21].replace(b'"120.0 V"', b'"230.0 V"', 1)
    changed = tmp_path / "x.jsonl"
    changed.write_bytes(b"".join(lines))
    events, verdict = read_events(changed)
    one = read_back("x.jsonl", events, verdict, {})
    assert one.banner()[0] == ("Line 22: edited: the text does not agree with its own hash.", Tone.BAD)
    assert not one.trusted
    shown = {m.n for m in one.moments(None, {})}
    assert 20 in shown
    assert 22 not in shown


def test_the_page_says_the_head_and_that_nothing_is_anchored() -> None:
    text = as_text(job_report(job("belt-7-mon"), None, ()))
    number, digest = HEADS["belt-7-mon"]
    assert f"head {number}:{digest}" in text
    assert "Not anchored" in text
    assert "This machine is not described here" in text


def test_a_description_that_changed_since_is_said() -> None:
    one = job("fan-2-tue")
    assert one.expecting(desk("fan-2")).changed is False
    assert one.expecting(desk("belt-7")).changed is True
    text = as_text(job_report(one, desk("belt-7"), ()))
    assert "The description has changed since this job began" in " ".join(text.split())


def test_readings_of_nothing_stand_in_the_drawing_and_those_that_are_wrong_come_first() -> None:
    report = job_report(job("belt-7-thu"), desk("belt-7"), ())
    (spans,) = [b for b in report.blocks if isinstance(b, Spans)]
    wrong = [s for s in spans.rows if not s.low <= s.seen <= s.high]
    assert list(spans.rows[: len(wrong)]) == wrong
    assert "17: KM1:A1 to NB:1, AC V" in {s.name for s in wrong if s.seen == 0.0 and s.low > 100}
    assert "19: K1:14 to NB:1, AC V" in {s.name for s in wrong if s.seen == 0.0 and s.low > 100}


def test_a_caution_that_was_gone_before_anybody_reads_it_says_so_once() -> None:
    def told(ms: int) -> list[tuple[str, str]]:
        data = {"text": ["live " * 40], "by": "Ana", "drawn_ms": ms}
        first = job("belt-7-mon").events[0]
        event = make_event(2, "caution", first.at, 0, data, first.hash)
        one = read_back("x", (first, event), Verdict(2, (2, event.hash), "x", "0.1.0"), {})  # type: ignore[arg-type]
        return [d for m in one.moments(None, {}) for d in m.details]

    assert ("time", "too short to read it in") in told(300)
    assert ("time", "too short to read it in") not in told(9000)


def out(moment: Moment) -> bool:
    return moment.tone in (Tone.BAD, Tone.CAUTION)


def test_what_was_not_as_it_should_be_stands_out_and_what_was_put_right_in_the_record_does_not(
    monday: dict[int, Moment],
) -> None:
    assert out(monday[15]), "a contactor that is out and should be in"
    assert out(monday[22]), "0 V where 120 should be"
    assert out(monday[37]), "a confirming test that agrees is read on what is bad"
    assert not out(monday[17]), "taken back"
    assert not out(monday[56]), "mended, and all of it proved"


def told_alone(kind: str, data: dict[str, object]) -> Moment:
    first = job("belt-7-mon").events[0]
    one = make_event(2, kind, first.at, 0, data, first.hash)
    back = read_back("x", (first, one), Verdict(2, (2, one.hash), "x", "0.1.0"), {})  # type: ignore[arg-type]
    return next(m for m in back.moments(None, {}) if m.n == 2)


@pytest.mark.parametrize(("kind", "data"), [
    ("cannot", {"words": "Hold Start, red on K1:14", "reason": "unsafe", "targets": []}),
    ("cannot", {"words": "PB7", "reason": "permit", "targets": []}),
    ("ended", {"how": "mended", "not_proved": ["Running, then push ES1 in: it stops. (could not be done)"]}),
    ("ended", {"how": "mended", "not_proved": ["Pull ES1 out again: it must not start. (not offered: needs check 7)"]}),
    ("ended", {"how": "watching", "note": "it runs; to be watched"}),
    ("reading", {"items": [], "situation": {"words": "at rest"}, "said": "3.4k", "group": "S1 13-14", "agrees": True, "source": "asked"}),
])  # fmt: skip
def test_what_was_refused_or_ended_unproved_stands_out(kind: str, data: dict[str, object]) -> None:
    assert out(told_alone(kind, data))


def test_the_end_of_a_proved_job_and_a_reading_as_it_should_be_do_not_stand_out() -> None:
    assert not out(told_alone("ended", {"how": "mended", "not_proved": ["wire 12: a bad joint"]}))
    assert not out(
        told_alone("reading", {"items": [], "situation": {"words": "at rest"}, "said": "24", "source": "asked"})
    )


def test_the_checks_that_were_not_done_come_first_where_the_end_is_told() -> None:
    left = ["wire 12, K1:14 to FR1:95: a bad joint", "Let S2 go: it stays stopped. (not offered: needs check 3)",
            "Running, then push ES1 (emergency stop) in: it stops. (could not be done)"]  # fmt: skip
    moment = told_alone("ended", {"how": "mended", "not_proved": left})
    assert [words for what, words in moment.details if what == "not proved"] == [left[2], left[1], left[0]]


def test_ohms_stand_beside_what_they_should_be_as_well() -> None:
    report = job_report(job("belt-7-mon"), desk("belt-7"), ())
    (spans,) = [b for b in report.blocks if isinstance(b, Spans)]
    (confirming,) = [s for s in spans.rows if s.name.startswith("37: ") and s.unit == "ohm"]
    assert (confirming.should, confirming.seen > confirming.high) == ("under 1 ohm", True)
    text = as_text(report)
    assert f"{confirming.name}: {confirming.shown}, should be under 1 ohm" in " ".join(text.split())
    assert "The bar is" not in text, "nothing is drawn in a text"


def test_events_that_are_told_together_leave_no_hole_in_the_numbers() -> None:
    numbers = [m.number for m in job("belt-7-mon").moments(None, {}) if m.n]
    covered: list[int] = []
    for number in numbers:
        first, _, last = number.partition("-")
        covered += range(int(first), int(last or first) + 1)
    assert covered == list(range(1, 57))
    assert any("-" in number for number in numbers)
