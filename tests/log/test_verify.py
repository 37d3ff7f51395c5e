"""A log that was changed is found out, at the line where it was."""

from __future__ import annotations

import hashlib
import json
import os
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st
from log.logs import job, lines

from troubleshoot.log.disk import RealDisk
from troubleshoot.log.event import FORMAT, LONGEST_LINE, Event, canonical, genesis, line_of, make_event
from troubleshoot.log.line import spelled_right
from troubleshoot.log.verify import Verdict, Wrong, read_events, scan, verify

JOB = job()
LINES = lines(JOB)
OTHER = lines(job("belt-9 day"))
WHOLE = b"".join(LINES)


@pytest.fixture
def found(tmp_path):
    """The verdict over some bytes, checked to be the same for both readers."""

    def verdict(data: bytes | list[bytes], head=None):
        path = tmp_path / "job.jsonl"
        path.write_bytes(data if isinstance(data, bytes) else b"".join(data))
        events, told = read_events(path, head=head)
        assert told == verify(path, head=head)
        assert len(events) == told.events
        assert [e.n for e in events] == list(range(1, told.events + 1))
        return told

    return verdict


def scanned(data: bytes) -> tuple[tuple[Event, ...], Verdict]:
    """Events and verdict over bytes that need no file."""

    class InMemory(RealDisk):
        def read(self, fd, length, offset):
            return data[offset : offset + length]

    kept: list[Event] = []
    verdict = scan(InMemory(), -1, kept)
    return tuple(kept), verdict


def line_and_kind(verdict):
    return (verdict.bad.line, verdict.bad.what) if verdict.bad else None


def test_a_job_as_it_was_written_is_whole(found):
    verdict = found(WHOLE)
    assert verdict.whole
    assert (verdict.events, verdict.head, verdict.torn) == (10, (10, JOB[-1].hash), None)
    assert (verdict.session, verdict.version) == ("belt-7 night", "0.1.0")


def test_without_an_anchor_it_says_so(found):
    assert "Not anchored" in found(WHOLE).sentences[-1]
    assert found(WHOLE).anchored is None


@pytest.mark.parametrize("digits", [16, 64])
@pytest.mark.parametrize("n", [1, 7, 10])
def test_with_the_right_anchor_it_is_anchored(found, n, digits):
    verdict = found(WHOLE, head=(n, JOB[n - 1].hash[:digits].upper()))
    assert verdict.whole
    assert verdict.anchored == n
    assert verdict.sentences[-1] == f"Anchored up to event {n}."


def test_a_few_digits_are_no_anchor(found):
    with pytest.raises(ValueError, match="at least 16"):
        found(WHOLE, head=(10, JOB[-1].hash[:15]))


@pytest.mark.parametrize("left", range(10))
def test_a_tail_that_was_taken_away_is_found_with_an_anchor_only(found, left):
    cut = LINES[:left]
    assert found(cut).whole
    assert line_and_kind(found(cut, head=(10, JOB[-1].hash))) == (left + 1, Wrong.CUT)


def test_a_log_written_anew_from_some_line_is_found_with_an_anchor_only(found):
    anew, prev = list(JOB[:5]), JOB[4].hash
    for old in JOB[5:]:
        data = {**old.plain(), "said": "230"} if old.n == 6 else old.plain()
        data = {k: v for k, v in data.items() if k not in ("n", "kind", "at", "elapsed_ms", "prev", "hash")}
        anew.append(make_event(old.n, old.kind, old.at, old.elapsed_ms, data, prev))
        prev = anew[-1].hash
    forged = b"".join(line_of(event) for event in anew)
    assert forged != WHOLE
    assert found(forged).whole
    for n in range(6, 11):
        assert line_and_kind(found(forged, head=(n, JOB[n - 1].hash))) == (n, Wrong.NOT_AS_ANCHORED)
    assert found(forged, head=(5, JOB[4].hash)).anchored == 5


def test_cut_at_any_byte_the_events_before_it_are_kept():
    for cut in range(len(WHOLE)):
        events, verdict = scanned(WHOLE[:cut])
        complete = WHOLE[:cut].count(b"\n")
        assert events == JOB[:complete]
        assert verdict.whole
        torn = cut - len(b"".join(LINES[:complete]))
        assert (verdict.torn.length if verdict.torn else 0) == torn, cut
        assert verdict.torn is None or verdict.torn.line == complete + 1


@pytest.mark.parametrize("mask", [0x01, 0x20, 0x80])
def test_any_byte_flipped_is_found_at_its_line(mask):
    for place in range(len(WHOLE)):
        flipped = bytearray(WHOLE)
        flipped[place] ^= mask
        events, verdict = scanned(bytes(flipped))
        line = WHOLE[:place].count(b"\n") + 1
        if place == len(WHOLE) - 1:  # the last line end is gone: that line never got down whole, as far as can be told
            assert (verdict.torn.line, verdict.bad) == (line, None)
        else:
            assert verdict.bad, place
            assert (verdict.bad.line, verdict.torn) == (line, None), place
        assert events == JOB[: line - 1]


@given(st.integers(0, len(WHOLE) - 2), st.integers(1, 255))
def test_any_byte_changed_to_any_other_is_found_at_its_line(tmp_path_factory, place, mask):
    path = tmp_path_factory.mktemp("log") / "job.jsonl"
    changed = bytearray(WHOLE)
    changed[place] ^= mask
    path.write_bytes(changed)
    verdict = verify(path)
    assert (verdict.bad or verdict.torn).line == WHOLE[:place].count(b"\n") + 1


@pytest.mark.parametrize("k", range(1, 10))
def test_two_lines_swapped(found, k):
    swapped = [*LINES[: k - 1], LINES[k], LINES[k - 1], *LINES[k + 1 :]]
    verdict = found(swapped)
    assert line_and_kind(verdict) == (k, Wrong.REORDERED)
    assert f"event {k} stands further down, in line {k + 1}" in verdict.bad.words


@pytest.mark.parametrize(("again", "after"), [(a, b) for b in range(1, 11) for a in range(1, b + 1)])
def test_a_line_played_again(found, again, after):
    verdict = found([*LINES[:after], LINES[again - 1], *LINES[after:]])
    assert line_and_kind(verdict) == (after + 1, Wrong.REPEATED)
    assert f"line {again} once more" in verdict.bad.words


@pytest.mark.parametrize(("start", "end"), [(s, e) for s in range(10) for e in range(s + 1, 10)])
def test_lines_left_out(found, start, end):
    verdict = found(LINES[:start] + LINES[end:])
    assert line_and_kind(verdict) == (start + 1, Wrong.CUT)
    assert "missing" in verdict.bad.words


@pytest.mark.parametrize("k", range(2, 11))
def test_a_line_of_another_session_in_the_place_of_ours(found, k):
    assert line_and_kind(found([*LINES[: k - 1], OTHER[k - 1], *LINES[k:]])) == (k, Wrong.SPLICED)


@pytest.mark.parametrize("theirs", range(1, 11))
@pytest.mark.parametrize("k", range(2, 11))
def test_a_line_of_another_session_put_between_ours(found, k, theirs):
    verdict = found([*LINES[: k - 1], OTHER[theirs - 1], *LINES[k - 1 :]])
    assert line_and_kind(verdict) == (k, Wrong.SPLICED)


def test_another_session_put_behind_ours(found):
    verdict = found(LINES + OTHER)
    assert line_and_kind(verdict) == (11, Wrong.SPLICED)
    assert "session belt-9 day begins here" in verdict.bad.words


def test_our_lines_under_the_beginning_of_another_session(tmp_path):
    path = tmp_path / "job.jsonl"
    path.write_bytes(b"".join([OTHER[0], *LINES[1:]]))
    assert line_and_kind(verify(path)) == (2, Wrong.SPLICED)


def test_one_line_changed_with_its_hash_made_right_again_shows_at_the_line_that_followed_it(found, tmp_path):
    old = json.loads(LINES[5])
    data = {k: old[k] for k in ("pairs", "as", "proved")} | {"said": "0"}
    forged = line_of(make_event(6, "reading", old["at"], old["elapsed_ms"], data, old["prev"]))
    path = tmp_path / "job.jsonl"
    path.write_bytes(b"".join([*LINES[:5], forged, *LINES[6:]]))
    verdict = verify(path)
    assert line_and_kind(verdict) == (7, Wrong.SPLICED)
    assert "line 6" in verdict.bad.words  # which of the two is false cannot be told, and is not


@pytest.mark.parametrize(
    "respell",
    [
        lambda line: line.replace(b'"n":4', b'"n": 4'),
        lambda line: line[:-2] + b" }\n",
        lambda line: b" " + line,
        lambda line: line[:-1] + b"\r\n",
        lambda line: line.replace(b"danger", b"d\\u0061nger"),
        lambda line: line.replace(b'"drawn_ms":912', b'"drawn_ms":912,"drawn_ms":912'),
        lambda line: line.replace(b'"drawn_ms":912', b'"drawn_ms":9.12e2'),
        lambda line: json.dumps(dict(reversed(json.loads(line).items())), separators=(",", ":")).encode() + b"\n",
        lambda line: b"\xef\xbb\xbf" + line,
        lambda line: line[:-1] + line,
    ],
    ids=["space", "space at end", "space before", "CRLF", "escape", "key twice", "float", "order", "BOM", "two on one"],
)
def test_a_second_spelling_of_the_same_event_is_refused(found, respell):
    line = respell(LINES[3])
    assert line != LINES[3]
    verdict = found([*LINES[:3], line, *LINES[4:]])
    assert verdict.bad.line == 4


@pytest.mark.parametrize(
    "respell",
    [
        lambda body: body.replace(b'"n":4', b'"n": 4'),
        lambda body: body.replace(b"danger", b"d\\u0061nger"),
        lambda body: body.replace(b'"drawn_ms":912', b'"drawn_ms":912,"drawn_ms":912'),
        lambda body: body.replace(b'"drawn_ms":912', b'"drawn_ms":9.12e2'),
        lambda body: body.replace(b'"drawn_ms":912', b'"drawn_ms":NaN'),
        lambda body: body.replace(b'"n":4', b'"n":4,"a":1'),
        lambda body: body.replace(b'"n":4', b'"n":4,"o":"\\ud83d\\ude00"'),
        lambda body: body + b" ",
        lambda body: body + b",{}",
        lambda body: body + b"\r",
    ],
    ids=["space", "escape", "key twice", "float", "NaN", "order", "pair", "end", "two", "CR"],
)
def test_a_second_spelling_is_refused_even_with_a_hash_of_its_own(found, respell):
    stated = f'"hash":"{JOB[3].hash}",'.encode()
    before, after = LINES[3][:-1].split(stated)
    body = respell(before + after)
    assert body != before + after
    place = body.index(b'"kind"')
    forged = body[:place] + b'"hash":"%b",' % hashlib.sha256(body).hexdigest().encode() + body[place:] + b"\n"
    assert line_and_kind(found([*LINES[:3], forged])) == (4, Wrong.NOT_CANONICAL)


def test_two_lines_that_are_right_only_together_are_refused(found):
    middle = LINES[3].index(b'"kind"')
    halves = LINES[3][: middle - 1] + b"\n" + LINES[3][middle:]
    assert line_and_kind(found([*LINES[:3], halves, *LINES[4:]])) == (4, Wrong.EDITED)


def test_a_byte_of_the_last_line_made_nul_is_an_edit_and_not_a_power_cut():
    for place in range(len(WHOLE) - len(LINES[-1]), len(WHOLE) - 1):
        if place % 512 in (0, 511) or place == len(WHOLE) - len(LINES[-1]):
            continue  # where a lost sector could begin or end
        _, verdict = scanned(WHOLE[:place] + b"\0" + WHOLE[place + 1 :])
        assert line_and_kind(verdict) == (10, Wrong.EDITED)


@pytest.mark.parametrize("value", ["NaN", "Infinity", "1e999", "1E2", "1.50", "-0", "9" * 5000, "[" * 100_000])
def test_numbers_without_a_spelling_and_bottomless_nesting_are_refused(found, value):
    line = LINES[3].replace(b'"drawn_ms":912', b'"drawn_ms":' + value.encode())
    assert found([*LINES[:3], line, *LINES[4:]]).bad.line == 4


def test_deep_nesting_is_refused_by_both_readers_even_with_its_hash_right(found):
    plain = json.loads(LINES[3])
    plain["deep"] = json.loads("[" * 40 + "]" * 40)
    del plain["hash"]
    plain["hash"] = hashlib.sha256(canonical(plain).encode()).hexdigest()
    line = canonical(plain).encode() + b"\n"
    assert line_and_kind(found([*LINES[:3], line])) == (4, Wrong.NOT_CANONICAL)


@pytest.mark.parametrize(
    ("key", "value"),
    [("n", "4"), ("n", 4.0), ("n", True), ("kind", ""), ("kind", 3), ("at", "03:10"), ("at", "2026-11-25T03:10:22"),
     ("elapsed_ms", None), ("prev", 0), ("hash", None)],
)  # fmt: skip
def test_an_envelope_of_the_wrong_form_is_refused(found, key, value):
    plain = json.loads(LINES[3])
    stated = plain.pop("hash")
    plain[key] = value
    plain["hash"] = value if key == "hash" else hashlib.sha256(canonical(plain).encode()).hexdigest()
    assert stated != plain["hash"]
    assert line_and_kind(found([*LINES[:3], canonical(plain).encode() + b"\n"])) == (4, Wrong.EDITED)


@pytest.mark.parametrize("line", [b"\n", b"null\n", b"[]\n", b"1\n", b'"hash"\n', b"{}\n", b"\0\n", b"\xff\n"])
def test_what_is_no_event_is_refused(found, line):
    assert found([*LINES[:3], line, *LINES[3:]]).bad.line == 4


def test_a_first_event_that_does_not_say_its_session_is_refused(found):
    line = line_of(make_event(1, "opened", JOB[0].at, 0, {}, genesis("", "")))
    assert line_and_kind(found(line)) == (1, Wrong.EDITED)


def test_kinds_that_are_not_known_here_are_kept(tmp_path):
    data = {"format": FORMAT, "session": "s", "version": "9.9", "thermal picture": {"°C": [41.5]}}
    path = tmp_path / "job.jsonl"
    path.write_bytes(line_of(make_event(1, "thermography", JOB[0].at, 0, data, genesis("s", "9.9"))))
    events, verdict = read_events(path)
    assert verdict.whole
    assert events[0].kind == "thermography"
    assert events[0].data["thermal picture"] == {"°C": (41.5,)}


@pytest.mark.parametrize("text", [b"", b"\0" * 4096, b"[" * 4096, b"{" * 4096, bytes(range(256)) * 64])
def test_whatever_a_file_holds_there_is_a_verdict(tmp_path, text):
    path = tmp_path / "job.jsonl"
    path.write_bytes(text)
    events, verdict = read_events(path)
    assert (events, verdict.events) == ((), 0)
    assert (verdict.torn is not None or verdict.bad is not None) == (text != b"")


@given(st.binary(max_size=400))
def test_random_bytes_behind_a_log_cost_none_of_it(tmp_path_factory, junk):
    path = tmp_path_factory.mktemp("log") / "job.jsonl"
    path.write_bytes(WHOLE + junk)
    events, verdict = read_events(path)
    assert events == JOB
    wrong = verdict.bad or verdict.torn
    assert (wrong.line if wrong else None) == (11 if junk else None)


def test_a_tail_of_nuls_is_torn_and_not_an_edit(found):
    for zeros in (1, 511, 4096):
        verdict = found(WHOLE + b"\0" * zeros)
        assert verdict.whole
        assert (verdict.torn.line, verdict.torn.length) == (11, zeros)


def test_a_last_line_whose_first_sector_reads_as_nuls_is_torn(tmp_path):
    data = {"note": "x" * 2000}
    last = line_of(make_event(11, "note", JOB[-1].at, 99_000, data, JOB[-1].hash))
    edge = -(-len(WHOLE) // 512) * 512
    lost = WHOLE + bytes(edge - len(WHOLE)) + last[edge - len(WHOLE) :]
    path = tmp_path / "job.jsonl"
    path.write_bytes(lost)
    verdict = verify(path)
    assert verdict.whole
    assert (verdict.events, verdict.torn.line) == (10, 11)
    path.write_bytes(lost + LINES[0])  # but in the middle of a log there is no torn line
    assert verify(path).bad.line == 11


@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir, lambda path: os.symlink("/dev/zero", path), lambda path: None])
def test_what_is_not_a_file_is_said_to_be_none_and_nobody_waits(tmp_path, make):
    path = tmp_path / "job.jsonl"
    make(path)
    verdict = verify(path)
    assert (verdict.bad.line, verdict.bad.what) == (0, Wrong.UNREADABLE)


def test_no_line_however_long_is_held_in_memory(tmp_path):
    path = tmp_path / "job.jsonl"
    with path.open("wb") as file:
        file.write(WHOLE)
        file.truncate(200 * LONGEST_LINE)
    tracemalloc.start()
    try:
        assert verify(path).bad.line == 11
        assert tracemalloc.get_traced_memory()[1] < 8 * LONGEST_LINE
    finally:
        tracemalloc.stop()


def test_a_long_log_is_verified_in_the_memory_of_a_short_one(tmp_path):
    path = tmp_path / "job.jsonl"
    path.write_bytes(b"".join(lines(job(count=4000))))
    tracemalloc.start()
    try:
        assert verify(path).events == 4000
        assert tracemalloc.get_traced_memory()[1] < path.stat().st_size / 4
    finally:
        tracemalloc.stop()


def test_what_is_said_about_a_log_cannot_reach_into_the_terminal(tmp_path):
    path = tmp_path / "job.jsonl"
    path.write_bytes(b"".join([*LINES, *lines(job("\x1b]52;c;x\x07\u202e"))]))
    said = " ".join(verify(path).sentences) + " ".join(verify(tmp_path / "no\x1bsuch\nfile").sentences)
    assert said.isprintable()


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inside: st.lists(inside, max_size=4) | st.dictionaries(st.text(), inside, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(st.text(), JSON, max_size=5))
def test_the_fast_reader_finds_every_ordinary_line_and_reads_it_as_the_slow_one(value):
    text = canonical(value)
    quick = spelled_right(text.encode())
    assert quick is None or (quick == json.loads(text) and canonical(quick) == text)


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(["r", "g", ".1f", "e", ".17g", ".20f"]))
def test_what_the_fast_reader_calls_canonical_is(number, how):
    """Each way to write a number: only the one that the log writes may pass."""
    text = repr(number) if how == "r" else format(number, how)
    line = f'{{"a":{text}}}'.encode()
    assert spelled_right(line) is None or canonical(json.loads(line)).encode() == line


@pytest.mark.parametrize(
    "text",
    ['{"a":0.00001234}', '{"a":1e16}', '{"a":1.0e2}', '{"b":1,"a":2}', '{"a":1,"a":1}',
     '{"a":"\\u00e9"}', '{"a":"\\/"}', '{"a": 1}', '{"a":1}\r', '{"a":-0}', '{"a":1.10}', '{"a":"\\ud83d\\ude00"}', '\ufeff{"a":1}'],
)  # fmt: skip
def test_a_second_spelling_passes_neither_reader(text):
    assert spelled_right(text.encode()) is None
    with pytest.raises((AssertionError, ValueError)):
        assert canonical(json.loads(text)) == text


def test_ordinary_lines_go_the_fast_way():
    assert all(spelled_right(line.rstrip(b"\n")) is not None for line in LINES)
