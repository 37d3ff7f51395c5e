"""Time that passes in a machine at rest: timers, waits, what warms up and cools."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from troubleshoot.circuit.kinds.base import HeatLaw
from troubleshoot.solve import heat
from troubleshoot.solve.codes import book_of, stacked
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.delays import in_doubt, next_due_ms
from troubleshoot.solve.developing import LEAST_WEIGHT, Run
from troubleshoot.solve.network import Network, amps_through, networks_at
from troubleshoot.solve.reacting import rules_of

_LONGEST_WAIT_MS = 60_000
_MOST_JUMPS = 400
"""Timers followed in one wait; after that (something blinks) the rest of the wait passes at once."""


def _next_event_ms(net: Net, run: Run) -> int | None:
    """When time moves on to, everything being at rest: the next timer or delay that is up, or the end of a wait.

    None: the act is over.
    """
    now, until = run.now_ms, run.until_ms
    dues = [until] if until > now else []
    if run.jumps < _MOST_JUMPS or until <= now:
        if run.since.size:
            due = next_due_ms(rules_of(net).delays, run.since)
            if due is not None:
                dues.append(due)
        scanner = run.faulty.scanner
        if scanner is not None and run.memory.memory is not None:
            due = scanner.next_event_ms(run.memory.memory, now)
            if due is not None and due <= until + _LONGEST_WAIT_MS:
                dues.append(due)
    last = until if run.brief else math.inf
    return min((due for due in dues if now < due <= last), default=None) if dues else None


def _by_chance(net: Net, run: Run) -> list[Run] | None:
    """At the end of a brief act: what may have moved by now has, or has not; None where that is not in doubt."""
    found = in_doubt(rules_of(net).delays, run.since, run.not_by, run.now_ms) if run.brief else None
    if found is None:
        return None
    number, chance = found
    moves, stays = run.clone(chance), run.clone(1 - chance)
    law = net.delays[number]
    book_of(net).put(moves.codes, {law.var: law.after})
    stays.not_by[number] = run.now_ms
    return [r for r in (moves, stays) if r.weight >= LEAST_WEIGHT]


def time_passes(net: Net, runs: Sequence[Run]) -> list[list[Run] | None]:
    """Let time move on in every run to its next event; None where nothing is due."""
    dues = [_next_event_ms(net, run) for run in runs]
    warm = [run for run, due in zip(runs, dues, strict=True) if due is not None and net.heats]
    # Side by side: what a rectifier takes and gives is solved anew for each of them.
    networks = dict(zip(map(id, warm), _networks(net, warm), strict=True))
    return [
        _by_chance(net, run) if due is None else _until(net, run, due, networks.get(id(run)))
        for run, due in zip(runs, dues, strict=True)
    ]


def _until(net: Net, run: Run, until: int, network: Network | None) -> list[Run]:
    """Let time move on to an event; what carries current in `network` warms up on the way. None: nothing can warm up."""
    book = book_of(net)
    if run.now_ms < run.until_ms:
        run.rounds = 0  # a long wait is not an endless change
    run.jumps += 1
    run.visited = ()
    ratios = {law.var: _ratios(net, network, law) for law in net.heats if network is not None}
    soonest: heat.Due | None = None
    for law in net.heats:
        due = None
        if not run.faulty.fixed[book.columns[law.var]] and run.jumps < _MOST_JUMPS:
            due = heat.due(law, _at(net, run, law.var), run.heat.get(law.var, heat.cold(law)), ratios[law.var])
        if due is not None and due.first * 1000 < until - run.now_ms and (soonest is None or due.first < soonest.first):
            soonest = due
    if soonest is None:
        _warm(net, run, ratios, until)
        return [run]
    # It moves at some time between `first` and `last`; where the wait ends between them, it may have.
    ends = (until - run.now_ms) / 1000
    chance = 1.0 if soonest.last <= ends else (ends - soonest.first) / (soonest.last - soonest.first)
    moves, stays = run.clone(chance), run.clone(1 - chance)
    _warm(net, moves, ratios, run.now_ms + math.ceil(500 * (soonest.first + min(soonest.last, ends))))
    book.put(moves.codes, {soonest.law.var: soonest.to})
    if soonest.to == soonest.law.over:
        moves.heat = {**moves.heat, soonest.law.var: heat.tripped(soonest.law, moves.heat[soonest.law.var])}
    _warm(net, stays, ratios, until)
    stays.heat = {**stays.heat, soonest.law.var: heat.not_yet(soonest.law, stays.heat[soonest.law.var])}
    return [r for r in (moves, stays) if r.weight >= LEAST_WEIGHT]


def _at(net: Net, run: Run, var: str) -> str:
    """State of one variable."""
    book = book_of(net)
    return str(book.values[run.codes[book.columns[var]]])


def _ratios(net: Net, network: Network, law: HeatLaw) -> tuple[float, ...]:
    """Current over its rated one in each part of a thermal law."""
    through = (amps_through(net, network, net.element_index[part]) for part in law.parts)
    return tuple(math.hypot(abs(ac), dc) / law.amps for ac, dc in through)


def trips_after(net: Net, network: Network) -> tuple[float, float] | None:
    """When the first thermal law moves if these currents stand from cold on: soonest and latest seconds; None: none does."""
    dues = [heat.due(law, law.ok, heat.cold(law), _ratios(net, network, law)) for law in net.heats]
    first = min((due for due in dues if due is not None), key=lambda due: due.first, default=None)
    return None if first is None else (first.first, first.last)


def _warm(net: Net, run: Run, ratios: Mapping[str, tuple[float, ...]], now_ms: int) -> None:
    seconds = (now_ms - run.now_ms) / 1000
    run.heat = {
        law.var: heat.warmed(law, run.heat.get(law.var, heat.cold(law)), ratios[law.var], seconds) for law in net.heats
    }
    run.now_ms = now_ms


def _networks(net: Net, runs: Sequence[Run]) -> list[Network]:
    if not runs:
        return []
    return networks_at(net, stacked([run.codes for run in runs]), [run.faulty.laid for run in runs])
