"""What of a log stands: what was taken back is left out, and a job that was handed on says to whom and under whose lock."""

from __future__ import annotations

from pathlib import Path

import pytest
from log.logs import clock, job, lines

from troubleshoot.log.event import Event, line_of
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.redaction import is_mark, redact, shortened, signers_in, vouched, written_freely
from troubleshoot.log.standing import handed_on, retracted
from troubleshoot.log.verify import Wrong, gone_with, read_events, session_of, verify


def written(*rows: tuple[str, dict[str, object]]) -> tuple[Event, ...]:
    log = MemoryLog(session="belt-7 night", version="0.1.0", who="Ana", clock=clock())
    for kind, data in rows:
        log.append(kind, data)
    return log.events


OPENED = ("opened", {"machine": "belt-7"})
LOCK_Q0 = ("isolation", {"step": "lock Q0"})
TO_BEN = ("handover", {"to": "Ben; told the shift lead"})


def test_a_job_that_nobody_handed_on_says_nothing() -> None:
    assert handed_on(written(OPENED, LOCK_Q0)) == ""
    assert handed_on(()) == ""


def test_a_job_handed_on_says_to_whom_and_not_what_was_promised() -> None:
    assert handed_on(written(OPENED, TO_BEN)) == "HANDED to Ben"


def test_a_lock_is_noted_with_whoever_hung_it() -> None:
    locks = (LOCK_Q0, ("isolation", {"step": "lock Q1"}), ("isolation", {"step": "tag Q2"}))
    assert handed_on(written(OPENED, *locks, TO_BEN)) == "HANDED to Ben, lock of Ana on Q0, Q1"


def test_two_who_hung_locks_are_both_named() -> None:
    theirs = (("resumed", {"who": "Ben"}), ("isolation", {"step": "lock Q1"}), ("handover", {"to": "Cy"}))
    assert handed_on(written(OPENED, LOCK_Q0, TO_BEN, *theirs)) == "HANDED to Cy, lock of Ana and Ben on Q0, Q1"


def test_whoever_takes_his_lock_off_leaves_the_others_on() -> None:
    rows = (
        LOCK_Q0,
        ("resumed", {"who": "Ben"}),
        ("isolation", {"step": "lock Q1"}),
        ("isolation", {"lock off": "Ana"}),
    )
    assert handed_on(written(OPENED, *rows, ("handover", {"to": "Cy"}))) == "HANDED to Cy, lock of Ben on Q1"


def test_no_lock_is_left_once_power_is_back_on() -> None:
    assert handed_on(written(OPENED, LOCK_Q0, ("power", {"on": True}), TO_BEN)) == "HANDED to Ben"


def test_a_job_taken_up_again_is_not_handed_on_any_more() -> None:
    assert handed_on(written(OPENED, TO_BEN, ("resumed", {"who": "Ben"}))) == ""


def test_a_handing_on_that_was_taken_back_did_not_happen() -> None:
    assert handed_on(written(OPENED, TO_BEN, ("retract", {"of": [2]}))) == ""


def test_what_is_taken_back_is_gone_and_a_taking_back_can_be_taken_back() -> None:
    assert retracted(written(OPENED, LOCK_Q0, ("retract", {"of": [2]}))) == {2}
    assert retracted(written(OPENED, LOCK_Q0, ("retract", {"of": [2]}), ("retract", {"of": [3]}))) == {3}


def test_a_file_names_its_session_before_anybody_verified_it(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(lines(job())))
    assert session_of(path) == "belt-7 night"


@pytest.mark.parametrize("text", [b"", b"{", b"[]", b"{}", b'{"session":7}\n', b"\xff\n", b"[" * 100_000])
def test_a_file_without_a_session_names_none(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(text)
    assert session_of(path) == ""
    assert session_of(tmp_path) == session_of(tmp_path / "none.jsonl") == ""


def test_a_log_that_is_gone_is_said_to_be_and_how_much_it_held() -> None:
    verdict = gone_with("belt-7 night", 9)
    assert (verdict.whole, verdict.events, verdict.session, verdict.bad.what) == (
        False, 0, "belt-7 night", Wrong.UNREADABLE,
    )  # fmt: skip
    assert verdict.sentences == (
        "This log is gone; it had 9 events when it was last seen.",
        "No event verified.",
    )


def test_whoever_countersigned_is_named_once_and_in_order() -> None:
    signed = [("signed", {"by": name}) for name in ("Kim", "Lee", "Kim", 7)]
    assert signers_in(written(OPENED, ("note", {"by": "Ana", "text": "x"}), *signed)) == ("Kim", "Lee")


def test_what_was_written_freely_is_found_until_it_is_taken_out() -> None:
    events = written(
        OPENED,
        ("note", {"text": "Ana left early"}),
        ("caution", {"text": ["Points: K1:14"]}),
        ("ended", {"how": "mended", "note": ""}),
        ("ended", {"how": "mended", "note": "ask Ana"}),
        ("signed", {"by": "Kim", "note": "seen"}),
    )
    assert written_freely(events, {}) == ((2, "Ana left early"), (5, "ask Ana"))
    after, _ = redact(events, [], notes=True, dice=bytes)
    assert written_freely(events, after) == ()
    assert written_freely(events, {2: after[2]}) == ((5, "ask Ana"),)


def test_a_text_inside_a_map_is_taken_out_and_put_back(tmp_path: Path) -> None:
    events = written(OPENED, ("note", {"about": {"who": ["Ana", "K1"]}}))
    lines, texts = redact(events, ["Ana"], notes=False, dice=bytes)
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(lines.get(e.n, line_of(e)) for e in events))
    assert not verify(path).whole
    now, verdict = read_events(path, texts=texts)
    assert now == events
    assert verdict.sentences[1] == "With what was taken out put back, 2 lines agree with their own hash."


def test_an_event_that_vouches_for_nothing_readable_vouches_for_nothing() -> None:
    for rows in (None, "1", [[1]], [["1", "x"]], [[True, "x"]], [[1, 2]]):
        assert vouched({"kind": "redacted", "lines": rows}) == {}
    assert vouched({"kind": "note", "lines": [[1, "x"]]}) == {}
    assert vouched({"kind": "redacted", "lines": [[1, "x"], 7]}) == {1: "x"}


def test_a_reader_sees_few_letters_of_a_mark_and_all_of_the_rest() -> None:
    mark = "redacted:" + "0123456789abcdef" * 4
    (event,) = written(("opened", {"said": f"by {mark}", "list": [mark, 7], "inside": {"a": mark}, "n2": 3}))
    seen = shortened(event)
    assert seen.data["said"] == "by [taken out 012345]"
    assert seen.data["list"] == ("[taken out 012345]", 7)
    assert dict(seen.data["inside"]) == {"a": "[taken out 012345]"}
    assert (seen.data["n2"], seen.hash) == (3, event.hash)
    assert is_mark(mark)
    assert not is_mark(mark[:-1])
    assert not is_mark(mark + "0")
