"""An event has one spelling, and comes back from it as it was."""

from __future__ import annotations

import hashlib
import json
from enum import IntEnum, StrEnum

import pytest
from hypothesis import given
from hypothesis import strategies as st
from log.logs import NIGHT, clock, job

from troubleshoot.log.event import DEEPEST, RESERVED, canonical, genesis, line_of, make_event, stamp
from troubleshoot.log.memory import MemoryLog
from troubleshoot.log.verify import read_events

ANY_CHARACTER = st.characters(codec=None)  # lone surrogates too: what an undecodable file name becomes
TEXT = st.text(ANY_CHARACTER)
LEAF = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXT
VALUES = st.recursive(LEAF, lambda inner: st.lists(inner) | st.dictionaries(TEXT, inner), max_leaves=12)
DATA = st.dictionaries(TEXT.filter(lambda key: key not in RESERVED | {"session", "version", "format"}), VALUES)


def event(**data):
    return make_event(3, "reading", stamp(NIGHT), 17, data, "0" * 64)


def whole_pairs(value):
    """The value with surrogate pairs as the characters they spell, by the JSON reader of the standard library."""
    return json.loads(json.dumps(value))


def test_a_line_is_sorted_and_without_spaces_and_keeps_its_letters():
    line = line_of(event(said="118 Ω", volts=[118.0, None, True]))
    at, elapsed = b'"at":"2026-11-25T03:10:22.480+01:00"', b'"elapsed_ms":17'
    assert line.startswith(b"{" + at + b"," + elapsed + b',"hash":"')
    tail = '","kind":"reading","n":3,"prev":"' + "0" * 64 + '","said":"118 Ω","volts":[118.0,null,true]}\n'
    assert line.endswith(tail.encode())


def test_the_hash_is_sha_256_of_the_line_without_it():
    """By the standard library alone, as anybody else would check it."""
    made = event(said="118 Ω", b={"z": 1, "a": [2]})
    plain = json.loads(line_of(made))
    stated = plain.pop("hash")
    again = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert stated == made.hash == hashlib.sha256(again.encode()).hexdigest()


def test_the_first_link_depends_on_session_and_version_and_on_where_one_ends():
    assert len({genesis("a", "b"), genesis("a", "c"), genesis("c", "b"), genesis("ab", ""), genesis("", "ab")}) == 5
    first = job()[0]
    assert first.prev == genesis("belt-7 night", "0.1.0")
    assert (first.data["session"], first.data["version"], first.data["who"]) == ("belt-7 night", "0.1.0", "RT")


@given(DATA)
def test_whatever_json_goes_in_comes_out_again(tmp_path_factory, data):
    log = MemoryLog(session="s", version="v", who="w", clock=clock())
    log.append("opened", {})
    made = log.append("note", data)
    path = tmp_path_factory.mktemp("log") / "l.jsonl"
    path.write_bytes(b"".join(line_of(e) for e in log.events))
    events, verdict = read_events(path)
    assert verdict.whole
    assert events == log.events
    back = {key: value for key, value in events[1].plain().items() if key not in RESERVED}
    assert back == whole_pairs(data)
    assert b"\n" not in line_of(made)[:-1]


@given(VALUES)
def test_there_is_one_spelling(value):
    spelled = canonical(whole_pairs(value))
    assert canonical(json.loads(spelled)) == spelled
    spelled.encode()


def test_a_file_name_that_is_not_text_is_kept_and_can_be_had_back():
    name = b"\xffbelt\x80.yaml".decode("utf-8", "surrogateescape")
    line = line_of(event(file=name))
    assert b'"file":"\\udcffbelt\\udc80.yaml"' in line
    assert json.loads(line)["file"].encode("utf-8", "surrogateescape") == b"\xffbelt\x80.yaml"


def test_two_surrogates_that_spell_a_character_are_that_character():
    assert event(note="\ud83d\ude00").data["note"] == "😀"
    assert event(note="\ude00\ud83d").data["note"] == "\ude00\ud83d"


def test_an_event_cannot_be_changed_by_whoever_made_its_data():
    acts = [5]
    made = event(acts=acts, tool={"meter": "M-14"})
    acts.append(6)
    assert made.data["acts"] == (5,)
    with pytest.raises(TypeError):
        made.data["tool"]["meter"] = "M-15"  # type: ignore[index]
    assert made.plain()["acts"] == [5]
    assert len({made, event(acts=[5], tool={"meter": "M-14"})}) == 1


def test_named_numbers_and_words_are_kept_as_plain_ones():
    class Class(IntEnum):
        DANGER = 3

    class Said(StrEnum):
        LOW = "low"

    made = event(cls=Class.DANGER, word=Said.LOW)
    assert (type(made.data["cls"]), type(made.data["word"])) == (int, str)
    assert b'"cls":3,' in line_of(made)


@pytest.mark.parametrize("key", sorted(RESERVED))
def test_data_cannot_pass_itself_off_as_the_envelope(key):
    with pytest.raises(ValueError, match="reserved"):
        make_event(1, "note", stamp(NIGHT), 0, {key: 1}, "0" * 64)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_a_number_that_is_none_is_refused(value):
    with pytest.raises(ValueError, match="NaN"):
        event(volts=value)


@pytest.mark.parametrize("value", [b"bytes", {1: 2}, {3}, object(), NIGHT])
def test_what_json_does_not_know_is_refused(value):
    with pytest.raises(TypeError):
        event(x=value)


def test_data_may_be_nested_so_deep_and_no_deeper():
    def nested(depth):
        return [] if depth == 1 else [nested(depth - 1)]

    assert event(x=nested(DEEPEST - 1))
    with pytest.raises(ValueError, match="deeper"):
        event(x=nested(DEEPEST))


def test_a_wall_time_without_its_offset_is_refused():
    with pytest.raises(ValueError, match="offset"):
        stamp(NIGHT.replace(tzinfo=None))
