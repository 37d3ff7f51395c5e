"""Which caution is due before the readings of a stage, and what its acceptance counts for."""

from __future__ import annotations

import hashlib

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import Desk
from troubleshoot.job.stage import Stage, on_dead_parts
from troubleshoot.job.state import State
from troubleshoot.job.stopping import moving
from troubleshoot.safety.caution import Caution


def caution_key(stage: Stage, caution: Caution, state: State) -> str:
    """What an acceptance counts for: these points in this state, this text, this person, since the last operate."""
    where = stage.check.id if stage.check else stage.step.id if stage.step else ""
    if stage.name == "isolate":
        where = "isolation"  # one for the whole dead test: its points are all in the text
    # The text without its "what is new": that part depends on the caution accepted before, which may be this one.
    text = hashlib.sha256("\n".join((*caution.lines, *caution.points)).encode()).hexdigest()
    return "|".join((where, text, state.who, str(state.epoch), str(state.power), str(state.last_operate)))


def caution_of(desk: Desk, state: State, stage: Stage) -> tuple[Caution, str] | None:
    """The caution that stands before this stage's readings and the key of its acceptance; None where none is needed."""
    found = live_readings(desk, stage)
    if found is None or moving(desk, state, stage.check):
        return None  # what moves when it must stand is stopped: nothing is read, and nothing stands before that
    caution = desk.caution(*found, state, locked=stage.name == "isolate")
    return caution, caution_key(stage, caution, state)


def live_readings(desk: Desk, stage: Stage) -> tuple[tuple[Meter, ...], NamedSituation] | None:
    """The readings of a stage that are taken on live parts, with their situation; None where there are none."""
    if stage.name in ("search", "confirm") and stage.step is not None:
        meters = tuple(i for i in stage.step.items if isinstance(i, Meter))
        live = meters and not on_dead_parts(desk, meters, stage.step.situation)
        return (meters, stage.step.situation) if live else None
    if stage.name == "proof" and stage.check is not None:
        meters = tuple(i for i, _ in stage.check.expects if isinstance(i, Meter))
        live = meters and not on_dead_parts(desk, meters, stage.check.situation)
        return (meters, stage.check.situation) if live else None
    if stage.name == "isolate" and stage.isolation is not None:
        step = next(s for s in stage.isolation.steps if s.id == stage.next)
        # Until proved dead it is live: proving the tester and the dead test itself are live work. They follow each other with
        # nothing operated in between, so one caution that names all of their points stands for all of them.
        every = dict.fromkeys(m for s in stage.isolation.steps for m in s.readings)
        return (tuple(every), desk.at_rest) if step.readings else None
    return None
