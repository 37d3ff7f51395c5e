"""The hazard list of the demo machine, found a second time by playing every fault through the independent oracle.

Nothing of `safety` is used but its answer: which acts are tried, what counts as turning, and when it counts as a hazard
are written here again. Witness: `against.dense`, LAPACK under a settling loop of its own.
"""

from __future__ import annotations

import os
from functools import cache

import pytest
from against import belt7
from against.dense import Answer, answers_to_all
from safety.machines import belt

from troubleshoot.circuit.acts import parse_acts, reach
from troubleshoot.circuit.model import Situation
from troubleshoot.safety.hazard_list import Listed, hazard_list

RUN = "press S1; release S1"
ALL = os.environ.get("TROUBLESHOOT_TESTS") == "all"
"""Otherwise one act of each sort: the oracle takes minutes for all of them."""
POSSIBLE, LIKELY = 0.05, 0.5
WHOLE = "something not in this model"
"""The suspect without an edit: a machine with nothing wrong."""


def situation(text: str, **hold: str) -> Situation:
    acts = parse_acts(text, reach(belt7.circuit().devices))
    assert isinstance(acts, tuple), acts
    return Situation("rest", acts, frozenset(hold.items()))


@cache
def stands(text: str, hold: tuple[tuple[str, str], ...] = ()) -> dict[str, list[Answer]]:
    at = situation(text, **dict(hold))
    ids = [*belt7.suspects()]
    return dict(
        zip(ids, answers_to_all(belt7.circuit(), belt7.BeltProgram(), [(belt7.suspects()[i].edits, at) for i in ids]),
            strict=True)
    )  # fmt: skip


def turns(answer: Answer) -> bool:
    return answer.state["M1"] in ("turning", "turning backward")


def free(answer: Answer) -> bool:
    return answer.state["YB1"] == "released" and not turns(answer)


def chance(answers: list[Answer], what) -> float:
    return sum(a.weight for a in answers if what(a)) / sum(a.weight for a in answers)


def unsure(answers: list[Answer]) -> bool:
    """It chatters: the oracle gives one moment of it, so what it shows at another is not compared here."""
    return any(not a.settled for a in answers)


@cache
def listed() -> tuple[Listed, ...]:
    return hazard_list(belt())


def ours(sort: str, act: str, after: str) -> tuple[set[str], bool]:
    """Faults named by the list for one act in one situation, and whether a whole machine does it."""
    found = [
        one for one in listed()
        if one.sort == sort and str(one.act) == act and "; ".join(map(str, one.situation.acts)) == after
    ]  # fmt: skip
    return {i for one in found for i in one.suspects}, any(one.healthy for one in found)


def compared(named: set[str], theirs: dict[str, float], doubtful: set[str], least: float) -> None:
    named = named & theirs.keys()  # suspects of the program are the other oracle's, `test_dense_program`
    sure = {i for i, p in theirs.items() if p >= least + 0.02 and i not in doubtful}
    perhaps = {i for i, p in theirs.items() if p >= least - 0.02} | doubtful
    assert sure <= named, f"not listed: {sorted(sure - named)}"
    assert named <= perhaps, f"listed without cause: {sorted(named - perhaps)}"


RESTARTS = [
    ("restarts", "release ES1", f"{RUN}; press ES1"),
    ("restarts", "release S2", f"{RUN}; press S2"),
    ("restarts", "close Q1", f"{RUN}; open Q1"),
    ("restarts", "restore power", f"{RUN}; lose power"),
    ("restarts", "reset FR1", f"{RUN}; trip FR1"),
    ("starts by an act", "close Q1", "open Q1"),
]
STOPS = [("press ES1", RUN), ("press S2", RUN), ("trip FR1", RUN)]


@pytest.mark.parametrize(("sort", "act", "after"), RESTARTS if ALL else RESTARTS[:1] + RESTARTS[4:5])
def test_what_starts_it_is_what_the_oracle_sees_start(sort: str, act: str, after: str) -> None:
    named, whole = ours(sort, act, after)
    before, behind = stands(after), stands(f"{after}; {act}")
    rise = {i: chance(behind[i], turns) - chance(before[i], turns) for i in behind}
    assert whole == (rise[WHOLE] > LIKELY)
    if not whole:
        del rise[WHOLE]
        compared(named, rise, {i for i in rise if unsure(before[i]) or unsure(behind[i])}, POSSIBLE)


@pytest.mark.parametrize(("act", "after"), STOPS if ALL else STOPS[:1])
def test_what_a_stop_does_not_stop_is_what_the_oracle_sees_run_on(act: str, after: str) -> None:
    named, whole = ours("does not stop", act, after)
    assert not whole
    before, behind = stands(after), stands(f"{after}; {act}")
    both = {i: min(chance(before[i], turns), chance(behind[i], turns)) for i in behind}
    compared(named, both, {i for i in both if unsure(before[i]) or unsure(behind[i])}, POSSIBLE)


def test_what_runs_with_nobody_at_the_buttons_is_what_the_oracle_sees_run() -> None:
    at = stands("")
    for sort, what in (("starts at rest", turns), ("brake free", free)):
        found = [one for one in listed() if one.sort == sort and one.act is None]
        named = {i for one in found for i in one.suspects}
        compared(named, {i: chance(at[i], what) for i in at}, {i for i in at if unsure(at[i])}, LIKELY)


@pytest.mark.skipif(not ALL, reason="minutes: TROUBLESHOOT_TESTS=all")
def test_a_jog_that_does_not_let_go_is_one_that_the_oracle_sees_run_on() -> None:
    held, let_go = "put S3 in jog; press S1", "put S3 in jog; press S1; release S1"
    named = {i for one in listed() if one.sort == "jog does not let go" for i in one.suspects}
    before, behind = stands(held), stands(let_go)
    both = {i: min(chance(before[i], turns), chance(behind[i], turns)) for i in behind}
    compared(named, both, {i for i in both if unsure(before[i]) or unsure(behind[i])}, LIKELY)
