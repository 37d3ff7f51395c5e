"""Belief: how likely each suspect is after what was seen.

A belief is a plain array over `machine.suspects` that sums to 1. Nothing is excluded for good by one answer. Evidence is
grouped by situation, because the outcomes of one situation are shared by all that was seen in it; a batch has one shared
chance of being spoiled. A repair ends an epoch: what was seen before it is judged twice, with the repaired suspect still
in the machine beside each other suspect and without (the repair may have hit a good part), what was seen after it without.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import cast

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Sign
from troubleshoot.circuit.model import NamedSituation, Pin, Situation
from troubleshoot.diagnosis.people import Way, beside_the_point, ways
from troubleshoot.diagnosis.standing import Standings, standings_in, standings_of
from troubleshoot.diagnosis.tables import Floats, Table, shows, tables_of
from troubleshoot.evidence import told
from troubleshoot.evidence.likelihood import CALM, Predicted, Weighed, classes, group_likelihood, nominal_of
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Phase, Seen, Told, Word
from troubleshoot.faults.suspects import OUTSIDE, Suspect
from troubleshoot.machine import Machine
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meters import unit_of
from troubleshoot.solve.passing import trips_after
from troubleshoot.solve.stray import DRIFT

PRESENT: dict[Phase, float] = {"failing": 1.0, "working": 0.02, "unknown": 0.5}
"""Chance that what comes and goes was there while something was read. Two in a hundred: a machine that seems to run may be
failing in something nobody looks at. Judgement, no published source."""
NOT_MENDED = 0.05
"""Chance that a repair did not take (wrong part, still loose). Common practice, no published source."""

HIT = 0.5
"""Chance, beforehand, that a repair after which the complaint stays had mended something that was really bad."""


MOST_KEPT = 256
"""Answers of `Reasoner._situation` that are kept, unless it is told otherwise."""

WHILE = " while "
"""Between what is wrong and what is right beside it: ``brake set while contactor pulled in``."""


@dataclass(frozen=True, slots=True)
class Repaired:
    """A repair that ended an epoch: the group that was mended and which of its suspects was the likeliest."""

    group: str
    suspect: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What a reading should be on a healthy machine, and in which words."""

    value: float
    low: float
    high: float
    unit: str
    floating: bool

    @property
    def words(self) -> str:
        """``116-124``, ``nothing``, ``OL``; of a point that floats, what may couple into it."""
        if self.floating:
            return "nothing" if self.high <= DRIFT["ac"] else f"{self.low:.0f}-{self.high:.0f} V, collapses under load"
        if self.unit == "ohm":
            return "OL" if np.isinf(self.value) else "under 1 ohm" if self.value < 1 else f"about {self.value:.3g} ohm"
        if self.unit == "A" and self.value >= 0.05:
            # A brake coil or a relay takes a quarter ampere and less: that is not nothing.
            return f"about {self.value:.2g} A"
        if abs(self.value) < 0.5:
            return "nothing"
        return f"{self.low:.0f}-{self.high:.0f}" if self.value >= 40 else f"{self.low:.1f}-{self.high:.1f}"


class NotYet(Exception):
    """What was asked needs one table more than this slice may make; asked again, it goes on from there."""


@dataclass
class Reasoner:
    """Belief over one machine's suspects. Holds computed tables; every answer follows from its arguments alone."""

    machine: Machine
    _tables: dict[tuple[Situation, tuple[Edit, ...]], Table] = field(default_factory=dict)
    _standings: dict[Situation, Standings] = field(default_factory=dict)
    _predicted: dict[tuple[Situation, tuple[Edit, ...], object], Predicted] = field(default_factory=dict)
    _logs: dict[tuple[Situation, tuple[Edit, ...], tuple[Seen, ...]], Floats] = field(default_factory=dict)
    _batches: dict[tuple[Situation, tuple[Edit, ...]], dict[tuple[tuple[Seen, ...], bool | None], Weighed]] = field(
        default_factory=dict
    )
    _trips: dict[tuple[Situation, tuple[Edit, ...]], tuple[tuple[float, float] | None, ...]] = field(
        default_factory=dict
    )
    _said: dict[tuple[str, str, Situation, tuple[Edit, ...]], Floats] = field(default_factory=dict)
    _moves: dict[tuple[Situation, tuple[Edit, ...]], Floats] = field(default_factory=dict)
    beforehand: Floats | None = None
    """Chance of each suspect beforehand where it is not the machine's own: every suspect alike, or a plant's history."""
    most_kept: int = MOST_KEPT
    _left: int | None = field(default=None, init=False)
    """Tables that may still be made in this slice; None: as many as are asked for."""

    @contextmanager
    def one_table(self) -> Iterator[None]:
        """Inside, whatever needs a second new table ends with NotYet: so that an answer waits for one at most."""
        self._left = 1
        try:
            yield
        finally:
            self._left = None

    def with_prior(self, beforehand: Floats) -> Reasoner:
        """The same with other chances beforehand. (suspects,), sums to 1. The tables are shared: no prior is in them."""
        return replace(self, beforehand=np.asarray(beforehand, np.float64))

    def table(self, situation: Situation, also: tuple[Edit, ...] = ()) -> Table:
        """The table of one situation, computed on first use."""
        self.prepare((situation,), also)
        return self._tables[(situation, also)]

    def prepare(self, situations: Iterable[Situation], also: tuple[Edit, ...] = ()) -> None:
        """Compute the tables of several situations, those that are not there yet, side by side."""
        missing = [s for s in dict.fromkeys(situations) if (s, also) not in self._tables]
        now = missing[: self._left]
        if now:
            for table in tables_of(self.machine, now, also):
                self._tables[(table.situation, also)] = table
        if self._left is not None:
            self._left -= len(now)
            if len(now) < len(missing):
                raise NotYet

    def standings(self, situation: Situation) -> Standings:
        """How every suspect leaves the machine in one situation; settled on first use, a third of the work of a table."""
        self.prepare_standings((situation,))
        return self._standings[situation]

    def prepare_standings(self, situations: Iterable[Situation]) -> None:
        """Settle several situations, those that are not there yet, side by side."""
        missing = [s for s in dict.fromkeys(situations) if s not in self._standings]
        tables = {s: self._tables[(s, ())] for s in missing if (s, ()) in self._tables}
        self._standings |= {s: standings_in(table) for s, table in tables.items()}
        missing = [s for s in missing if s not in tables]
        self._standings |= dict(zip(missing, standings_of(self.machine, missing), strict=True))

    def predict(self, what: Meter | Light | Look, situation: Situation, also: tuple[Edit, ...] = ()) -> Predicted:
        """Computed values of one observable in one situation under every outcome of every suspect."""
        key = (situation, also, what)
        if key not in self._predicted:
            self._predicted[key] = self.table(situation, also).predict(what)
        return self._predicted[key]

    def predict_all(self, whats: Sequence[Meter], situation: Situation) -> None:
        """Compute several meter readings of one situation at once, for later `predict` calls."""
        missing = [w for w in whats if (situation, (), w) not in self._predicted]
        if missing:
            for what, predicted in zip(missing, self.table(situation).predict_meters(missing), strict=True):
                self._predicted[(situation, (), what)] = predicted

    @property
    def prior(self) -> Floats:
        """Chance of each suspect before anything is seen."""
        if self.beforehand is not None:
            return self.beforehand
        return np.array([s.prior for s in self.machine.suspects])

    def belief(self, evidence: Sequence[Seen], repaired: Sequence[Repaired] = ()) -> Floats:
        """Chance of each suspect after all that was seen. Sums to 1.

        repaired: one entry an epoch that has ended, oldest first; `Seen.epoch` counts them.
        """
        all_ways = np.concatenate([log for _, log in self._by_way(evidence, repaired)])
        chance = np.exp(all_ways - all_ways.max()).sum(axis=0)
        total: Floats = chance / chance.sum()
        return total

    def mistaken(
        self, evidence: Sequence[Seen], repaired: Sequence[Repaired], pins: Collection[Pin]
    ) -> dict[Pin, Floats]:
        """(suspects,) chance, for each of some points that were read: were it that suspect, the point was taken for another."""
        logs = list(self._by_way(evidence, repaired, pins))
        most = np.max([log.max(axis=0) for _, log in logs], axis=0)
        chances = [(way.mistaken, np.exp(log - most).sum(axis=0)) for way, log in logs]
        every = sum((chance for _, chance in chances), np.zeros(len(most)))
        return {
            pin: sum((chance for one, chance in chances if one == pin), np.zeros(len(most))) / every for pin in pins
        }

    def _by_way(
        self, evidence: Sequence[Seen], repaired: Sequence[Repaired], about: Collection[Pin] = ()
    ) -> Iterator[tuple[Way, Floats]]:
        """Every way in which all was read, by what was mended for good, with the logarithm of the chances. (2, suspects) each."""
        prior = np.log(np.maximum(self.prior, 1e-12))
        names, group_of = self._groups
        for group, times in Counter(r.group for r in repaired).items():
            if group in names:
                # Mended twice and still not right: it is less and less likely to be that.
                prior[group_of == names[group]] += times * np.log(NOT_MENDED)
        for bad, share in _really_bad(len(repaired)):
            for way in ways(evidence, about):
                log = self._one_way(prior, way, repaired, bad)
                yield way, log + np.log([[way.chance * share * CALM], [way.chance * share * (1 - CALM)]])

    def _one_way(self, prior: Floats, way: Way, repaired: Sequence[Repaired], bad: frozenset[int]) -> Floats:
        """(2, suspects): prior and evidence, had the job been read in this way: on a calm machine, on one that is not."""
        log = np.stack([prior, prior])
        for (situation, epoch, phase), seen in _grouped(way.evidence).items():
            log = log + self._phased(phase, self._situation(situation, self._also(epoch, repaired, bad), seen))
        for one in way.evidence:
            if isinstance(one.what, Told):
                log = log + self._told(one, self._also(one.epoch, repaired, bad))
        if way.apart:
            read = [(one, self._meant(one, self._also(one.epoch, repaired, bad))) for one in way.apart]
            log = log + beside_the_point(read)
        return log

    def _meant(self, one: Seen, also: tuple[Edit, ...]) -> Predicted:
        assert isinstance(one.what, Meter)
        return self.predict(one.what, one.at, also)

    def _also(self, epoch: int, repaired: Sequence[Repaired], bad: frozenset[int]) -> tuple[Edit, ...]:
        """Edits of the suspects that were still in the machine during an epoch. bad: which repairs hit a bad part."""
        by_id = {s.id: s for s in self.machine.suspects}
        return tuple(
            e
            for k, r in enumerate(repaired)
            if k >= epoch and k in bad and r.suspect in by_id
            for e in by_id[r.suspect].edits
        )

    def _phased(self, phase: Phase, log: Floats) -> Floats:
        """(2, suspects): what was seen while a suspect that comes and goes may have been away: then it looks like a whole machine."""
        if phase == "failing":
            return log
        there, whole = PRESENT[phase], log[:, -1:]
        mixed = np.logaddexp(np.log(there) + log, np.log(1 - there) + whole)
        return np.where([s.comes_and_goes for s in self.machine.suspects], mixed, log)

    def _situation(self, situation: Situation, also: tuple[Edit, ...], seen: Sequence[Seen]) -> Floats:
        # The next step adds to one situation; what was seen in the others says the same as before.
        key = (situation, also, tuple(seen))
        if key not in self._logs:
            if len(self._logs) > self.most_kept:
                self._logs.clear()
            self._logs[key] = self._weighed(situation, also, seen)
        return self._logs[key]

    def _weighed(self, situation: Situation, also: tuple[Edit, ...], seen: Sequence[Seen]) -> Floats:
        """(2, suspects): on a calm machine, on one that is not."""
        table = self.table(situation, also)
        batches: dict[tuple[bool, int], list[Seen]] = {}
        for one in seen:
            # The readings of a batch share leads, range and reference; lights and looks of one sheet the eye that read them.
            metered = isinstance(one.what, Meter)
            batches.setdefault((metered, one.batch if metered else one.event), []).append(one)
        predictions = [
            [self.predict(cast("Meter | Light | Look", one.what), situation, also) for one in batch]
            for batch in batches.values()
        ]
        floats = any(p.span is not None for batch in predictions for p in batch)
        # Whoever goes on in other ways from here has had the same sheets and trips before.
        if sum(map(len, self._batches.values())) > self.most_kept:
            self._batches.clear()
        known = self._batches.setdefault((situation, also), {})
        ways = [
            group_likelihood(
                list(batches.values()), predictions, table.owner, table.weight, len(self.machine.suspects), table.healthy,
                len(self.machine.suspects) - 1, calm, known,
            )
            for calm in ((True, False) if floats else (None,))
        ]  # fmt: skip
        return np.stack([ways[0], ways[-1]])

    def _told(self, seen: Seen, also: tuple[Edit, ...]) -> Floats:
        assert isinstance(seen.what, Told)
        key = (seen.what.question, str(seen.understood), seen.at, also)
        if key not in self._said:
            if len(self._said) > self.most_kept:
                self._said.clear()
            self._said[key] = self._weigh_told(seen, also)
        return self._said[key]

    def _weigh_told(self, seen: Seen, also: tuple[Edit, ...]) -> Floats:
        assert isinstance(seen.what, Told)
        suspects = self.machine.suspects
        if seen.what.question == told.COMPLAINT:
            differs = self.complained(str(seen.understood), seen.at, also)
            found: Floats = np.log(told.NOT_SHOWN + (told.SHOWN - told.NOT_SHOWN) * differs)
            found[self.doors(str(seen.understood))] = np.log(told.A_DOOR)
            found[-1] = np.log(told.SHOWN)
            return found
        answer = str(seen.understood)
        question = seen.what.question
        chances = [told.chance(question, answer, cast("told.Sort", s.sort), s.signs) for s in suspects]
        if question == told.TRIPPED_AFTER.id and answer in told.AFTER_S:
            times = self.trip_seconds(before_waiting(seen.at), also)
            chances = [
                p if when is None else told.chance_after(answer, *when, p)
                for p, when in zip(chances, times, strict=True)
            ]
        return np.log(chances)

    def trip_seconds(self, running: Situation, also: tuple[Edit, ...] = ()) -> tuple[tuple[float, float] | None, ...]:
        """When the first overload relay trips under each suspect, started from cold: soonest and latest seconds.

        running: the situation whose currents heat it, before any waiting. None where none trips in its likeliest outcome.
        """
        key = (running, also)
        if key not in self._trips:
            table, net = self.table(running, also), self.machine.net
            best: dict[int, int] = {}
            for k, owner in enumerate(table.owner.tolist()):
                if owner not in best or table.weight[k] > table.weight[best[owner]]:
                    best[owner] = k
            self._trips[key] = tuple(
                trips_after(net, table.outcomes[best[k]].network) for k in range(len(self.machine.suspects))
            )
        return self._trips[key]

    def moves_otherwise(self, situation: Situation, also: tuple[Edit, ...] = ()) -> Floats:
        """Chance, per suspect, that a motor does something else than on the healthy machine in this situation. Read only."""
        key = (situation, also)
        if key not in self._moves:
            if len(self._moves) > self.most_kept:
                self._moves.clear()
            self._moves[key] = self._moved(situation, also)
            self._moves[key].flags.writeable = False
        return self._moves[key]

    def _moved(self, situation: Situation, also: tuple[Edit, ...]) -> Floats:
        table = self.table(situation, also)
        whole = self.table(situation)
        motors = [m.var for m in self.machine.net.motors]
        usual = tuple(whole.outcomes[whole.healthy].state[m] for m in motors)
        other = np.array(
            [any(tuple(s[m] for m in motors) != usual for s in o.states) for o in table.outcomes], dtype=float
        )
        weights: Floats = table.weight * other
        return np.bincount(table.owner, weights, len(self.machine.suspects)).astype(np.float64)

    def complained(self, complaint: str, situation: Situation, also: tuple[Edit, ...] = ()) -> Floats:
        """Chance, per suspect, that what is complained of is seen in this situation.

        A complaint that says nothing of what it is about is about motors. One that is about lights alone is seen where the
        motors do what they should: else people would have said that first.
        """
        named = self.machine.circuit.complaints.get(complaint)
        if named is None or not named.about:
            found = self.moves_otherwise(situation, also)
            if complaint in told.COMES_AND_GOES:
                found = found * np.array([s.comes_and_goes for s in self.machine.suspects], dtype=float)
            return found
        table, whole = self.table(situation, also), self.table(situation)
        other = np.zeros(len(table.outcomes), dtype=bool)
        signs: list[tuple[Sign, str]] = []
        for item in named.about:
            first, *others = item.split(WHILE)
            one = np.zeros(len(table.outcomes), dtype=bool)
            for sign, word in self.signs_about(first):
                signs.append((sign, word))
                usual = shows(sign, whole.outcomes[whole.healthy])
                shown = np.array([shows(sign, o) for o in table.outcomes])
                one |= (shown != usual) & ((shown == word) if word else True)
            for part in others:
                at_once = [[shows(sign, o) == word for o in table.outcomes] for sign, word in self.signs_about(part)]
                one &= np.array(at_once, dtype=bool).reshape(-1, len(one)).any(axis=0)
            other |= one
        weights: Floats = table.weight * other
        seen = np.bincount(table.owner, weights, len(self.machine.suspects)).astype(np.float64)
        seen[self.doors(complaint)] = 0.0
        if signs and all(sign.kind == "light" for sign, _ in signs):
            seen = seen * (1 - self.moves_otherwise(situation, also))
        return seen

    def doors(self, complaint: str) -> list[int]:
        """Suspects that are nothing but what is complained of: it has tripped, it has blown, and nothing says why."""
        named = self.machine.circuit.complaints.get(complaint)
        about = {s.var for item in (named.about if named else ()) for s, _ in self.signs_about(item.split(WHILE)[0])}
        return [
            k for k, suspect in enumerate(self.machine.suspects)
            if suspect.edits and all(e.does == "left" and e.slot in about for e in suspect.edits)
        ]  # fmt: skip

    def signs_about(self, item: str) -> list[tuple[Sign, str]]:
        """Lights and looks that ``brake`` or ``motor hums, does not turn`` speaks of, with what is said they show."""
        roles = self.machine.circuit.roles
        role = max((r for r in roles if item == r or item.startswith(f"{r} ")), key=len, default="")
        word = item.removeprefix(role).strip()
        found = []
        for tag in roles.get(role, ()):
            device = self.machine.circuit.devices[tag]
            found += [s for s in KINDS[device.kind].signs(device) if s.kind in ("light", "look") or s.hands]
            if device.kind == "fuse":
                # Nothing on most fuses shows that they are blown; people know it by what is dead behind them.
                found.append(Sign(tag, device.words, "look", tag, {"whole": "whole", "blown": "blown"}))
        return [(s, word) for s in found if not word or word in (*s.shows.values(), Word.UNSTEADY.value)]

    def groups(self, belief: Floats) -> list[tuple[str, float]]:
        """Repair groups with their chance, likeliest first; of equal ones that of the earlier suspect."""
        names, group_of = self._groups
        total = np.bincount(group_of, belief, len(names)).tolist()
        return sorted(zip(names, total, strict=True), key=lambda pair: -pair[1])

    @cached_property
    def _groups(self) -> tuple[dict[str, int], npt.NDArray[np.intp]]:
        """Repair groups by name, in the order of their first suspects, with their place; and the place of each suspect's."""
        names: dict[str, int] = {}
        places = [names.setdefault(suspect.group, len(names)) for suspect in self.machine.suspects]
        return names, np.array(places, np.intp)

    def likeliest(self, belief: Floats, group: str) -> Suspect:
        """The likeliest suspect of one repair group."""
        names, group_of = self._groups
        chosen = np.flatnonzero(group_of == names[group])
        return self.machine.suspects[int(chosen[np.argmax(belief[chosen])])]

    def expected(self, what: Meter, situation: Situation) -> Expected:
        """What a healthy machine reads here, with the spread of ordinary plant volts."""
        predicted = self.predict(what, situation)
        table = self.table(situation)
        value = predicted.right
        spread = 0.04 if what.mode in ("ac volts", "low-impedance volts") else 0.02
        floating = bool(predicted.floating[table.healthy])
        low, high = abs(value) * (1 - spread), abs(value) * (1 + spread)
        if floating and predicted.span is not None:
            low, high = (float(end[table.healthy]) for end in predicted.span)
        return Expected(value, low, high, unit_of(what.mode), floating)

    def misfits(self, evidence: Sequence[Seen], suspect: Suspect, repaired: Sequence[Repaired] = ()) -> list[Seen]:
        """Observations that one suspect does not explain: the word or class seen has under 10 % chance."""
        out = []
        index = self.machine.suspects.index(suspect)
        for one in evidence:
            if isinstance(one.what, Told) or one.understood is Word.COULDNT:
                continue
            if one.phase != "failing" and suspect.comes_and_goes:
                continue  # it may have been away just then
            ways = {self._also(one.epoch, repaired, bad) for bad, _ in _really_bad(len(repaired))}
            fits = [_fit(one, self.predict(one.what, one.at, also), self.table(one.at, also), index) for also in ways]
            if max(fits) < 0.10:
                out.append(one)
        return out

    def situation(self, name: str) -> NamedSituation:
        """A situation the circuit file names."""
        return self.machine.circuit.situations[name]


def before_waiting(situation: Situation) -> Situation:
    """The situation before one waited in it."""
    acts = situation.acts
    while acts and acts[-1].verb == "wait":
        acts = acts[:-1]
    return replace(situation, acts=acts)


def _really_bad(count: int) -> list[tuple[frozenset[int], float]]:
    """Which of some repairs hit a part that was bad, with the chance of each: none, one of them, or all."""
    whole = frozenset(range(count))
    ways = dict.fromkeys((frozenset[int](), *(frozenset({k}) for k in whole), whole))
    weights = [(1 - HIT) if not way else HIT / (len(ways) - 1) for way in ways] if count else [1.0]
    return list(zip(ways, weights, strict=True))


def _grouped(evidence: Sequence[Seen]) -> dict[tuple[Situation, int, Phase], list[Seen]]:
    out: dict[tuple[Situation, int, Phase], list[Seen]] = {}
    for one in evidence:
        if not isinstance(one.what, Told):
            out.setdefault((one.at, one.epoch, one.phase), []).append(one)
    return out


def _fit(seen: Seen, predicted: Predicted, table: Table, suspect: int) -> float:
    """Chance, by class rather than by volt, that this suspect shows what was seen."""
    mine = table.owner == suspect
    weight = table.weight[mine]
    if predicted.shown is not None:
        said = seen.understood.value if isinstance(seen.understood, Word) else seen.understood
        return float((weight * (predicted.shown[mine] == said)).sum())
    if isinstance(seen.understood, Interval):
        x = abs(seen.understood.middle)
        value = np.abs(predicted.value[mine])
        if seen.understood.unit == "ohm":
            near = np.abs(np.log10(np.minimum(value, 1e9) + 0.3) - np.log10(x + 0.3)) < 0.5
        else:
            near = np.abs(value - x) < 0.12 * np.maximum(value, x) + 0.1 * nominal_of(predicted)
        stray = predicted.floating[mine]
        if predicted.span is not None:
            stray = stray & (x <= 1.15 * predicted.span[1][mine] + 0.1 * nominal_of(predicted))
        return float((weight * (near | stray)).sum())
    if seen.understood is Word.OL:
        return float((weight * (predicted.value[mine] > 1e6)).sum())
    if seen.understood is Word.UNSTEADY:
        return float((weight * (~predicted.steady[mine] | predicted.floating[mine])).sum())
    index = {Word.NOTHING: 0, Word.LOW: 1, Word.RIGHT: 2, Word.HIGH: 3}.get(cast("Word", seen.understood))
    if index is None:
        return 1.0
    if index == 2 and abs(predicted.right) <= 0.1 * predicted.scale:
        index = 0
    return float((weight * ((classes(predicted)[mine] == index) | predicted.floating[mine])).sum())


__all__ = ["OUTSIDE", "Expected", "Reasoner", "Repaired"]
