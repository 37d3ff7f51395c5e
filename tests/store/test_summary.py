"""One job in one row: what a supervisor asks of it, from its log alone."""

from __future__ import annotations

import json
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from store import nights
from store.nights import caution, ended, isolation, log, looked, opened, power, proved, reading, repaired, whole

from troubleshoot.log.standing import retracted
from troubleshoot.store.row import JobRow, row_of
from troubleshoot.store.summary import summarise
from troubleshoot.store.told_time import told_time


def row(*said: nights.Said, **others) -> JobRow:
    found = summarise(log(*said, **others))
    assert found is not None
    return found


def sorts(found: JobRow) -> list[str]:
    return [d.sort for d in found.departures]


def test_a_careful_job_is_one_row_without_departures() -> None:
    found = row(*whole("conv dead since 2:50"))
    assert (found.machine, found.who, found.how, found.open) == ("belt-7", ("Ana",), "mended", False)
    assert [(f.words, f.act, f.sure) for f in found.found] == [
        ("wire 12 open between K1:14 and FR1:95", "re-make", "confirmed")
    ]
    assert [c.passed for c in found.proved] == [True] * 4
    assert found.departures == ()
    assert (found.trips, found.looks, found.cautions, found.most_volts) == (3, 1, 2, 211)
    assert found.down_told
    assert found.down_from == "2026-11-25T02:50+01:00"
    assert found.minutes_down == 35  # from 2:50 to the hand-back, 15 events of a minute after 3:10
    assert found.anchor == f"{found.events}:{found.head}"


def test_without_a_time_told_the_job_s_own_beginning_stands_in_and_says_so() -> None:
    found = row(*whole())
    assert not found.down_told
    assert found.down_from == found.started


def test_a_part_changed_without_a_confirming_test_is_a_departure_and_a_condition_set_right_is_none() -> None:
    guess = row(opened(), repaired(confirmed=False), power(), proved(0), ended())
    assert sorts(guess) == ["unconfirmed"]
    assert guess.departures[0].words == "re-make wire 12, K1:14 to FR1:95 without a confirming test"
    seen = row(opened(), repaired(4, confirmed=False), power(), proved(0), ended())
    assert (sorts(seen), seen.found[0].sure) == ([], "seen")


def test_logs_from_before_a_repair_said_whether_a_part_was_broken_read_the_same() -> None:
    def old(part: int) -> nights.Said:
        kind, data = repaired(part, confirmed=False)
        return kind, {k: v for k, v in data.items() if k != "broken"}

    for part, sure in ((0, "not confirmed"), (4, "seen")):
        assert row(opened(), old(part), proved(0), ended()).found[0].sure == sure


def test_no_proof_run_a_check_that_failed_and_one_left_out_are_told() -> None:
    assert sorts(row(opened(), repaired(), power(), ended())) == ["no proof"]
    failed = row(opened(), repaired(), power(), proved(0), proved(2, passed=False), ended())
    assert sorts(failed) == ["proof failed"]
    left_out = row(
        opened(), repaired(), proved(0), ended(not_proved=["Stop by S2. (could not be done)", "S1 makes badly"])
    )
    assert [(d.sort, d.words) for d in left_out.departures] == [("not proved", "handed back not proved: Stop by S2.")]


def test_a_proof_before_a_second_repair_proves_nothing() -> None:
    found = row(opened(), repaired(), power(), proved(0), repaired(1), power(), ended())
    assert (found.proved, sorts(found)) == ((), ["no proof"])


def test_a_live_reading_before_its_caution_is_told_and_one_on_dead_parts_is_not() -> None:
    assert sorts(row(opened(), reading(shown=False))) == ["before caution"]
    assert sorts(row(opened(), reading(shown=False, mode="ohms"))) == []


def test_what_is_temporary_is_left_open_until_it_is_put_back() -> None:
    cover = ("temporary", {"what": "cover or guard off", "by": "Ana"})
    found = row(opened(), cover, ended("watching"))
    assert ([t.what for t in found.left_open], sorts(found), found.open) == (
        ["cover or guard off"],
        ["left temporary"],
        True,
    )
    back = row(opened(), cover, ("put back", {"of": 2, "what": "cover or guard off", "by": "Ana"}), ended("watching"))
    assert (back.left_open, back.departures) == ((), ())


def test_what_was_taken_back_is_a_correction_and_nothing_else() -> None:
    found = row(opened(), caution(), reading(), ("retract", {"of": [3]}), caution(), reading("0 V"))
    assert (found.trips, found.readings, found.corrections, found.departures) == (1, 1, 1, ())


def test_an_ending_that_was_taken_back_or_a_job_taken_up_again_is_open() -> None:
    undone = row(opened(), ended("not found"), ("retract", {"of": [2]}))
    assert (undone.how, undone.open) == ("", True)
    again = row(
        opened(), ended("waiting: part", part="relay 24 V"), ("resumed", {"who": "Jo", "circuit": "", "changed": False})
    )
    assert (again.how, again.part, again.who, again.alone) == ("", "", ("Ana", "Jo"), False)


def confirms(part: int = 1, *, agrees: bool = True) -> nights.Said:
    return reading("OL" if agrees else "0.2", group=nights.PARTS[part][0], agrees=agrees, mode="ohms")


AWAITS = ended("waiting: part", part="K1 relay, 4-pole", note="stores order 17, Tuesday")
TAKEN_UP = ("resumed", {"who": "Jo", "circuit": "", "changed": False})


@pytest.mark.parametrize("later", [(), (TAKEN_UP,), (TAKEN_UP, ended("made safe")), (TAKEN_UP, ended("not found")),
                                   (TAKEN_UP, confirms(2), repaired(2), power(), proved(0), ended())])  # fmt: skip
def test_a_part_that_is_awaited_stays_awaited_whoever_takes_the_job_up_and_however_it_ends(
    later: tuple[nights.Said, ...],
) -> None:
    found = row(opened(), confirms(), AWAITS, *later)
    (one,) = found.waits_for_part
    assert (one.n, one.words, one.faults) == (3, "K1 relay, 4-pole (stores order 17, Tuesday)", ("K1 13-14",))


def test_an_awaited_part_is_fitted_by_a_repair_of_it_whose_fault_was_confirmed() -> None:
    fitted = row(opened(), confirms(), AWAITS, TAKEN_UP, confirms(), repaired(1), power(), proved(0), ended())
    assert (fitted.waits_for_part, fitted.awaited[0].fitted) == ((), 6)
    guessed = row(opened(), confirms(), AWAITS, TAKEN_UP, repaired(1, confirmed=False), power(), proved(0), ended())
    assert [one.doubtful for one in guessed.waits_for_part] == [5]


def test_an_awaited_part_is_known_by_its_tag_in_the_note_and_no_wire_is_taken_for_one() -> None:
    by_note = ended("waiting: part", part="", note="a new km1, from the stores at 6")
    assert row(opened(), by_note, TAKEN_UP, repaired(2)).waits_for_part == ()
    wires = ended("waiting: part", part="", note="wire 2.5 mm2 for the feed")
    assert len(row(opened(), wires, TAKEN_UP, repaired(0)).waits_for_part) == 1


def test_the_same_part_asked_for_twice_is_one_and_another_is_another() -> None:
    other = ended("waiting: part", part="S1 start button", note="tomorrow")
    found = row(opened(), AWAITS, TAKEN_UP, AWAITS, TAKEN_UP, other)
    assert [one.n for one in found.waits_for_part] == [4, 6]


def test_a_fault_that_is_confirmed_is_kept_until_it_is_mended_denied_or_taken_back() -> None:
    amended = ("amended", {"change": {"is": "answers"}, "words": "no relay"})
    assert [c.group for c in row(opened(), confirms(), AWAITS, TAKEN_UP).confirmed] == ["K1 13-14"]
    for undoes in (repaired(1), confirms(agrees=False), ("retract", {"of": [2]}), amended):
        assert row(opened(), confirms(), undoes).confirmed == ()


def test_cautions_that_were_gone_before_anybody_reads_them_are_one_departure_with_their_events() -> None:
    long = ["DANGER in reach: up to 209 V AC at panel PB7. LOW VOLTS: up to 24 V DC at the points.", "Keep away. " * 20]
    kind, data = caution(long)

    def shown(ms: int) -> nights.Said:
        return kind, {**data, "drawn_ms": ms}

    found = row(
        opened(), caution(), shown(1500), shown(200), (kind, {**data, "text": [*long, "more"], "drawn_ms": 2000})
    )
    assert [(d.n, d.sort, d.words) for d in found.departures] == [
        (
            3,
            "caution unread",
            "2 of 4 cautions on the screen too short to read: the shortest 1.5 s, up to 209 V (events 3, 5)",
        )
    ], "the second time the same text need not be read again"
    assert row(opened(), shown(20_000)).departures == ()


def test_what_could_not_be_done_is_listed_with_its_reason_and_whether_it_can_be_by_now() -> None:
    no = ("cannot", {"words": "PB7 cannot be opened", "reason": "permit", "targets": ["PB7"]})
    can = ("can", {"of": 2, "words": "PB7 cannot be opened", "by": "Ana"})
    assert [(c.words, c.reason, c.lifted) for c in row(opened(), no).cannot] == [
        ("PB7 cannot be opened", "permit", False)
    ]
    assert row(opened(), no, can).cannot[0].lifted


def test_who_worked_alone_is_known_by_names_and_by_hands() -> None:
    assert row(opened(), isolation(), looked()).alone
    assert not row(opened(), looked(at=nights.HELD)).alone
    assert not row(opened(), ended(second="Jo")).alone


@given(st.lists(st.sampled_from(range(40))), st.integers(0, 30))
def test_no_log_however_strange_makes_it_fail(order: list[int], seed: int) -> None:
    _, events = next(nights.many(1, seed))
    data = [{}, {"of": 3}, {"of": ["x"]}, {"items": 4}, {"text": None}, {"how": None}, {"situation": {}}]
    said = [(events[k % len(events)].kind, data[k % len(data)]) for k in order]
    found = summarise(log(("opened", {}), *said))
    assert found is not None
    assert row_of(json.loads(json.dumps(found.plain()))) == found


def test_every_row_survives_json() -> None:
    for _, events in nights.many(30):
        found = summarise(events)
        assert found is not None
        assert row_of(json.loads(json.dumps(found.plain()))) == found
        assert found.corrections == len(retracted(events))


def test_a_log_without_a_job_has_no_row() -> None:
    assert summarise(()) is None
    assert summarise(log(("note", {"text": "x"}))) is None


AT = datetime.fromisoformat("2026-11-25T03:10:00+01:00")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("conv dead since 2:50", "2026-11-25T02:50+01:00"),
        ("conv dead since 02.50", "2026-11-25T02:50+01:00"),
        ("stopped at 23:15", "2026-11-24T23:15+01:00"),
        ("down since 11 pm", "2026-11-24T23:00+01:00"),
        ("down since about 2", "2026-11-25T02:00+01:00"),
        ("down for 40 min", "2026-11-25T02:30+01:00"),
        ("died half an hour ago", "2026-11-25T02:40+01:00"),
        ("out for 1.5 h", "2026-11-25T01:40+01:00"),
        ("press 3 dead", ""),
        ("belt 7 trips after 20 min", ""),
        ("dead since the break", ""),
        ("trips at 48 A", ""),
        ("stops at 3 every night", ""),
        ("relay on 24 V, 2 hours of work", ""),
    ],
)
def test_the_time_people_tell(text: str, told: str) -> None:
    found = told_time(text, AT)
    assert (found.isoformat(timespec="minutes") if found else "") == told


def test_an_hour_on_a_clock_with_hands_is_the_last_one_it_showed() -> None:
    afternoon = datetime.fromisoformat("2026-11-25T16:57:00+01:00")
    for text, hour in (
        ("since 2:50", 14),
        ("since 02:50", 2),
        ("since 2:50 am", 2),
        ("since 14:50", 14),
        ("since 12:10", 12),
    ):
        told = told_time(text, afternoon)
        assert told is not None
        assert told.hour == hour, text


@given(st.text(max_size=60))
def test_whatever_is_said_the_time_is_never_in_the_future_nor_more_than_a_day_back(text: str) -> None:
    found = told_time(text, AT)
    assert found is None or 0 <= (AT - found).total_seconds() <= 86_400
