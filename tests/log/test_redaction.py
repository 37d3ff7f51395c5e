"""Names can be taken out of a log, and the chain, the anchors and the countersignatures made before still hold."""

from __future__ import annotations

import hashlib
import json
import re
from itertools import count
from pathlib import Path

import pytest
from log.logs import clock

from troubleshoot.log.event import Event, line_of, make_event
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.next import Next
from troubleshoot.log.redaction import KIND, Texts, names_in, read_texts, redact, vouching, written_freely
from troubleshoot.log.verify import Verdict, Wrong, read_events, verify

NUMBERS = count()


def dice(size: int) -> bytes:
    return hashlib.sha256(str(next(NUMBERS)).encode()).digest()[:size]


def job() -> tuple[Event, ...]:
    time = clock()
    log = MemoryLog(session="belt-7 night", version="0.1.0", who="Ana", clock=time)
    for kind, data in (
        ("opened", {"machine": "belt-7", "who": "Ana", "said": "belt dead"}),
        ("caution", {"by": "Ana", "key": "coil|abc|Ana|0", "text": ["Ana: only if qualified.", "Points: K1:14"]}),
        ("reading", {"said": "120", "items": [[["meter", "ac volts", ["K1", "14"], ["NB", "1"]], "120", [119, 121, "V"]]]}),
        ("note", {"text": "Banana crate under the belt; told Ana's shift lead"}),
        ("handover", {"by": "Ana", "to": "JS; told the shift lead", "page": ["Worked on by Ana.", "Power OFF"]}),
        ("resumed", {"who": "JS"}),
        ("ended", {"how": "mended", "second": "Cy Vance", "note": ""}),
    ):  # fmt: skip
        log.append(kind, data)
        time.pass_time(2000)
    return log.events


def taken_out(
    tmp_path: Path, *, notes: bool = False, also: tuple[str, ...] = ()
) -> tuple[Path, Texts, tuple[Event, ...]]:
    events = job()
    lines, texts = redact(events, [*names_in(events), *also], notes=notes, dice=dice)
    following = Next(session="belt-7 night", version="0.1.0", who="x", clock=clock(), last=events[-1])
    (*_, last) = following.events(KIND, vouching(lines, "redaction"))
    rest = following.events(KIND, vouching(lines, "redaction"))
    path = tmp_path / "redacted.jsonl"
    path.write_bytes(b"".join(lines.get(e.n, line_of(e)) for e in events) + b"".join(line_of(e) for e in rest))
    assert last.kind == KIND
    return path, texts, events


def found(verdict: Verdict) -> tuple[int, Wrong] | None:
    return (verdict.bad.line, verdict.bad.what) if verdict.bad else None


def test_no_name_of_anybody_who_worked_is_left_and_the_log_is_whole(tmp_path: Path) -> None:
    path, _, _ = taken_out(tmp_path)
    text = path.read_text()
    for name in ("Ana", "JS", "Cy Vance"):
        assert name not in text.replace("Banana", "")
    verdict = verify(path)
    assert verdict.whole
    assert verdict.redacted == (1, 2, 4, 5, 6, 7)
    assert any("--names" in sentence for sentence in verdict.sentences)


def test_a_word_that_only_holds_the_letters_of_a_name_stays(tmp_path: Path) -> None:
    events = job()
    lines, _ = redact(events, ["Ana"], notes=False, dice=dice)
    assert 4 in lines, "Ana's shift lead is a text with a name in it"
    plain, _ = redact(events, ["ana crate", "nan"], notes=False, dice=dice)
    assert 4 not in plain


def test_only_the_word_goes_and_the_rest_of_a_note_and_a_hand_over_stays(tmp_path: Path) -> None:
    path, _, _ = taken_out(tmp_path, also=("banana crate",))
    now, _ = read_events(path)
    mark = r"redacted:[0-9a-f]{64}"
    assert re.fullmatch(rf"{mark} under the belt; told {mark}'s shift lead", now[3].data["text"])
    assert re.fullmatch(rf"Worked on by {mark}\.", now[4].data["page"][0])
    assert now[4].data["page"][1] == "Power OFF"
    assert now[0].data["who"] in now[3].data["text"], "the same person in a note is the same mark"


def test_of_two_names_the_longer_goes_as_one_and_a_name_is_not_looked_for_inside_a_mark() -> None:
    events = job()
    hexadecimal = [*"0123456789abcdef"]
    lines, texts = redact(events, ["Cy", "Cy Vance", *hexadecimal], notes=False, dice=dice)
    assert sorted({text for _, text in texts.texts.values()} - set(hexadecimal)) == [
        "Cy Vance",
        "JS; told the shift lead",
    ]
    second = json.loads(lines[7])["second"]
    once = make_event(1, "note", events[0].at, 0, {"text": f"told {second}"}, "")
    again, _ = redact([once], hexadecimal, notes=False, dice=dice)
    assert again == {}


def test_words_written_freely_are_told_as_they_stand_afterwards() -> None:
    events = job()
    lines, _ = redact(events, ["Ana"], notes=False, dice=dice)
    told = written_freely(events, lines)
    assert [n for n, _ in told] == [1, 4, 5, 5]
    assert (1, "belt dead") in told
    assert not any("Ana" in words.replace("Banana", "") for _, words in told)
    whole, _ = redact(events, ["Ana"], notes=True, dice=dice)
    assert 4 not in [n for n, _ in written_freely(events, whole)]


def test_readings_stay_as_they_were_typed(tmp_path: Path) -> None:
    path, _, events = taken_out(tmp_path, notes=True)
    now, _ = read_events(path)
    assert now[2] == events[2]


def test_one_person_stays_one_and_two_stay_two(tmp_path: Path) -> None:
    path, _, _ = taken_out(tmp_path)
    now, _ = read_events(path)
    assert now[0].data["who"] == now[1].data["by"]
    assert now[0].data["who"] != now[5].data["who"]


def test_every_anchor_that_was_printed_before_still_holds(tmp_path: Path) -> None:
    path, _, events = taken_out(tmp_path)
    for event in events:
        assert verify(path, head=(event.n, event.hash)).anchored == event.n


def test_with_the_texts_put_back_every_line_agrees_with_its_own_hash(tmp_path: Path) -> None:
    path, texts, events = taken_out(tmp_path)
    back = read_texts(texts.text())
    now, verdict = read_events(path, texts=back)
    assert verdict.whole
    assert (verdict.redacted, verdict.restored) == ((), 6)
    assert now[: len(events)] == events


@pytest.mark.parametrize("line", range(7))
def test_a_line_changed_after_the_names_were_taken_out_is_found_there(tmp_path: Path, line: int) -> None:
    path, _, _ = taken_out(tmp_path)
    lines = path.read_bytes().splitlines(keepends=True)
    lines[line] = lines[line].replace(b"2026-11-25T03", b"2026-11-25T04")
    path.write_bytes(b"".join(lines))
    assert found(verify(path)) == (line + 1, Wrong.EDITED)


def test_a_mark_put_into_a_line_that_nothing_vouches_for_is_an_edit(tmp_path: Path) -> None:
    path = tmp_path / "job.jsonl"
    lines = [line_of(event) for event in job()]
    lines[2] = lines[2].replace(b'"said":"120"', b'"said":"redacted:' + b"0" * 64 + b'"')
    path.write_bytes(b"".join(lines))
    assert found(verify(path)) == (3, Wrong.EDITED)
    events, verdict = read_events(path)
    assert len(events) == verdict.events == 2


def test_other_words_changed_while_taking_names_out_are_found_with_the_texts(tmp_path: Path) -> None:
    """Whoever takes the names out vouches for the line: only what was taken out proves the rest of it."""
    events = job()
    lines, texts = redact(events, ["Ana"], notes=False, dice=dice)
    lines[1] = lines[1].replace(b"belt dead", b"belt fine")
    following = Next(session="belt-7 night", version="0.1.0", who="x", clock=clock(), last=events[-1])
    path = tmp_path / "redacted.jsonl"
    rest = following.events(KIND, vouching(lines, "redaction"))
    path.write_bytes(b"".join(lines.get(e.n, line_of(e)) for e in events) + b"".join(map(line_of, rest)))
    assert 1 in verify(path).redacted, "said to be unproved"
    with_texts = verify(path, texts=texts)
    assert with_texts.redacted == (1,), "the only line that does not agree once its texts are back"
    assert with_texts.restored == 3


def test_a_changed_file_of_texts_is_refused(tmp_path: Path) -> None:
    _, texts, _ = taken_out(tmp_path)
    changed = texts.text().replace('"Ana"', '"Bob"')
    assert changed != texts.text()
    with pytest.raises(ValueError, match="was changed"):
        read_texts(changed)
    for junk in ("", "[]", "{}", '{"texts": {"a": 1}}', json.dumps({"texts": [], "session": 1})):
        with pytest.raises(ValueError, match="does not hold what was taken out"):
            read_texts(junk)


def test_whoever_countersigned_stays_named(tmp_path: Path) -> None:
    events = job()
    signed = make_event(8, "signed", events[-1].at, events[-1].elapsed_ms, {"by": "Kim"}, events[-1].hash)
    assert "Kim" not in names_in((*events, signed))
    lines, _ = redact((*events, signed), ["Kim"], notes=True, dice=dice)
    assert 8 not in lines
