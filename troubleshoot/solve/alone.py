"""One run by itself, as after a press: its rounds one after the other as long as they are plain.

For one run the calls of numpy of a round (`lockstep`) cost ten times the work that is in them. So here what the laws do is
looked up (`reflexes`), and a round in which a band leaves something open, a fuse blows or a circle closes is left to
`lockstep`, which begins it anew.
"""

from __future__ import annotations

import sys

import numpy as np

from troubleshoot.solve.compiled import Net
from troubleshoot.solve.delays import moved_by
from troubleshoot.solve.developing import Run
from troubleshoot.solve.passing import time_passes
from troubleshoot.solve.reacting import rules_of
from troubleshoot.solve.reflexes import reflexes_of
from troubleshoot.solve.scanning import scans_of

MOST_ROUNDS = 40
"""Half of those after which `lockstep` calls it a circle."""


def ahead(net: Net, run: Run) -> list[Run] | None:
    """Take a run on, in place, until it has come to rest or needs a round of `lockstep`.

    Returns the runs that go on in its place, none where it has `ended`; None where it goes on itself, with a round of
    `lockstep`.
    """
    faulty = run.faulty
    if run.low is not faulty.low or run.high is not faulty.high or run.came_round is not None:
        return None
    reflexes, scans, delays = reflexes_of(net), scans_of(net), rules_of(net).delays
    while run.rounds < MOST_ROUNDS:
        reflex = reflexes.of(faulty, run.codes)
        if reflex is None:
            return None
        codes, since, memory, moves = run.codes.copy(), run.since, run.memory, reflex.moves
        for column, code in reflex.moved:
            codes[column] = code
        if not reflex.done:
            if delays.rows:
                before, since = codes, since.copy()
                now = np.array([run.now_ms], dtype=np.int64)
                codes = moved_by(delays, codes[None], since[None], now, faulty.fixed[None])[0]
                moves = moves or bool((codes != before).any())
            memory, written = scans.one(faulty.scanner, memory, codes, faulty.fixed, run.now_ms)
            moves = moves or written or memory.number != run.memory.number
        seen = codes.tobytes() + memory.number.to_bytes(8, sys.byteorder)
        if moves and seen in run.visited:
            return None
        run.codes, run.since, run.memory = codes, since, memory
        run.rounds += 1
        if moves:
            run.visited = (*run.visited, seen)
            continue
        (onward,) = time_passes(net, [run])
        if onward is None:
            run.ended = True
            return []
        if len(onward) != 1 or onward[0] is not run:
            return onward
    return None
