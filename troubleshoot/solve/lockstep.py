"""Many histories unfolded in lockstep: a round lets every run react once to the present voltages, until all are at rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from troubleshoot.solve.acting import apply
from troubleshoot.solve.alone import ahead
from troubleshoot.solve.codes import Codes, stacked
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.developing import LEAST_WEIGHT, Run, start
from troubleshoot.solve.glimpsing import glimpses
from troubleshoot.solve.histories import Faulty, Script
from troubleshoot.solve.passing import time_passes
from troubleshoot.solve.reacting import Group, Split, blow, react, rules_of
from troubleshoot.solve.scanning import scans_of

_Number = TypeVar("_Number", bound=np.generic)

_MOST_RUNS = 256
"""Runs of one question kept while it settles; the lightest go first. Three inputs and two lamps in their bands at once
make some 40; with 12, weights came out up to 7 % wrong, because runs that end alike are only added up at the end."""
_MOST_ROUNDS = 80
_MOST_MOMENTS = 24
"""Moments kept of something that never comes to rest: a contactor through its own break contact has two to four."""

Key = tuple[Faulty, Script]
"""What is wrong, and what is done."""
Ends = tuple[Run, ...]
"""Where every line of development of one key stands after its acts."""


@dataclass
class Known:
    """What has been settled on one net. Nothing in it is ever written to again."""

    ends: dict[Key, Ends] = field(default_factory=dict)
    looks: dict[bytes, Ends] = field(default_factory=dict)
    """The same by what the runs looked like as they began their last act, whatever was done before."""


def known_of(net: Net) -> Known:
    """What has been settled on a net; kept on it."""
    return net.kept("settled", Known, lambda _: Known())


@dataclass
class _Waiting:
    """What is not settled yet, and how it hangs together."""

    net: Net
    known: Known
    after: dict[Key, list[Key]] = field(default_factory=dict)
    """What goes on from a key that is not settled yet."""
    alike: dict[bytes, list[Key]] = field(default_factory=dict)
    """Keys that begin alike, by their looks; the first of them is at work, and what it ends in all of them do."""
    _looks: list[bytes] = field(default_factory=list)
    """By case."""

    def ask(self, keys: Iterable[Key]) -> list[Run]:
        """Note what is missing of these keys and of their beginnings; the runs that may begin at once."""
        missing: dict[Key, None] = {}
        for key in keys:
            while key not in self.known.ends and key not in missing:
                missing[key] = None
                key = _before(key) or key
        ready = []
        for key in missing:
            before = _before(key)
            if before is None or before in self.known.ends:
                ready.append(key)
            else:
                self.after.setdefault(before, []).append(key)
        return self._begin(ready)

    def close(self, case: int, runs: list[Run]) -> list[Run]:
        """A case has come to an end; the runs that may begin now."""
        for run in runs:
            # Not what holds on to the table that it stood in.
            run.visited, run.codes, run.since = (), run.codes.copy(), run.since.copy()
        ends, look = tuple(runs), self._looks[case]
        self.known.looks[look] = ends
        onward: list[Key] = []
        for key in self.alike.pop(look):
            self.known.ends[key] = ends
            onward += self.after.pop(key, ())
        return self._begin(onward)

    def _begin(self, keys: list[Key]) -> list[Run]:
        found = []
        while keys:
            key = keys.pop()
            runs = _begun(self.net, self.known, key, len(self._looks))
            look = b"".join([run.look() for run in runs])
            ends = self.known.looks.get(look) if runs else ()  # nothing that goes on is likely enough
            if ends is not None:
                self.known.ends[key] = ends
                keys += self.after.pop(key, ())
            elif look in self.alike:
                self.alike[look].append(key)
            else:
                self.alike[look] = [key]
                self._looks.append(look)
                found += runs
        return found


def settled(net: Net, keys: Iterable[Key]) -> Mapping[Key, Ends]:
    """Where every line of development stands after its acts, of these keys at least.

    Each beginning of a history is settled once and kept, and what begins alike ends alike. What is settled lets what goes on
    from it begin: all that has to be settled goes side by side, however far it is.
    """
    waiting = _Waiting(net, known_of(net))
    runs = waiting.ask(keys)
    finished: dict[int, list[Run]] = {}
    alive = Counter(run.case for run in runs)
    table, rows = None, [_NEW] * len(runs)
    while runs:
        took = None
        if len(runs) == 1:
            if table is not None and rows != [_NEW]:
                runs[0].codes, runs[0].since = table.codes[rows[0]].copy(), table.since[rows[0]].copy()
            rows, took = [_NEW], ahead(net, runs[0])
        if took is None:
            table = _beside(net, runs, table, rows)
            onwards = _round(net, runs, table)
        else:
            table, onwards = None, [took]
        going, rows, over = list[Run](), list[int](), list[int]()
        for k, (run, onward) in enumerate(zip(runs, onwards, strict=True)):
            if onward is _STAYS:
                going.append(run)
                rows.append(k)
                continue
            going += onward
            rows += [_NEW] * len(onward)
            alive[run.case] += len(onward) - 1
            if not onward and run.ended:
                finished.setdefault(run.case, []).append(run)
            if not alive[run.case]:
                over.append(run.case)
        for case in over:
            begun = waiting.close(case, finished.pop(case, []))
            alive.update(run.case for run in begun)
            going += begun
            rows += [_NEW] * len(begun)
        runs, rows = _heaviest(going, rows, alive)
    return waiting.known.ends


def _before(key: Key) -> Key | None:
    faulty, script = key
    return None if script.before is None else (faulty, script.before)


def _begun(net: Net, known: Known, key: Key, case: int) -> list[Run]:
    """The runs that begin what a key stands for, whose beginning is settled."""
    faulty, script = key
    if script.before is None:
        return [start(net, case, faulty, script.hold)]
    act, brief = script.acts[-1]
    runs = []
    for earlier in known.ends[(faulty, script.before)]:
        run = earlier.again(case)
        run.brief = brief
        apply(net, run, act)
        runs.append(run)
    return runs


def _heaviest(runs: list[Run], rows: list[int], alive: Counter[int]) -> tuple[list[Run], list[int]]:
    """The runs that go on, with their rows: of one case not more than `_MOST_RUNS`, the heaviest."""
    for case in [case for case, count in alive.items() if count > _MOST_RUNS]:
        mine = [k for k, run in enumerate(runs) if run.case == case]
        gone = set(sorted(mine, key=lambda k: -runs[k].weight)[_MOST_RUNS:])
        alive[case] = _MOST_RUNS
        rows = [row for k, row in enumerate(rows) if k not in gone]
        runs = [run for k, run in enumerate(runs) if k not in gone]
    return runs, rows


def _round(net: Net, runs: Sequence[Run], group: Group) -> list[list[Run]]:
    """One round: let everything react once to the present voltages; split where a band leaves it open.

    Returns, for each run, the runs that go on in its place, or `_STAYS` where it goes on itself. None do where it has come to
    rest or was found to go on for ever: it is `ended` then. A run that does not stay has its own codes.
    """
    rules, scans = rules_of(net), scans_of(net)
    done = react(rules, group)
    changed, blown = done.changed, done.blown
    free = np.flatnonzero(~done.done)
    some = [runs[k] for k in free.tolist()]
    memories, codes = scans.scan(
        [run.faulty.scanner for run in some], [run.memory for run in some], group.codes[free],
        group.fixed[free], [run.now_ms for run in some],
    )  # fmt: skip
    thought = np.array([old.memory.number != new.number for old, new in zip(some, memories, strict=True)], np.bool_)
    changed[free] |= thought | (codes != group.codes[free]).any(axis=1)
    group.codes[free] = codes
    for run, memory in zip(some, memories, strict=True):
        run.memory = memory
    last = blow(rules, group, ~changed & ~done.done, 1.0)
    changed, blown = changed | last, blown | last
    for k in np.flatnonzero(blown).tolist():
        runs[k].visited = ()
    every = _seen(group.codes, [run.memory.number for run in runs])
    width = len(every) // len(runs)
    out: list[list[Run]] = [_STAYS] * len(runs)
    resting: list[int] = []
    for k, (run, moves) in enumerate(zip(runs, changed.tolist(), strict=True)):
        run.rounds += 1
        if moves and k not in done.splits:
            seen = every[k * width : (k + 1) * width]
            if run.came_round is None and run.rounds <= _MOST_ROUNDS - _MOST_MOMENTS and seen not in run.visited:
                run.visited = (*run.visited, seen)
                continue
        run.codes, run.since = group.codes[k], group.since[k]
        if k in done.splits:
            out[k] = _both_ways(run, done.splits[k])
        elif not moves:
            resting.append(k)
        elif _circles(run, seen, at_once=bool(done.at_once[k])):
            run.ended = True
            out[k] = []
    for k, onward in zip(resting, time_passes(net, [runs[k] for k in resting]), strict=True):
        out[k] = onward or []
        runs[k].ended = onward is None
    return out


def _seen(codes: Codes, numbers: Sequence[int]) -> bytes:
    """What tells runs apart that stand in different states or remember different things, as long a piece for each."""
    content = np.empty((len(numbers), codes.shape[1] + 4), codes.dtype)
    content[:, :-4] = codes
    content[:, -4:] = np.array(numbers, dtype=np.int64)[:, None].view(codes.dtype)
    return content.tobytes()


_STAYS: list[Run] = []
"""What stands for a run that goes on as it is, in its row of the table."""
_NEW = -1
"""Row of a run that was not in the table of the round before."""


def _beside(net: Net, runs: Sequence[Run], before: Group | None, rows: Sequence[int]) -> Group:
    """Many runs side by side, at the volts of their networks.

    before, rows: the table of the round before, and of each run its row there.
    """
    if before is not None and len(rows) == len(before.codes) and _NEW not in rows:
        # Nobody has gone, nobody has come: the table itself.
        seen = glimpses(net, before.codes, [run.faulty.laid for run in runs])
        return replace(before, watched=seen.watched, windings=seen.windings, slips=seen.slips)
    new = [k for k, row in enumerate(rows) if row == _NEW]
    fresh = [runs[k] for k in new]
    codes = _in_rows(None if before is None else before.codes, rows, new, [r.codes for r in fresh])
    seen = glimpses(net, codes, [run.faulty.laid for run in runs])
    return Group(
        codes,
        _in_rows(None if before is None else before.fixed, rows, new, [r.faulty.fixed for r in fresh]),
        _in_rows(None if before is None else before.low, rows, new, [r.low for r in fresh]),
        _in_rows(None if before is None else before.high, rows, new, [r.high for r in fresh]),
        _in_rows(None if before is None else before.since, rows, new, [r.since for r in fresh]),
        np.array([run.now_ms for run in runs], dtype=np.int64),
        seen.watched,
        seen.windings,
        seen.slips,
    )


def _in_rows(
    before: npt.NDArray[_Number] | None, rows: Sequence[int], new: Sequence[int], fresh: Sequence[npt.NDArray[_Number]]
) -> npt.NDArray[_Number]:
    """Rows of the table before, and `fresh` ones where they are `new`."""
    if before is None or len(new) == len(rows):
        return stacked(fresh)
    out: npt.NDArray[_Number] = before[rows]  # a copy; what is new has the last row for a moment
    if new:
        out[new] = stacked(fresh)
    return out


def _both_ways(run: Run, split: Split) -> list[Run]:
    out = []
    for share, band in ((split.chance, split.below), (1 - split.chance, split.above)):
        way = run.clone(share)
        if way.weight >= LEAST_WEIGHT:
            way.low, way.high = run.low.copy(), run.high.copy()
            way.low[split.at], way.high[split.at] = band.low, band.high
            out.append(way)
    return out


def _circles(run: Run, signature: bytes, *, at_once: bool) -> bool:
    """Whether a run that has changed, and not to what is new, has gone the whole way round; gathers what it goes through.

    signature: what it looks like now. at_once: it was electronics that changed it.
    """
    if run.came_round is None:
        run.came_round = signature
        return False
    run.passing = (*run.passing, at_once)
    if signature == run.came_round or run.rounds > _MOST_ROUNDS or len(run.moments) >= _MOST_MOMENTS:
        # What electronics leaves at once is no moment: a supply in current limit never holds up what has let go of it.
        every = (run.codes, *run.moments)
        last = [codes for codes, passing in zip(every, run.passing, strict=False) if not passing] or list(every)
        run.codes, run.moments = last[0].copy(), tuple(last[1:])
        run.settled = False
        run.visited = ()
        return True
    run.moments = (*run.moments, run.codes.copy())
    return False
