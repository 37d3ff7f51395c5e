"""A countersignature is by somebody else, over this log, at this time, or it is found out."""

from __future__ import annotations

import secrets
from datetime import timedelta

import pytest
from log.logs import clock

from troubleshoot.log.clock import SetClock
from troubleshoot.log.event import Event, stamp
from troubleshoot.log.memory import MemoryLog
from troubleshoot.review import signing
from troubleshoot.review.signing import Key, Signature, WrongPassphrase, check, make_key, read_key, refusal, sign

# A key is stretched for some tenths of a second; here it is not the stretching that is tried.
signing.COST = 1 << 8

PASS = "four words that nobody guesses"
KIM = make_key("Kim", PASS, secrets.token_bytes)
OTHER = make_key("Kim", PASS, secrets.token_bytes)
ANA = make_key("Ana", PASS, secrets.token_bytes)


def begun(session: str = "night") -> tuple[MemoryLog, SetClock]:
    time = clock()
    log = MemoryLog(session=session, version="0.1.0", who="Ana", clock=time)
    log.append("opened", {"machine": "belt-7", "who": "Ana"})
    time.pass_time(60_000)
    log.append("repaired", {"group": "K1"})
    time.pass_time(60_000)
    log.append("ended", {"how": "mended", "second": "Kim"})
    time.pass_time(3_600_000)
    return log, time


def signed(log: MemoryLog, time: SetClock, key: Key = KIM, **changed: object) -> Event:
    assert log.head is not None
    data = sign(key, PASS, log.verdict.session, log.head, stamp(time.wall())) | changed
    return log.append("signed", data)


def only(log: MemoryLog, keys: dict[str, str] | None = None) -> Signature:
    (one,) = check(log.events, keys or {})
    return one


def test_somebody_else_signs_up_to_the_newest_event() -> None:
    log, time = begun()
    signed(log, time)
    one = only(log, {"Kim": KIM.public})
    assert (one.wrong, one.by, one.head, one.known, one.after) == ("", "Kim", 3, True, 0)


def test_a_key_that_is_not_kept_here_is_said_to_be_so() -> None:
    log, time = begun()
    signed(log, time)
    one = only(log)
    assert not one.wrong
    assert not one.known
    assert "ask that person" in one.words


def test_another_key_under_a_kept_name_does_not_hold() -> None:
    log, time = begun()
    signed(log, time, OTHER)
    assert "another key" in only(log, {"Kim": KIM.public}).wrong


@pytest.mark.parametrize("changed", [
    {"by": "Lee"}, {"head": 2}, {"head_hash": "0" * 64}, {"session": "day"}, {"signature": "00" * 64},
    {"signed_at": "2026-11-25T03:12:22.480+01:00"}, {"public": OTHER.public}, {"signature": "x"}, {"public": ""},
], ids=lambda c: next(iter(c)))  # fmt: skip
def test_a_forged_one_is_found_whatever_is_changed_in_it(changed: dict[str, object]) -> None:
    log, time = begun()
    signed(log, time, **changed)
    assert "forged" in only(log).wrong


@pytest.mark.parametrize("lacks", ["by", "public", "signature", "session", "head", "head_hash", "signed_at"])
def test_one_that_lacks_something_does_not_hold(lacks: str) -> None:
    log, time = begun()
    assert log.head is not None
    data = sign(KIM, PASS, "night", log.head, stamp(time.wall()))
    log.append("signed", {k: v for k, v in data.items() if k != lacks})
    assert only(log).wrong


def test_one_copied_from_another_log_is_found() -> None:
    other, time = begun("day")
    taken = signed(other, time)
    log, _ = begun("night")
    log.append("signed", dict(taken.data))
    assert "re-used: it was made for another log" in only(log).wrong


def test_one_copied_further_down_the_same_log_is_found() -> None:
    log, time = begun()
    first = signed(log, time)
    log.append("signed", dict(first.data))
    good, again = check(log.events, {})
    assert not good.wrong
    assert "re-used: it is that of event 4" in again.wrong


def test_one_made_for_an_earlier_head_is_found() -> None:
    log, time = begun()
    assert log.head is not None
    early = sign(KIM, PASS, "night", log.head, stamp(time.wall()))
    log.append("repaired", {"group": "KM1"})
    log.append("signed", early)
    assert "does not stand right behind it" in only(log).wrong


def test_one_that_says_an_earlier_time_is_found() -> None:
    log, time = begun()
    assert log.head is not None
    early = stamp(time.wall() - timedelta(hours=2))
    log.append("signed", sign(KIM, PASS, "night", log.head, early))
    assert "back-dated" in only(log).wrong


def test_one_made_with_the_clock_set_back_is_found() -> None:
    log, time = begun()
    time.set_wall(time.wall() - timedelta(days=2))
    signed(log, time)
    assert [e.kind for e in log.events[-2:]] == ["clock", "signed"]
    assert "the clock was set back" in only(log).wrong


@pytest.mark.parametrize("name", ["Ana", "ana", " ANA  "])
def test_whoever_worked_on_it_cannot_sign_it_under_any_spelling(name: str) -> None:
    log, time = begun()
    key = make_key(name, PASS, secrets.token_bytes)
    signed(log, time, key)
    assert "worked on it" in only(log).wrong


def test_whoever_works_on_it_later_has_not_countersigned_it() -> None:
    log, time = begun()
    signed(log, time)
    log.append("resumed", {"who": "Kim"})
    assert "worked on it" in only(log).wrong


def test_work_after_it_is_said_to_be_after_it_and_comments_are_not_work() -> None:
    log, time = begun()
    signed(log, time)
    log.append("comment", {"by": "Lee", "text": "kit ordered", "about": 0})
    assert only(log).after == 0
    log.append("resumed", {"who": "JS"})
    log.append("repaired", {"group": "K1"})
    assert only(log).after == 2
    assert "2 events of the work came after it" in only(log).words


def test_the_worker_and_a_login_that_worked_are_refused_before_anything_is_signed() -> None:
    log, _ = begun()
    assert "worked on this job" in refusal(log.events, "Ana", "kim")
    assert "login of your own" in refusal(log.events, "Kim", "ana")
    assert refusal(log.events, "Kim", "kim") == ""


def test_the_wrong_passphrase_opens_no_key() -> None:
    with pytest.raises(WrongPassphrase):
        sign(KIM, "four words", "night", (1, "0" * 64), "2026-11-25T03:10:22.480+01:00")


def test_another_name_written_into_a_key_file_opens_nothing() -> None:
    stolen = read_key(KIM.text().replace('"Kim"', '"Lee"'))
    with pytest.raises(WrongPassphrase):
        sign(stolen, PASS, "night", (1, "0" * 64), "2026-11-25T03:10:22.480+01:00")


def test_a_key_file_holds_the_secret_sealed_only() -> None:
    seen: list[bytes] = []

    def dice(count: int) -> bytes:
        seen.append(secrets.token_bytes(count))
        return seen[-1]

    text = make_key("Kim", PASS, dice).text()
    assert read_key(text).name == "Kim"
    assert seen[0].hex() not in text
    assert PASS not in text


@pytest.mark.parametrize(
    "junk",
    [
        "",
        "{}",
        "[1]",
        '{"name": 1}',
        KIM.text().replace(KIM.salt, "zz"),
        KIM.text().replace('"cost": 256', '"cost": 1073741824'),
    ],
    ids=["nothing", "empty", "list", "name alone", "salt no hex", "cost beyond reason"],  # keys are new in every run
)
def test_what_is_no_key_is_said_to_be_none(junk: str) -> None:
    with pytest.raises(ValueError, match="no key"):
        read_key(junk)
