"""Monday's table: one row a job, what repeats, what is the supervisor's to do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from job.nights import desk
from review.weeks import job, path, week

from troubleshoot.job.folding import fold
from troubleshoot.log.event import Event, make_event
from troubleshoot.log.verify import Verdict, gone_with, read_events
from troubleshoot.report.text import as_text
from troubleshoot.review.actions import actions_of, close, comment
from troubleshoot.review.before_signing import before_signing
from troubleshoot.review.page import departures_of, job_report
from troubleshoot.review.reading import ReadBack, read_back
from troubleshoot.review.week import (
    COLUMNS,
    down_again,
    mended_since,
    open_actions,
    open_by_job,
    repeats,
    row_cells,
    time_down,
    week_report,
    worth_a_word,
)


def cells(name: str) -> dict[str, str]:
    return dict(zip(COLUMNS, row_cells(job(name)), strict=True))


def test_a_row_says_machine_down_found_part_confirmed_proved_open_and_departures() -> None:
    assert cells("belt-7-mon") == {
        "machine": "belt-7", "down": "~23 Nov 03:10-03:35", "record": "", "log": "belt-7-mon.jsonl", "minutes": "24",
        "found": "wire 12 open between K1:14 and FR1:95", "part": "none",
        "confirmed": "confirmed", "proved": "12 of 12 checks", "left open": "nothing", "departures": "1",
        "signed": "no",
    }  # fmt: skip
    assert cells("belt-7-thu") == {
        "machine": "belt-7", "down": "~26 Nov 22:15-22:41", "record": "", "log": "belt-7-thu.jsonl", "minutes": "26",
        "found": "K1 contact 13-14 does not close", "part": "K1",
        "confirmed": "not confirmed", "proved": "9 of 12 checks", "left open": "2", "departures": "3",
        "signed": "no",
    }  # fmt: skip


def test_down_begins_when_the_operator_says_and_is_open_until_it_is_handed_back() -> None:
    assert cells("belt-7-wed")["down"] == "25 Nov 02:20-", "said: belt 7 dead since 2:20; the job began at 2:40"


def test_where_the_clock_was_set_back_the_row_says_so() -> None:
    assert cells("fan-2-tue")["down"] == "~24 Nov 14:05, 18 min, clock set back"


def test_guesses_and_readings_taken_back_are_no_departures() -> None:
    monday = job("belt-7-mon").row
    assert monday is not None
    assert monday.corrections == 1
    assert [d.sort for d in monday.departures] == ["caution unread"], "the script that lived it read each in 2 s"


def test_a_part_changed_without_its_confirming_test_and_checks_left_out_are() -> None:
    said = list(worth_a_word(week()))
    assert "belt-7: replace K1 without a confirming test (event 39) (26 Nov 22:15, Cy)" in said
    assert any("handed back with 3 checks not done: Running, then push ES1" in s for s in said)


def test_a_machine_down_again_within_a_week_and_the_same_repair_again_are_two_lists() -> None:
    (one,) = down_again(week(), ())
    assert one.startswith("belt-7: down 3 times in 7 days: 23 Nov 03:10 (wire 12 open")
    assert repeats(week(), ()) == (), "three jobs, three findings, and one without any"
    assert down_again([job("fan-2-tue")], ()) == ()
    row = job("belt-7-mon").row
    assert row is not None
    october = "2026-10-20T08:00:00+02:00"
    earlier = replace(row, session="october", started=october, down_from=october)
    (same,) = repeats(week(), (earlier,))
    assert same == "belt-7: 2 times the same: wire 12, K1:14 to FR1:95, 20 Oct 08:00, 23 Nov 03:10"
    assert repeats(week(), (replace(earlier, started="2025-10-20T08:00:00+02:00"),)) == ()


def test_an_open_job_on_a_machine_that_a_later_job_mended_is_asked_about() -> None:
    ((one, words),) = mended_since(week())
    assert one is job("belt-7-wed")
    assert words.startswith("belt-7, 25 Nov 02:20, waiting: permit: a later job mended this machine (26 Nov 22:15)")
    assert mended_since([job("belt-7-mon"), job("belt-7-wed")]) == ()


def test_what_could_not_be_done_is_the_supervisors_own_list() -> None:
    words = {f"{name} {id}": words for name, id, words in open_actions(week())}
    assert words["belt-7-wed.jsonl 23"] == "waiting for a permit or another trade, 12 readings wanted then"
    assert words["belt-7-thu.jsonl 22"].startswith("Confirm K1 before touching it")
    assert not any("ES1" in w and "cannot reach" in w for w in words.values()), "told once, as not proved"


def with_more(name: str, *more: tuple[str, dict[str, object]]) -> ReadBack:
    events = list(job(name).events)
    for kind, data in more:
        last = events[-1]
        events.append(make_event(last.n + 1, kind, last.at, last.elapsed_ms, data, last.hash))
    whole: tuple[Event, ...] = tuple(events)  # type: ignore[arg-type]
    return read_back(f"{name}.jsonl", whole, Verdict(len(whole), (len(whole), whole[-1].hash), name, "0.1.0"), {})


def test_what_is_closed_is_no_longer_open_and_says_who_closed_it() -> None:
    before = job("belt-7-thu")
    first = before.actions[0]
    after = with_more("belt-7-thu", ("closed", close(first, "Kim", "guard refitted")))
    assert [a.open for a in after.actions] == [False, True]
    assert after.actions[0].closed_by == "Kim"
    text = as_text(week_report([after]))
    assert "Confirm K1 before" not in text.partition("YOURS TO DO")[2].partition("WORTH")[0]


def test_a_job_taken_up_again_has_nothing_to_wait_for() -> None:
    again = with_more("belt-7-wed", ("resumed", {"who": "Ana", "idle_ms": 0, "changed": False}))
    assert not [a for a in again.actions if a.sort == "waiting"]


@pytest.mark.parametrize("kind", ["comment", "closed", "signed", "redacted"])
def test_what_is_written_back_changes_nothing_of_the_job_and_cannot_be_taken_back_by_undo(kind: str) -> None:
    before = fold(job("belt-7-wed").events)
    after = fold(with_more("belt-7-wed", (kind, comment("Kim", "x"))).events)
    assert after.undoable == before.undoable
    assert after.ended == before.ended
    assert after.evidence == before.evidence


def test_after_somebody_wrote_to_a_job_that_goes_on_everybody_has_to_be_clear_again() -> None:
    begun = job("belt-7-wed").events[:4]
    assert fold(begun).people_clear

    def then(*kinds: tuple[str, dict[str, object]]) -> bool:
        events = list(begun)
        for kind, data in kinds:
            last = events[-1]
            events.append(make_event(last.n + 1, kind, last.at, last.elapsed_ms, data, last.hash))  # type: ignore[arg-type]
        return fold(events).people_clear

    resumed = ("resumed", {"who": "Ana", "idle_ms": 60_000, "changed": False})
    assert then(resumed), "a minute of silence is no interruption"
    assert not then(("comment", comment("Kim", "x")), resumed), (
        "the silence before the comment is not known to be short"
    )


def test_a_close_of_what_was_never_open_closes_nothing() -> None:
    one = with_more("belt-7-thu", ("closed", {"of": "39", "part": [], "what": "x", "by": "Kim"}))
    assert all(a.open for a in one.actions)
    assert one.row is not None
    assert actions_of(one.row, one.events) == one.actions


def test_a_bad_countersignature_is_not_called_a_broken_record() -> None:
    bad = with_more("belt-7-mon", ("signed", {"by": "Kim"}))
    assert not bad.trusted
    assert bad.doubt == "BAD COUNTERSIGNATURE"
    assert job("belt-7-mon").doubt == ""


def test_a_machine_made_safe_without_a_step_of_it_on_record_is_made_safe_as_told() -> None:
    told = with_more("belt-7-wed", ("ended", {"how": "made safe", "note": "", "temporary": []}))
    assert row_cells(told)[COLUMNS.index("found")] == "made safe (as told, no isolation recorded)"
    assert any("made safe as told, no isolation recorded" in words for words in worth_a_word([told]))
    locked = {"step": "lock", "words": "Lock off at DS1", "said": "done"}
    recorded = with_more(
        "belt-7-wed", ("isolation", locked), ("ended", {"how": "made safe", "note": "", "temporary": []})
    )
    assert row_cells(recorded)[COLUMNS.index("found")] == "made safe"
    assert not any("made safe" in words for words in worth_a_word([recorded]))


def test_a_job_that_was_not_begun_is_nothing_to_judge_and_asks_nothing_of_anybody() -> None:
    begun = job("belt-7-wed").events[0]
    left = make_event(
        2, "ended", begun.at, 0, {"how": "not begun", "note": "left before anything was said"}, begun.hash
    )
    one = read_back("x.jsonl", (begun, left), Verdict(2, (2, left.hash), "x", "0.1.0"), {})  # type: ignore[arg-type]
    assert row_cells(one)[COLUMNS.index("found")] == "not begun, nothing to judge"
    assert one.row is not None
    assert (one.row.open, one.row.departures, one.actions) == (False, (), ())
    assert list(worth_a_word([one])) == []


def test_the_complaint_it_was_about_in_the_end_is_the_complaint_of_the_row() -> None:
    one = with_more("belt-7-wed", ("complaint", {"complaint": "wont-stop", "words": "it does not stop", "shows": {}}))
    assert one.row is not None
    assert one.row.complaint == "wont-stop"


def test_a_job_that_is_not_handed_back_stands_beside_the_minutes_of_those_that_are() -> None:
    assert time_down(week()) == (
        ("belt-7", 50.0, "~50 min + 1 not handed back, since 25 Nov 02:20"), ("fan-2", 18.0, "~18 min"),
    )  # fmt: skip


def test_a_name_much_like_that_of_somebody_who_worked_is_asked_about_before_it_signs() -> None:
    monday = job("belt-7-mon")
    assert any("Ana B. is much like Ana" in words for words in before_signing(monday, "Ana B."))
    assert not any("much like" in words for words in before_signing(monday, "Kim"))


AWAITED: tuple[tuple[str, dict[str, object]], ...] = (
    ("reading", {"group": "S1 block 13-14", "agrees": True, "items": [], "situation": {"hands": 1}, "said": "3.4k", "source": "asked", "shown": True}),
    ("ended", {"how": "waiting: part", "part": "S1 start button, push button", "note": "NO block, order 4471", "temporary": []}),
)  # fmt: skip
TAKEN: tuple[str, dict[str, object]] = ("resumed", {"who": "Ann", "idle_ms": 0, "changed": False})


@pytest.mark.parametrize("later", [(), (TAKEN,), (TAKEN, ("ended", {"how": "made safe", "note": "", "temporary": []}))])
def test_an_awaited_part_and_the_fault_it_is_for_stand_in_every_list_until_somebody_closes_it(
    later: tuple[tuple[str, dict[str, object]], ...],
) -> None:
    more = (*AWAITED, *later)
    one = with_more("belt-7-wed", *more)
    (action,) = [a for a in one.actions if a.sort == "part"]
    assert action.open
    assert (
        action.words
        == "part awaited: S1 start button, push button (NO block, order 4471); for S1 block 13-14, confirmed"
    )
    row = dict(zip(COLUMNS, row_cells(one), strict=True))
    assert row["found"] == "S1 block 13-14, confirmed, waiting for part"
    assert row["part"] == "S1 start button, push button (awaited)"
    assert row["confirmed"] == "confirmed, not mended"
    assert int(row["left open"]) >= 1
    assert any("order 4471" in words for _, _, words in open_actions([one]))
    page = " ".join(as_text(job_report(one, None, ())).split())
    assert "found S1 block 13-14, confirmed, waiting for part" in page
    assert "found nothing" not in page
    closed = with_more("belt-7-wed", *more, ("closed", close(action, "Kim", "fitted by days")))
    assert not any(a.open for a in closed.actions if a.sort == "part")
    assert dict(zip(COLUMNS, row_cells(closed), strict=True))["part"] == "none"
    assert "awaited S1" not in " ".join(as_text(job_report(closed, None, ())).split())


SKIPPED = (
    "Power on, nobody at the buttons: nothing starts.", "Hold S1 (start button): it starts, right way, even currents.",
    "Running, then hold S2 (stop button) in: it stops.", "Let S2 go: it stays stopped.",
    "Running, then test button of FR1 (overload relay): it stops.", "Press S2 first, then reset FR1: it stays stopped.",
    "Running, then push ES1 (emergency stop) in: it stops.", "Pull ES1 out again: it must not start.",
    "S3 in jog, hold S1: it starts.", "Running, then its power off and on again, not by the disconnect under load: no start by itself.",
)  # fmt: skip


def test_checks_that_were_not_done_are_told_stops_first_and_none_is_cut_off() -> None:
    left = [f"{words} (could not be done)" for words in SKIPPED[:6]]
    left += [f"{words} (not offered: needs check 3)" for words in SKIPPED[6:]]
    one = with_more("belt-7-wed", ("ended", {"how": "mended", "note": "", "second": "",
                                             "not_proved": [*left, "wire 12, K1:14 to FR1:95: a bad joint"]}))  # fmt: skip
    assert one.row is not None
    (words,) = [w for w in departures_of(one.row) if "checks not done" in w]
    assert words.startswith("handed back with 10 checks not done: Running, then push ES1 (emergency stop) in: it stops")
    order = [words.index(part.rstrip(".")) for part in (SKIPPED[6], SKIPPED[2], SKIPPED[4], SKIPPED[9], SKIPPED[1])]
    assert order == sorted(order)
    assert "more" not in words
    assert any(a.words == words for a in one.actions)
    text = " ".join(as_text(job_report(one, None, ())).partition("NOT PROVED BY THE PROOF RUN")[2].split())
    assert all(part in text for part in SKIPPED)
    assert text.index("ES1 (emergency stop)") < text.index("wire 12")


def test_a_record_that_does_not_hold_is_an_item_of_its_own_and_what_is_open_in_it_is_unknown(tmp_path: Path) -> None:
    lines = path("belt-7-thu").read_bytes().splitlines(keepends=True)
    lines[38] = lines[38].replace(b"K1", b"K2", 1)
    changed = tmp_path / "x.jsonl"
    changed.write_bytes(b"".join(lines))
    found, verdict = read_events(changed)
    one = read_back("x.jsonl", found, verdict, {})
    row = dict(zip(COLUMNS, row_cells(one), strict=True))
    assert (row["record"], row["left open"]) == ("NOT TO BE TRUSTED", "unknown after event 38")
    ((log, id, words), *_) = open_actions([one])
    assert (log, id) == ("x.jsonl", "")
    assert "Line 39: edited" in words
    assert "what is open after event 38 is unknown" in words
    assert next(iter(open_by_job([one]))).startswith("x.jsonl: its record is NOT TO BE TRUSTED")
    assert "What is left open after event 38 is unknown" in " ".join(as_text(job_report(one, None, ())).split())
    gone = read_back("y.jsonl", (), Verdict(0, None, "y", "", gone_with("y", 9).bad), {})
    assert dict(zip(COLUMNS, row_cells(gone), strict=True))["left open"] == "unknown"
    assert len(list(open_actions([gone]))) == 1
    assert not list(open_actions([job("belt-7-mon")]))


def test_a_close_says_by_whom_and_that_a_check_is_still_not_proved() -> None:
    last = job("belt-7-thu").actions[-1]
    one = with_more("belt-7-thu", ("closed", close(last, "Kim", "tried with JS")))
    assert [a.standing for a in one.actions] == ["open", "closed by Kim; still not proved"]


def test_before_signing_stands_what_the_job_did_not_come_to_and_what_was_refused() -> None:
    refused: tuple[str, dict[str, object]] = (
        "cannot",
        {"words": "Start held: red on K1:14", "reason": "unsafe", "targets": []},
    )
    watching: tuple[str, dict[str, object]] = (
        "ended",
        {"how": "watching", "note": "it runs; to be watched", "temporary": []},
    )
    one = with_more("belt-7-wed", refused, watching)
    said = before_signing(one, "Kim", desk("belt-7"))
    assert "This job is not finished: watching." in said
    assert "Nothing was mended: found nothing." in said
    assert "Nothing of the proof run is on record." in said
    assert "Open: to be watched: it runs; to be watched" in said
    assert any(words.startswith("Refused as unsafe, a good decision: Start held: red on K1:14") for words in said)
    hasty = before_signing(job("belt-7-mon"), "Kim")
    assert any("cautions on the screen too short to read" in words for words in hasty)


def test_before_signing_stand_the_readings_that_are_off_and_were_not_read_again_or_mended() -> None:
    events = job("belt-7-thu").events
    repair = next(e.n for e in events if e.kind == "repaired")
    before = events[: repair - 1]
    one = read_back("x.jsonl", before, Verdict(len(before), None, "x", "0.1.0"), {})  # type: ignore[arg-type]
    (off,) = [words for words in before_signing(one, "Kim", desk("belt-7")) if words.startswith("Not as it should be")]
    assert "K1:14 to NB:1, AC V read" in off
    assert not [w for w in before_signing(job("belt-7-thu"), "Kim", desk("belt-7")) if w.startswith("Not as it should")]


def test_a_name_that_worked_is_no_name_much_like_it() -> None:
    assert not any("much like" in words for words in before_signing(job("belt-7-mon"), "ana"))
