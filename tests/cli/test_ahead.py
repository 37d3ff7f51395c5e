"""The proof run worked out in a process of its own: the same proof, or none, and nobody is left behind."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from job import nights

from troubleshoot.cli.ahead import ProofAhead
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.job.desk import Desk
from troubleshoot.job.plant import Plant
from troubleshoot.job.rehearse import Bench, answer
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Typed
from troubleshoot.job.stage import stage_of
from troubleshoot.safety.proof import Proof


def until(done: Callable[[], bool], *, within_s: float = 300.0) -> None:
    end = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < end
        time.sleep(0.05)


def alive(pid: int) -> bool:
    """Neither gone nor a zombie (proc(5))."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_it_is_the_same_proof_run_as_worked_out_here() -> None:
    coming = ProofAhead("three-wire", wiring=False)
    until(coming.ready)
    desk = open_desk("three-wire")
    assert coming.take("another file") is None
    assert coming.take(desk.machine.content) == desk.proof


def test_a_child_that_fails_is_none_and_no_error() -> None:
    coming = ProofAhead("no-such-machine", wiring=False)
    until(coming.ready)
    assert coming.take("") is None


def test_it_ends_when_it_is_let_go_of() -> None:
    coming = ProofAhead("belt-7", wiring=False)
    assert coming._child is not None
    coming.close()
    until(lambda: not alive(coming._child.pid))  # type: ignore[union-attr]
    assert coming.take("") is None


def test_it_ends_with_whoever_wanted_it_even_when_that_one_was_killed() -> None:
    code = (
        "import time; from troubleshoot.cli.ahead import ProofAhead; c = ProofAhead('belt-7', wiring=False); "
        "print(c._child.pid, flush=True); time.sleep(600)"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert alive(child)
        parent.kill()
    until(lambda: not alive(child))


class Coming:
    """What another process works out, as a test wants it."""

    def __init__(self, proof: Proof | None) -> None:
        self.proof, self.done, self.closed = proof, False, False

    def ready(self) -> bool:
        return self.done

    def take(self, content: str) -> Proof | None:
        assert content == nights.desk().machine.content
        return self.proof

    def close(self) -> None:
        self.closed = True


def begun(coming: Coming) -> tuple[Session, list[object]]:
    """A job just begun, and the proofs its desk was told."""
    told: list[object] = []
    desk = replace(nights.desk())
    desk.__dict__.pop("proof", None)
    plant = Plant(
        nights.circuits(),
        (),
        lambda _: desk,
        lambda *_: nights.memory_log(),
        "Ana",
        (),
        proof_ahead=lambda *_: coming,
    )
    session = Session(plant)
    session.give(Typed("belt 7 dead", session.sheet(80, 24).id))
    told.append(desk)
    return session, told


def test_a_job_goes_on_while_it_is_coming_and_takes_it_when_it_is_there() -> None:
    coming = Coming(nights.desk().proof)
    session, (desk,) = begun(coming)
    for _ in range(3):
        session.pump()
        session.sheet(80, 24)
    assert "proof" not in vars(desk), "nothing waited for it"
    coming.done = True
    session.sheet(80, 24)
    assert vars(desk)["proof"] is coming.proof
    session.close()


def test_its_tables_are_made_once_a_repair_is_in_sight_and_not_before() -> None:
    proof = nights.desk().proof
    coming = Coming(proof)
    coming.done = True
    session, (desk,) = begun(coming)
    assert isinstance(desk, Desk)
    bench = Bench(desk, (nights.suspect("12:K1:14>FR1:95 open"),), random.Random(0))
    wanted = {check.situation.situation for check in proof.checks}

    def made() -> int:
        return sum((situation, ()) in desk.reasoner._tables for situation in wanted)

    before = -1
    for _ in range(200):
        while session.pump():
            pass
        stage = stage_of(desk, session._state())
        if stage.name in ("confirm", "isolate", "repair"):
            break
        before = made()
        assert before < len(wanted)
        assert session._ui is not None
        session.sheet(80, 24)
        session.give(answer(bench, session._state(), stage, session._ui))
    assert 0 <= before < made() == len(wanted)
    session.close()


def test_where_it_does_not_come_the_job_works_it_out_itself() -> None:
    coming = Coming(None)
    session, (desk,) = begun(coming)
    coming.done = True
    while session.pump():
        pass
    assert vars(desk)["proof"] == nights.desk().proof
    session.close()


def test_leaving_lets_go_of_what_is_still_coming() -> None:
    coming = Coming(None)
    session, _ = begun(coming)
    session.close()
    assert coming.closed
