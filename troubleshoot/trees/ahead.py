"""What each result of the next readings would mean, one line each, computed from every suspect."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

import numpy as np

from troubleshoot.circuit.model import Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.likelihood import classes, nominal_of
from troubleshoot.evidence.seen import Meter
from troubleshoot.faults.suspects import Suspect

MOST_LINES: Final = 4
MOST_NAMES: Final = 3
LEAST_SHARE: Final = 0.08
"""Share of a line that a repair must have to be named."""
LEAST_LINE: Final = 0.005
"""Share of all that a result must have to get a line."""
_WORDS: Final = ("nothing", "low", "right", "high", "unsteady")


def look_ahead(
    reasoner: Reasoner, items: Sequence[Meter], situation: Situation, belief: Floats, *, along: bool
) -> tuple[str, ...]:
    """One line a result: ``dead from K1:14 on: K1 13-14 or wire 12``.

    belief: chance of each suspect. along: the items lie in order on one path. At most four lines, likeliest first.
    """
    if not items:
        return ()
    reasoner.predict_all(items, situation)
    table = reasoner.table(situation)
    rows = []
    for item in items:
        predicted = reasoner.predict(item, situation)
        row = classes(predicted)
        # Where nothing should be there, nothing is right; a point that nothing drives reads nothing or stray.
        dead = abs(predicted.right) < 0.1 * nominal_of(predicted)
        jumps = row == 5
        row = np.where(row == 4, 0, row)
        row = np.where(row == 0, 2, 3) if dead else row
        rows.append(np.where(jumps, 4, row))
    chance = belief[table.owner] * table.weight
    chance[table.owner == len(reasoner.machine.suspects) - 1] = 0.0
    total = float(chance.sum())
    if total <= 0:
        return ()
    results: dict[str, list[int]] = {}
    for k in np.flatnonzero(chance > 0):
        results.setdefault(_result([int(r[k]) for r in rows], items, along=along), []).append(int(k))
    ranked = sorted(results.items(), key=lambda pair: -float(chance[pair[1]].sum()))
    wires = Counter(g.partition(",")[0] for g in {s.group for s in reasoner.machine.suspects} if g.startswith("wire "))
    shared = frozenset(wire for wire, count in wires.items() if count > 1)
    lines = []
    for words, outcomes in ranked[:MOST_LINES]:
        if float(chance[outcomes].sum()) < LEAST_LINE * total:
            continue
        lines.append(f"{words}: {_names(reasoner.machine.suspects, table.owner[outcomes], chance[outcomes], shared)}")
    return tuple(lines)


def _result(found: Sequence[int], items: Sequence[Meter], *, along: bool) -> str:
    if all(c == 2 for c in found):
        return "all right" if len(found) > 1 else f"{items[0].red} right"
    if along:
        first = next(k for k, c in enumerate(found) if c != 2)
        if all(c != 2 for c in found[first:]):
            word = "dead" if all(c == 0 for c in found[first:]) else "low"
            on = f"from {items[first].red} on" if first < len(found) - 1 else f"at {items[first].red}"
            return f"{word} {on}" if first or len(found) == 1 else f"{word} everywhere, from {items[0].red} on"
    wrong = [f"{_WORDS[c]} at {item.red}" for c, item in zip(found, items, strict=True) if c != 2]
    return ", ".join(wrong)


def _names(
    suspects: Sequence[Suspect], owners: np.typing.NDArray[np.intp], chance: Floats, shared: frozenset[str]
) -> str:
    by_group: dict[str, dict[int, float]] = {}
    for owner, share in zip(owners, chance, strict=True):
        group = by_group.setdefault(suspects[owner].group, {})
        group[int(owner)] = group.get(int(owner), 0.0) + float(share)
    ranked = sorted(by_group.items(), key=lambda pair: -sum(pair[1].values()))
    total = float(chance.sum())
    named: dict[str, None] = {}
    more = False
    for name, members in ranked:
        if len(named) == MOST_NAMES or (named and sum(members.values()) < LEAST_SHARE * total):
            more = True
            break
        likely = [suspects[k] for k, share in members.items() if share >= LEAST_SHARE * sum(members.values())]
        named[_short(name, likely, shared)] = None
    *first, last = named
    text = f"{', '.join(first)} or {last}" if first else last
    return f"{text}, less likely others" if more and len(named) < MOST_NAMES else f"{text} ..." if more else text


def _short(group: str, members: Sequence[Suspect], shared: frozenset[str]) -> str:
    """``wire 12``, ``K1 13-14``, ``FR1``: as short as it can be pointed at. shared: wires of several pieces."""
    if group.startswith("wire "):
        wire, _, ends = group.partition(", ")
        return f"{wire} {ends.replace(' to ', '-')}" if wire in shared and ends else wire
    slots = {e.slot for m in members for e in m.edits}
    if len(slots) == 1 and (slot := slots.pop()).startswith(f"{group} "):
        return slot
    return group
