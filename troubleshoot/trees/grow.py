"""A tree grown from the model for one machine: the tests that tell most for their time, written as a person could edit it.

What it asks are lights and looks of devices in a role, and the trips that the engine would plan, each read by the words that
a tree has. The text that comes out is read, bound and proved like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import NamedSituation, Pin, Situation
from troubleshoot.diagnosis.optimum import Found, Search
from troubleshoot.diagnosis.plan import Planner
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.seen import Light, Look, Word
from troubleshoot.trees.answers import Answers, Indices, What
from troubleshoot.trees.exact import Posed, pose
from troubleshoot.trees.faces import Faces
from troubleshoot.trees.labels import Expect
from troubleshoot.trees.model import LEADING, WiredPoint
from troubleshoot.trees.order import Column

PROVED_FROM = 70
"""Suspects left, those alike in answers and repair counted once, from which on the rest of the order is searched to its end."""
MOST_SETS = 2_000
"""Sets of suspects that one such search looks into. Three-wire, won't start, 131 faults: with 400 two of its four searches are
proved the cheapest, the others within 5 %; with 2,000 all four."""
TRIED = 12
"""Tests that are tried with the greedy order behind them where more suspects are left than that."""
MOST_NAMED = 3
"""Repairs named in the reason of a node."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing that a grown tree may ask, and what each suspect answers in the words of a label."""

    sort: str
    """``look``, ``lights`` or ``measure``."""
    text: str
    """As the tree writes it: a role, ``input of start``, ``KM1:A1 to NB:1``."""
    what: tuple[What, ...]
    at: NamedSituation
    said: tuple[str, ...]
    """(suspects,) the word; empty where no label says it."""
    meter: str = ""

    @property
    def stand(self) -> tuple[str, str, str]:
        """What can be asked in one node."""
        return (self.sort, self.at.name, self.meter)


Posedness = tuple[frozenset[int], Posed, Search, Found | None]
"""Suspects, the problem of telling them apart, and what a search of it to its end found; None: too many for that."""


@dataclass
class _Growing:
    answers: Answers
    chance: Floats
    asked: tuple[Asked, ...]
    told: Callable[[float, int], None] | None = None
    """Told as it goes on: chance of the suspects that have come to their end, and the nodes written."""
    enough: Callable[[], bool] = lambda: False
    """Once true, nothing further is searched to its end."""
    ended: float = 0.0
    lines: list[str] = field(default_factory=list)
    count: int = 0

    def __post_init__(self) -> None:
        suspects = self.answers.reasoner.machine.suspects
        names = {name: k for k, name in enumerate(dict.fromkeys(s.group for s in suspects))}
        self.group = np.array([names[s.group] for s in suspects], dtype=np.intp)
        self.codes = [np.unique(np.array(a.said), return_inverse=True)[1].astype(np.intp) for a in self.asked]
        self.columns = [Column(a.what, a.at, codes, a.stand) for a, codes in zip(self.asked, self.codes, strict=True)]
        self.solved: list[Posedness] = []

    def node(self, cell: Indices) -> str:
        """Write what tells these suspects apart; returns the name of its first node."""
        picked = self._choose(cell)
        if not picked:
            self.ended += float(self.chance[cell].sum())
            if self.told is not None:
                self.told(self.ended, self.count)
            return "confirm"
        return self.part(cell, picked, picked)

    def part(self, cell: Indices, picked: list[int], left: list[int]) -> str:
        """A node for one trip, parted by the first of what is left of it; the others are parted by nodes behind it.

        Those are not asked again: what they ask has been answered.
        """
        here = next((k for k in left if len(set(self.codes[k][cell])) > 1), None)
        if here is None:
            return self.node(cell)
        one = self.asked[here]
        first = left is picked
        self.count += 1
        name = f"{self.count} {one.text.split(' to ')[0].replace(':', ' ')}"
        items = [self.asked[k].text for k in picked] if first else [one.text]
        at = len(self.lines)
        rest = [k for k in left if k != here]
        ways: dict[str, Indices] = {}
        for k in cell:
            ways[one.said[k]] = np.append(ways.get(one.said[k], np.array([], dtype=np.intp)), k)
        mine: list[str] = [
            f"  - id: {_quoted(name)}",
            f"    {one.sort}: [{', '.join(_quoted(i) for i in items)}]",
            *([f"    meter: {one.meter}"] if one.meter else []),
            f"    situation: {_quoted(one.at.name)}",
            f"    why: {_quoted(self._why(cell))}",
            "    branches:",
        ]
        targets: list[str] = []
        rests = "confirm"
        for word, part in sorted(ways.items(), key=lambda way: -float(self.chance[way[1]].sum())):
            target = self.part(part, picked, rest) if rest else self.node(part)
            if word:
                targets.append(f"      {_quoted(f'{one.text} {word}')}: {_quoted(target)}")
            else:
                rests = target
        self.lines[at:at] = [*mine, *targets, f"    next: {_quoted(rests)}"]
        return name

    def _choose(self, cell: Indices) -> list[int]:
        """The first trip of the cheapest order that is known from here; empty where nothing tells."""
        if len(np.unique(self.group[cell])) < 2:
            return []
        mine = frozenset(map(int, cell))
        known = next((one for one in self.solved if mine <= one[0]), None) or self._pose(mine, cell)
        _, posed, search, found = known
        left = posed.placed(cell)
        if found is None and len(left) <= PROVED_FROM:
            _, posed, search, found = self._pose(mine, cell)
            left = posed.placed(cell)
        test = search.rolled(left, TRIED) if found is None else search.best(left)
        if test is None:
            return []
        numbers = {id(column): k for k, column in enumerate(self.columns)}
        return [numbers[id(column)] for column in posed.trips[test]]

    def _pose(self, mine: frozenset[int], cell: Indices) -> Posedness:
        """These suspects as a problem in numbers, searched to its end where they are few enough; kept, the smallest first."""
        posed = pose(self.columns, self.answers.reasoner.machine.circuit, cell, self.group, self.chance)
        search = Search(posed.problem)
        few = len(posed.problem.chance) <= PROVED_FROM
        known = (mine, posed, search, search.exact(most_sets=MOST_SETS, enough=self.enough) if few else None)
        self.solved.insert(0, known)
        return known

    def proof(self) -> str:
        """How much of the order is proved, in words."""
        searched = [found for *_, found in self.solved if found is not None]
        before = f"Before that, of the {TRIED} tests that tell most for their time the one with the cheapest order behind it."
        if not searched:
            return f"No place has {PROVED_FROM} faults or fewer left to part. {before}"
        proved = [found.proved for found in searched]
        widest = max(found.gap for found in searched)
        rest = "" if all(proved) else f", elsewhere at most {widest:.0%} over it"
        return (
            f"Where {PROVED_FROM} faults or fewer are left, the order of these tests was searched to its end: proved the "
            f"cheapest in {sum(proved)} of {len(proved)} places{rest}. {before}"
        )

    def _why(self, cell: Indices) -> str:
        total: dict[str, float] = {}
        for k in cell:
            group = self.answers.reasoner.machine.suspects[k].group
            total[group] = total.get(group, 0.0) + float(self.chance[k])
        first = sorted(total, key=lambda g: -total[g])[:MOST_NAMED]
        more = f" and {len(total) - len(first)} more" if len(total) > len(first) else ""
        return f"Parts {', '.join(first)}{more}."


def grow(
    answers: Answers, planner: Planner, complaint: str, *, looked: NamedSituation, places: tuple[NamedSituation, ...],
    told: Callable[[float, int], None] | None = None, enough: Callable[[], bool] = lambda: False,
) -> str:  # fmt: skip
    """A tree for one complaint of one machine as the text of a file, without its header.

    looked: the situation in which one walks round first; places: where readings may be asked, the one in which the complaint
    shows first; told: told on the way the chance of the suspects that have come to their end, of 1, and the nodes written;
    enough: once true, the rest of the tree is written with the orders known by then.
    Raises nothing.
    """
    machine = answers.reasoner.machine
    scope = answers.scope(complaint, places[0].situation)
    chance = np.zeros(len(machine.suspects))
    chance[scope.suspects] = scope.chance
    asked = (*_seen(answers, (looked, *places)), *_metered(answers, planner, places))
    growing = _Growing(answers, chance, asked, told, enough)
    first = "confirm"
    if len(scope.suspects):
        # The walk round comes before any reading: what is left in or off can be seen.
        looks = [k for k, a in enumerate(asked) if a.sort == "look" and a.at is looked]
        parting = [k for k in looks if (growing.codes[k][scope.suspects] != growing.codes[k][scope.suspects[0]]).any()]
        if parting:
            first = growing.part(scope.suspects, parting, parting)
        elif looks:
            # No fault of this complaint can be seen walking round; it is looked at all the same before a meter comes out.
            items = ", ".join(_quoted(asked[k].text) for k in looks)
            first = "round"
            growing.lines += [
                "  - id: round",
                f"    look: [{items}]",
                f"    next: {_quoted(growing.node(scope.suspects))}",
            ]
            growing.lines[:] = [*growing.lines[-3:], *growing.lines[:-3]]
        else:
            first = growing.node(scope.suspects)
    top = [
        f"# {growing.proof()}",
        f"tree: {complaint}",
        f"title: {complaint} on {machine.name}, grown",
        f"situation: {looked.name}",
        "nodes:",
    ]
    nodes = growing.lines
    if first == "confirm":
        nodes = []
    return "\n".join([*top, *nodes, f"  - {{id: confirm, confirm: {LEADING}, situation: isolated}}", ""])


def _seen(answers: Answers, places: tuple[NamedSituation, ...]) -> Iterator[Asked]:
    """Lights and looks of single devices in a role, each in every place."""
    machine = answers.reasoner.machine
    signs, faces = machine.net.signs, Faces(answers.reasoner)
    for at in places:
        for role, tags in machine.circuit.roles.items():
            if len(tags) != 1:
                continue
            device = machine.circuit.devices[tags[0]]
            own = [s for s in KINDS[device.kind].signs(device) if s.kind != "compare" and s.name == device.tag]
            for sign in own:
                item = Look(sign.name) if sign.kind == "look" else Light(sign.name)
                said = answers.said(item, at.situation)
                known = {*sign.shows.values()}
                sort = "look" if sign.kind == "look" else "lights"
                yield Asked(sort, role, (item,), at, tuple(s if s in known else "" for s in said))
            for which in ("input", "output"):
                pin = faces.pin(WiredPoint("input" if which == "input" else "output", role), Situation())
                if isinstance(pin, Pin) and (name := f"{pin.device} {pin.pin}") in signs:
                    said = answers.said(Light(name), at.situation)
                    yield Asked("lights", f"{which} of {role}", (Light(name),), at, tuple(
                        s if s in signs[name].shows.values() else "" for s in said
                    ))  # fmt: skip


def _metered(answers: Answers, planner: Planner, places: tuple[NamedSituation, ...]) -> Iterator[Asked]:
    """The readings that the engine would plan, by the words of a label."""
    reasoner = answers.reasoner
    for at in places:
        meters = [c.meter for c in planner.candidates(at.situation).items if c.meter.mode != "amps"]
        reasoner.predict_all(meters, at.situation)
        for meter in meters:
            predicted = reasoner.predict(meter, at.situation)
            table = reasoner.table(at.situation)
            if bool(predicted.floating[table.healthy]):
                continue
            expect = Expect(meter.mode, float(predicted.right), float(predicted.scale), floating=False)
            said = answers.said(meter, at.situation)
            words = tuple(_word(expect, one) for one in said)
            yield Asked("measure", f"{meter.red} to {meter.black}", (meter,), at, words, meter.mode)


def _word(expect: Expect, said: str) -> str:
    """The label under which a reading falls; empty for one that no word covers."""
    if said == Word.UNSTEADY.value:
        return "unsteady"
    if said == "OL":
        return ""
    for word in ("as expected", "nothing", "low", "high"):
        span = expect.span(word, 0.0)
        if span is not None and not span.empty and span.holds(float(said)):
            return word
    return ""


def _quoted(text: str) -> str:
    """A text as YAML takes it, quoted where it must be."""
    plain = text.replace("'", "''")
    return (
        f"'{plain}'"
        if any(c in text for c in ":#,[]{}%&*!|>'\"@`") or text[:1].isdigit() or text in ("yes", "no")
        else text
    )
