"""Our settled machine beside the independent oracle's: the same ends, as likely, at the same volts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

import numpy as np
from against.dense import Answer, Panel, answers_to_all

from troubleshoot.circuit.model import Circuit
from troubleshoot.faults.suspects import Suspect
from troubleshoot.solve.compiled import Net, Scanner
from troubleshoot.solve.settle import MOST_OUTCOMES, Outcome, settle_many

AT_EVERY_TERMINAL_V = 1e-6
"""Asked for. Measured 5e-8 V, on a 24 V supply in limit."""
ADRIFT_V = 1e-3
"""Where a whole network has lost its only tie to earth: its volts to earth are what nanosiemens make of the last digits of
kilosiemens, and no meter could hold them still. Measured 1.3e-4 V."""
WEIGHT = 0.01


@dataclass
class Agreed:
    """How well two settled machines agree."""

    cases: int
    worst: float = 0.0
    """Largest difference at any terminal, volts."""
    where: str = ""
    restless: int = 0
    """Ends that go in circles on both sides, of which no moment was compared."""
    off: list[str] = field(default_factory=list)
    """What does not agree, in words."""


def agree(
    circuit: Circuit, net: Net, program: Scanner | None, suspects: Sequence[Suspect], adrift: Collection[str] = ()
) -> Agreed:
    """Assert that both end alike, as likely, at the same volts, with each suspect in every named situation.

    adrift: ids of suspects under which nothing but leaks holds a whole network to earth; see `ADRIFT_V`.
    """
    found = compared(circuit, net, program, suspects, adrift)
    assert not found.off, f"{len(found.off)} of {found.cases}:\n" + "\n".join(found.off[:20])
    return found


def compared(
    circuit: Circuit, net: Net, program: Scanner | None, suspects: Sequence[Suspect], adrift: Collection[str] = ()
) -> Agreed:
    """The same, nothing asserted."""
    asked = [
        (f"{s.id}, {name}", ADRIFT_V if s.id in adrift else AT_EVERY_TERMINAL_V, s.edits, named.situation)
        for s in suspects
        for name, named in circuit.situations.items()
    ]
    cases = [(edits, situation) for _, _, edits, situation in asked]
    terminals = Panel(circuit, program).pins()
    at = np.array([terminals[name] for name in net.nodes])
    ours, theirs = settle_many(net, cases), answers_to_all(circuit, program, cases)
    found = Agreed(len(cases))
    for (words, most_v, _, _), outcomes, answers in zip(asked, ours, theirs, strict=True):
        known = {key_of(a): a for a in answers}
        if len(outcomes) != min(len(known), MOST_OUTCOMES):
            found.off.append(f"{words}: {len(outcomes)} ends, the oracle has {len(known)}")
            continue
        for outcome in outcomes:
            answer = known.get(key_of(outcome))
            if answer is None and not outcome.settled and any(not a.settled for a in answers):
                found.restless += 1  # both go in circles; which moment of it they hand over need not be the same
                continue
            if answer is None:
                state = dict(outcome.state)
                apart = [{k: v for k, v in state.items() if a.state.get(k) != v} for a in answers]
                found.off.append(f"{words}: the oracle knows no such end; apart: {apart}, settled: {outcome.settled}")
                continue
            if len(known) <= MOST_OUTCOMES and abs(outcome.weight - answer.weight) > WEIGHT:
                found.off.append(f"{words}: {outcome.weight:.3f}, the oracle says {answer.weight:.3f}")
            same = [n for s, n in zip(outcome.states, outcome.networks, strict=True) if s == answer.state]
            if not same:
                found.restless += 1  # the oracle hands over a moment that lasts no time
                continue
            for mine, other in ((same[0].ac_v, answer.volts.ac), (same[0].dc_v, answer.volts.dc)):
                assert mine is not None
                apart_v = np.abs(mine - other[at])
                if apart_v.max() > found.worst and most_v == AT_EVERY_TERMINAL_V:
                    found.worst, found.where = float(apart_v.max()), f"{words}, {net.nodes[int(apart_v.argmax())]}"
                if apart_v.max() >= most_v:
                    found.off.append(f"{words}: {apart_v.max():.3g} V at {net.nodes[int(apart_v.argmax())]}")
    return found


def key_of(found: Outcome | Answer) -> object:
    # Of what goes in circles, the moment that is handed over and what else there is, wherever that begins.
    states = frozenset(tuple(sorted(state.items())) for state in found.states)
    if not found.settled:
        return (None, None, False, states)  # which moment of a circle is handed over first says nothing
    return (tuple(sorted(found.state.items())), found.memory, True, states)
