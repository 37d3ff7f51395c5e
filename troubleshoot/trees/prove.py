"""A tree walked under every suspect of its complaint: what it names, what it leaves together, where it ends, what it costs.

Suspects that answer alike walk together, so that a whole tree is a few hundred steps. Nobody slips in a proof: what is said
here is said of the tree, not of the person who follows it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from troubleshoot.circuit.kinds import by_hand
from troubleshoot.circuit.model import NamedSituation, Situation
from troubleshoot.diagnosis.confirm import is_dead
from troubleshoot.diagnosis.plan import Planner
from troubleshoot.diagnosis.step import Step, StepKind
from troubleshoot.evidence.seen import Meter, Seen
from troubleshoot.faults.suspects import OUTSIDE
from troubleshoot.safety.doings import UNBIDDEN, by_role, doings
from troubleshoot.safety.motion import TURNS
from troubleshoot.solve.meters import NEEDS_DEAD
from troubleshoot.trees.answers import Answers, Indices
from troubleshoot.trees.bind import Bound
from troubleshoot.trees.model import Halve, Measure
from troubleshoot.trees.order import Order, bits
from troubleshoot.trees.walk import Walk, walk

MOST_STEPS: Final = 40
"""A walk that has not ended by then goes in circles."""
SAME_COST: Final = 0.005


@dataclass(frozen=True, slots=True)
class Ending:
    """Suspects that a tree leads to the same end by the same answers."""

    kind: StepKind
    node: str
    words: tuple[str, ...]
    """How each node on the way was left."""
    suspects: tuple[str, ...]
    groups: tuple[str, ...]
    chance: float
    missed: float
    """Of that, the chance of what is not named."""
    cost: float
    named: str
    """The repair that leads there, after all that was seen; of a confirm node, what is named."""
    fits: bool
    """Whether the readings taken fit it, as a person would judge them."""
    splits: str
    """What would still tell these repairs apart; empty where nothing does."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What one node costs and tells, over all suspects of the complaint."""

    node: str
    comes: float
    """Chance that somebody comes to it."""
    seconds: float
    """Expected seconds that it takes, those who never come to it included."""
    bits: float
    """Expected bits that its answers tell about the repair, likewise."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What became of one tree on one machine."""

    tree: str
    machine: str
    suspects: int
    groups: int
    named: float
    """Share, by chance beforehand, of the faults for which the right repair leads at a confirm node."""
    wrong: tuple[Ending, ...]
    """Named, and not what it is, though its own readings tell the two apart."""
    together: tuple[Ending, ...]
    """Confirm nodes with several repairs that its readings do not tell apart."""
    handed: tuple[Ending, ...]
    """Ends at the engine."""
    nameless: tuple[Ending, ...]
    """Ends without a repair."""
    unsafe: tuple[str, ...]
    wasted: tuple[str, ...]
    """Nodes whose answers never tell anything under any of the suspects."""
    idle: tuple[str, ...]
    """Nodes that no suspect leads to on this machine."""
    cost: float
    """Expected seconds: the tree, then the best order found from where it ends."""
    best: float
    """Expected seconds of the best order found."""
    broken: tuple[str, ...]
    """Promises of the tree that it does not keep here."""
    asked: tuple[Asked, ...] = ()
    """Every node that is asked, in the order in which one comes to them."""

    @property
    def handed_share(self) -> float:
        """Chance that the tree hands over to the engine."""
        return sum(e.chance for e in self.handed)

    @property
    def wrong_share(self) -> float:
        """Chance of a wrong name that its own readings speak against."""
        return sum(e.missed for e in self.wrong)

    @property
    def together_share(self) -> float:
        """Chance that several repairs are left together and another leads."""
        return sum(e.missed for e in self.together)

    @property
    def nameless_share(self) -> float:
        """Chance that it ends without a repair."""
        return sum(e.chance for e in self.nameless)

    @property
    def ratio(self) -> float:
        """Cost as a multiple of the best order found."""
        return self.cost / self.best if self.best > 0 else 1.0

    @property
    def holds(self) -> bool:
        """Nothing unsafe, and every promise kept."""
        return not self.unsafe and not self.broken


@dataclass(frozen=True, slots=True)
class _Leaf:
    cell: Indices
    at: Walk
    evidence: tuple[Seen, ...]
    cost: float


@dataclass
class _Proving:
    bound: Bound
    answers: Answers
    planner: Planner
    complaint: str
    shows: NamedSituation
    rest: NamedSituation
    unsafe: dict[str, None] = field(default_factory=dict)
    told: dict[str, bool] = field(default_factory=dict)
    """Node asked: whether any answer to it ever parted suspects."""
    whole: float = 1.0
    """Chance beforehand of all suspects of the complaint."""
    spent: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    """Node asked: chance that one comes to it, expected seconds and bits."""

    def run(self) -> Proof:
        bound, machine = self.bound, self.bound.reasoner.machine
        scope = self.answers.scope(self.complaint, self.shows.situation)
        chance = np.zeros(len(machine.suspects))
        chance[scope.suspects] = scope.chance
        places = list({n.situation: n for n in self._places()}.values())
        order = Order(self.answers, self.planner, places, self._looked(), chance)
        leaves = list(self._walk(scope.suspects)) if len(scope.suspects) else []
        endings = [self._ending(leaf, order) for leaf in leaves]
        confirmed = [e for e in endings if e.kind == "confirm"]
        named = sum(e.chance - e.missed for e in confirmed)
        wrong = [e for e in confirmed if not e.fits]
        together = [e for e in confirmed if e.fits and e.missed > 0]
        cost = sum(e.chance * (e.cost + order.cost(leaf.cell)) for leaf, e in zip(leaves, endings, strict=True))
        groups = {machine.suspects[k].group for k in scope.suspects}
        proof = Proof(
            bound.tree.name, machine.name, len(scope.suspects), len(groups), float(named), tuple(wrong), tuple(together),
            tuple(e for e in endings if e.kind == "engine"), tuple(e for e in endings if e.kind == "end"),
            tuple(self.unsafe), tuple(n for n, tells in self.told.items() if not tells), self._idle(leaves), float(cost),
            order.shortest(scope.suspects), (), tuple(Asked(name, *numbers) for name, numbers in self.spent.items()),
        )  # fmt: skip
        return _judged(proof, bound.tree.promises)

    def _places(self) -> list[NamedSituation]:
        """Where the order to compare with may read: as a job would."""
        if self.complaint in UNBIDDEN:
            return [by_role(self.bound.reasoner.machine).get("stop held at rest", self.rest), self.rest]
        read = [f for f in self.bound.fitted.values() if isinstance(f.node, Measure | Halve) and not f.absent]
        here = [f.situation for f in read if not is_dead(self.bound.reasoner.machine, f.situation)]
        return [self.shows, self.rest, *here]

    def _looked(self) -> NamedSituation:
        return self.bound.start

    # -- walking ------------------------------------------------------------------------------------------------------

    def _walk(self, scope: Indices) -> Iterator[_Leaf]:
        """Every end of the tree with the suspects that come there."""
        first = self.answers.complaint(self.complaint, self.shows.situation)
        self.whole = float(self.bound.reasoner.prior[scope].sum())
        todo: list[tuple[Indices, tuple[Seen, ...], float, int, bool]] = [(scope, (first,), 0.0, 0, False)]
        while todo:
            cell, evidence, cost, count, looked = todo.pop()
            at = walk(self.bound, evidence, epoch=0, ahead=False)
            step = at.step
            assert step is not None
            if step.kind in ("confirm", "engine", "end") or count == MOST_STEPS:
                yield _Leaf(cell, at, evidence, cost)
                continue
            self._safe(step, cell, looked=looked)
            situation = step.situation.situation
            self.answers.prepare(step.items, situation)
            columns = [self.answers.said(item, situation) for item in step.items]
            parts: dict[tuple[str, ...], list[int]] = {}
            for k in cell:
                parts.setdefault(tuple(c[k] for c in columns), []).append(int(k))
            self.told[step.id] = self.told.get(step.id, False) or len(parts) > 1
            self._spend(step, cell, list(parts.values()))
            for said, suspects in parts.items():
                seen = tuple(
                    self.answers.seen(item, situation, one, batch=count + 2)
                    for item, one in zip(step.items, said, strict=True)
                )
                todo.append((
                    np.array(suspects, dtype=np.intp), (*evidence, *seen), cost + step.cost, count + 1,
                    looked or step.kind == "look",
                ))  # fmt: skip

    def _spend(self, step: Step, cell: Indices, parts: Sequence[Sequence[int]]) -> None:
        suspects, prior = self.bound.reasoner.machine.suspects, self.bound.reasoner.prior
        numbers = {name: k for k, name in enumerate(dict.fromkeys(suspects[k].group for k in cell))}
        at = {k: number for number, part in enumerate(parts) for k in part}
        weight = prior[cell]
        total = float(weight.sum())
        told = bits(
            np.array([at[k] for k in cell], dtype=np.intp),
            np.array([numbers[suspects[k].group] for k in cell], dtype=np.intp), weight / total,
        )  # fmt: skip
        comes = total / self.whole
        before = self.spent.get(step.id, (0.0, 0.0, 0.0))
        self.spent[step.id] = (before[0] + comes, before[1] + comes * step.cost, before[2] + comes * told)

    def _safe(self, step: Step, cell: Indices, *, looked: bool) -> None:
        """What is asked too early to be safe, in words."""
        machine = self.bound.reasoner.machine
        dead = is_dead(machine, step.situation)
        meters = [m for m in step.items if isinstance(m, Meter)]
        here = f"node {step.id}"
        if any(m.mode in NEEDS_DEAD for m in meters) and not dead:
            self.unsafe[f"{here}: ohms with the power on ({step.situation.name}); isolate first"] = None
        hands = [i for i in step.items if not isinstance(i, Meter) and by_hand(machine.circuit, i.name)]
        if hands and not dead:
            self.unsafe[
                f"{here}: hands in {hands[0].name} with the power on ({step.situation.name}); isolate first"
            ] = None
        if meters and not dead and not looked:
            self.unsafe[f"{here}: a live reading before anything was looked at"] = None
        if self.complaint in UNBIDDEN and not dead:
            starts = set(doings(machine).starts)
            if any(a.verb == "press" and a.device in starts for a in step.situation.situation.acts):
                self.unsafe[f"{here}: {self.complaint}, and it is run again ({step.situation.name})"] = None
            elif not looked and self._moves(step.situation.situation, cell):
                self.unsafe[
                    f"{here}: {self.complaint}, and the first thing asked is with the power on ({step.situation.name}), "
                    "where the motor may turn; look with the disconnect off first"
                ] = None  # fmt: skip

    def _moves(self, situation: Situation, cell: Indices) -> bool:
        table, picked = self.bound.reasoner.table(situation), self.answers.picked(situation)
        motors = [m.var for m in self.bound.reasoner.machine.net.motors]
        return any(s[m] in TURNS for k in cell for s in table.outcomes[picked[k]].states for m in motors)

    # -- what came of it ----------------------------------------------------------------------------------------------

    def _ending(self, leaf: _Leaf, order: Order) -> Ending:
        suspects, step = self.bound.reasoner.machine.suspects, leaf.at.step
        assert step is not None
        total: dict[str, float] = {}
        for k in leaf.cell:
            group = suspects[k].group
            total[group] = total.get(group, 0.0) + float(order.chance[k])
        groups = tuple(sorted(total, key=lambda g: -total[g]))
        belief = self.bound.reasoner.belief(leaf.evidence)
        leader = next(group for group, _ in self.bound.reasoner.groups(belief) if group != OUTSIDE)
        likeliest = self.bound.reasoner.likeliest(belief, leader)
        fits = leader in total or not self.bound.reasoner.misfits(leaf.evidence, likeliest)
        beside = np.flatnonzero((order.group == order.group[suspects.index(likeliest)]) & (order.chance > 0))
        test = order.choose(np.union1d(leaf.cell, beside) if fits else leaf.cell)
        chance = sum(total.values())
        return Ending(
            step.kind if step.kind in ("confirm", "end") else "engine", step.id, leaf.at.words,
            tuple(suspects[k].id for k in leaf.cell), groups, chance, chance - total.get(leader, 0.0), leaf.cost, leader, fits,
            f"{', '.join(map(_short, test.items[:3]))} {test.at.name}" if test is not None else "",
        )  # fmt: skip

    def _idle(self, leaves: Sequence[_Leaf]) -> tuple[str, ...]:
        passed = {name for leaf in leaves for name in leaf.at.path}
        absent = {name for (name, _), fitted in self.bound.fitted.items() if fitted.absent}
        reached = {name for name, _ in self.bound.fitted}
        return tuple(n for n in self.bound.tree.nodes if n in reached and n not in passed and n not in absent)


def _short(item: object) -> str:
    return str(item.red) if isinstance(item, Meter) else str(getattr(item, "name", item))


def prove(
    bound: Bound, *, complaint: str, shows: NamedSituation, rest: NamedSituation, answers: Answers, planner: Planner
) -> Proof:
    """Walk a bound tree under every suspect that shows a complaint.

    shows: the situation in which the complaint is seen; rest: nobody at the buttons. answers and planner may be shared by
    all proofs on one machine. Raises nothing.
    """
    return _Proving(bound, answers, planner, complaint, shows, rest).run()


def ends_of(
    bound: Bound, answers: Answers, complaint: str, shows: NamedSituation
) -> Iterator[tuple[Indices, tuple[str, ...]]]:
    """Suspects that a tree leads to a confirming test, with how each node on the way was left. Raises nothing."""
    proving = _Proving(bound, answers, Planner(bound.reasoner), complaint, shows, shows)
    scope = answers.scope(complaint, shows.situation)
    for leaf in proving._walk(scope.suspects) if len(scope.suspects) else ():
        if leaf.at.step is not None and leaf.at.step.kind == "confirm":
            yield leaf.cell, leaf.at.words


def _judged(proof: Proof, promises: Mapping[str, float]) -> Proof:
    broken = []
    if not proof.suspects:
        broken.append("no suspect of this machine shows the complaint")
    found = {"named": proof.named, "handed over": proof.handed_share, "cost": proof.ratio}
    for what, value in promises.items():
        if not proof.suspects:
            continue
        if what == "named" and found[what] < value - 5e-4:
            broken.append(f"named right {found[what]:.1%}, promised {value:.1%}")
        if what == "handed over" and found[what] > value + 5e-4:
            broken.append(f"handed over {found[what]:.1%}, promised at most {value:.1%}")
        if what == "cost" and found[what] > value + SAME_COST:
            broken.append(f"costs {found[what]:.2f} times the best order found, promised at most {value:g}")
    return replace(proof, broken=tuple(broken))
