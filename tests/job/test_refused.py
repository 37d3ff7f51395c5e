"""What cannot be done is not asked again, and takes nothing with it that could be done without it."""

from __future__ import annotations

import pytest
from job.nights import Night

from troubleshoot.job.reasons import REASON_ROWS


def asked(night: Night) -> tuple[object, ...]:
    step = night.stage.step
    return (night.stage.name, step.kind, step.items, step.situation) if step is not None else (night.stage.name,)


@pytest.mark.parametrize("reason", sorted(REASON_ROWS))
@pytest.mark.parametrize(
    "said", ["belt 7 trips its overload", "belt 7 brake drags", "belt 7 wont start", "belt 7 hums"]
)
def test_what_was_refused_for_any_reason_is_not_what_stands_below_it(said: str, reason: str) -> None:
    """Every look and every list of lights of a tree, refused as it comes: the same sheet does not come again."""
    night = Night("YB1 coil open")
    night.bench.there(())
    night.type(said)
    night.press("y")
    seen: set[tuple[object, ...]] = set()
    for _ in range(12):
        while night.stage.name == "last":
            night.press("1")
        if night.stage.step is None or night.stage.name != "search" or night.stage.step.kind not in ("look", "lights"):
            break
        assert asked(night) not in seen, night.text
        seen.add(asked(night))
        night.press("n")
        night.press(reason)
        if "A permit or another trade: for what?" in night.text:
            night.press("2")
    assert seen


def test_a_machine_that_runs_with_nothing_found_is_left_to_somebody_with_what_was_not_ruled_out() -> None:
    night = Night("YB1 coil open")
    night.bench.there(())
    night.type("belt 7 wont start")
    night.press("y")
    night.press("2")
    night.press("e")
    night.press("4")
    assert "What is to be watched, by whom, and until when?" in night.text
    night.type("-")
    assert not night.state.ended
    night.type("amps of M1 each shift, Kim")
    ended = next(e for e in night.log.events if e.kind == "ended")
    assert ended.data["how"] == "watching"
    assert ended.data["note"].startswith("amps of M1 each shift, Kim; not ruled out: ")
