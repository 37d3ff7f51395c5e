"""Progress of one person: safety first, then weak spots, then the next step of the course."""

from __future__ import annotations

from troubleshoot.practice.exercise import LEVELS
from troubleshoot.practice.progress import WEAK, Past, line_of, next_of, read_lines, weak_spots, words_of


def past(level: int, *, passed: bool = True, unsafe: str = "", weak: tuple[str, ...] = ()) -> Past:
    return Past("2026-11-30", "belt-7", level, 1, passed, unsafe, weak)


def test_nobody_begins_anywhere_but_at_the_beginning() -> None:
    assert next_of(()).level == 1


def test_an_exercise_that_was_stopped_is_done_again_before_anything_else() -> None:
    assert next_of([past(k) for k in range(1, 7)] + [past(7, passed=False, unsafe="ohms on live")]).level == 7


def test_what_was_weak_twice_lately_comes_before_the_next_step() -> None:
    done = [past(k) for k in range(1, 6)]
    assert next_of(done).level == 6
    weak = [*done, past(6, passed=False, weak=("meter",)), past(6, passed=False, weak=("meter", "halving"))]
    assert weak_spots(weak) == ("meter",)
    assert next_of(weak).level == WEAK["meter"][0]
    assert "setting and reading the meter" in words_of(weak)
    assert next_of([*weak, past(4)]).level == 6


def test_the_whole_course_is_gone_through_in_its_order() -> None:
    done: list[Past] = []
    seen = []
    for _ in range(40):
        level = next_of(done).level
        seen.append(level)
        done.append(past(level))
    assert list(dict.fromkeys(seen)) == [level.number for level in LEVELS]


def test_a_line_reads_back_and_what_does_not_read_is_passed_over() -> None:
    one = past(7, weak=("meter",))
    assert read_lines(f"{line_of(one)}\nnonsense\n{{}}\n{line_of(one)[:20]}\n{line_of(one)}\n") == (one, one)
    assert read_lines('{"level": 99}\n[1]\nnull\n') == ()
