"""What a settle starts from: a net with something wrong in it, and what is done to it from power-up on.

One object for equal ones: a dictionary asks for thousands of them, many with the same beginning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.codes import ABSENT, Bools, book_of
from troubleshoot.solve.columns import Floats, Indices
from troubleshoot.solve.compiled import Net, Scanner
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.network import numeric
from troubleshoot.solve.reacting import rules_of
from troubleshoot.solve.sides import Laid, laid_of


@dataclass(frozen=True, slots=True, eq=False)
class Faulty:
    """A net with edits laid over it. One object for equal ones, so that comparing them costs nothing."""

    number: int
    """Its own, on its net."""
    edits: tuple[Edit, ...]
    laid: Laid
    """The edits that change a network by themselves."""
    scanner: Scanner | None
    """The program as the edits leave it."""
    stuck: Mapping[str, str]
    fixed: Bools
    """(variables,) what cannot move."""
    hung: Indices
    """Columns of what heals to where a hand has put it: what is stuck, or was left somewhere."""
    low: Floats
    """(thresholds,) the band of each."""
    high: Floats


def faulty_of(net: Net, edits: tuple[Edit, ...]) -> Faulty:
    """The net with these edits; kept on it."""
    kept = net.scratch.setdefault("faulty", {})
    assert isinstance(kept, dict)
    found = kept.get(edits)
    if found is None:
        rules, stuck = rules_of(net), {e.slot: str(e.value) for e in edits if e.does == "stuck"}
        low, high = rules.low, rules.high
        for e in edits:
            if e.does == "threshold":
                low, high = low.copy(), high.copy()
                weak = list(rules.factored.get(e.slot, ()))
                low[weak], high[weak] = rules.low[weak] * float(e.value), rules.high[weak] * float(e.value)
        fixed = book_of(net).row(stuck) != ABSENT if stuck else rules.free
        columns = book_of(net).columns
        hung = [columns[e.slot] for e in edits if e.does in ("stuck", "left") and e.slot in columns]
        found = Faulty(
            len(kept), edits, laid_of(net, numeric(edits)), net.scanner_under(edits), stuck, fixed,
            np.array(hung, dtype=np.intp), low, high,
        )  # fmt: skip
        kept[edits] = found
    assert isinstance(found, Faulty)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Script:
    """What is done from power-up on. One object for equal ones."""

    hold: frozenset[tuple[str, str]]
    """Positions held from the start."""
    acts: tuple[tuple[Act, bool], ...]
    """Each with whether it is brief."""
    before: Script | None
    """The same but for the last act."""


def scripts_of(net: Net, situation: Situation) -> list[Script]:
    """What may have been done until a situation, each as likely; kept on the net."""
    start = net.circuit.roles.get("start", ())
    befores: list[tuple[Act, ...]] = [()]
    if situation.origin == "as-found" and start:
        # Nobody knows what was pressed last: the two ordinary histories, equally likely. A safety circuit is reset first.
        pressed = (*net.circuit.roles.get("reset", ()), start[0])
        befores.append(tuple(act for tag in pressed for act in (Act("press", tag), Act("release", tag))))
    return [_script(net, situation.hold, _timed(before + situation.acts)) for before in befores]


def _script(net: Net, hold: frozenset[tuple[str, str]], acts: tuple[tuple[Act, bool], ...]) -> Script:
    kept = net.scratch.setdefault("scripts", {})
    assert isinstance(kept, dict)
    found = kept.get((hold, acts))
    if found is None:
        before = _script(net, hold, acts[:-1]) if acts else None
        found = kept[(hold, acts)] = Script(hold, acts, before)
    assert isinstance(found, Script)
    return found


def _timed(acts: tuple[Act, ...]) -> tuple[tuple[Act, bool], ...]:
    """Each act with whether it is brief. Without a wait beside it an act stands until the machine is at rest."""
    following = (*acts[1:], None) if acts else ()
    return tuple(
        (act, after is not None and "wait" in (act.verb, after.verb))
        for act, after in zip(acts, following, strict=True)
    )
