"""A tree fitted to one machine: what each node asks there, what its labels mean there, where it leads.

A node is fitted once for every situation in which it can be reached. Nodes whose role the machine lacks are stepped over.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import NamedSituation, Pin, Situation
from troubleshoot.circuit.rows import BY_ROLE
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import shows
from troubleshoot.evidence.seen import Light, Look, Meter, Mode, Word
from troubleshoot.safety.doings import by_role
from troubleshoot.solve.meter import bulk, conductor
from troubleshoot.solve.meters import VOLTS
from troubleshoot.text.problem import Position, Problem, in_file_order, nearest
from troubleshoot.trees import model
from troubleshoot.trees.faces import Absent, Faces, Net, Unknown
from troubleshoot.trees.labels import Expect, Span, same
from troubleshoot.trees.model import CANNOT, ENGINE, OTHERWISE, FacePoint, Probe, Tree
from troubleshoot.trees.others import shifted_node, shifted_situation


@dataclass(frozen=True, slots=True)
class Label:
    """A branch as it stands on this machine."""

    words: str
    """As written in the tree."""
    word: str
    target: str
    item: int | None
    """Which item it speaks of; None: all of them (``as expected``)."""
    span: Span | None = None
    """Readings it covers; None for looks, lights and words that are no range."""
    shown: frozenset[str] = frozenset()
    """What a sign shows."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A node in one situation on this machine."""

    node: model.Node
    situation: NamedSituation
    items: tuple[Meter | Light | Look, ...] = ()
    labels: tuple[Label, ...] = ()
    expects: tuple[Expect, ...] = ()
    """Of a measure or halve node: what is healthy, one an item."""
    usual: tuple[frozenset[str], ...] = ()
    """Of a look or lights node: what a healthy machine may show, one set an item."""
    path: tuple[Pin, ...] = ()
    """Of a halve node: its pins in order; `items` are the readings at them."""
    chances: tuple[float, ...] = ()
    """Of a halve node: chance beforehand of what can fail between each pin and the one before it."""
    absent: str = ""
    """The role for whose want it is stepped over; empty: it is asked."""

    @property
    def id(self) -> str:
        return self.node.id

    def target(self, word: str) -> str:
        """Where `otherwise`, `cannot`, `found`, `all right` or an answer leads: label, then next, then the engine."""
        found = next((label.target for label in self.labels if label.item is None and label.word == word), None)
        if found is None and word not in (CANNOT, OTHERWISE):
            found = next((label.target for label in self.labels if label.word == OTHERWISE), None)
        return found or self.node.next or ENGINE

    def stepped(self) -> str:
        """Where it leads on a machine that lacks what it asks for."""
        return self.node.absent or self.target(OTHERWISE)


@dataclass(frozen=True)
class Bound:
    """A tree on one machine."""

    tree: Tree
    reasoner: Reasoner
    root: str
    start: NamedSituation
    fitted: Mapping[tuple[str, Situation], Fitted]
    """By node id (another tree's are ``tree/id``) and situation."""
    trees: Mapping[str, str] = field(default_factory=dict)
    """Name of a tree to the id of its root."""

    def named(self, name: str) -> NamedSituation:
        return _situations(self.reasoner)[name]

    def after(self, fitted: Fitted, at: NamedSituation) -> NamedSituation:
        """The situation that holds after a node."""
        return self.named(fitted.node.name) if isinstance(fitted.node, model.Operate) else at


def bind(tree: Tree, reasoner: Reasoner, others: Mapping[str, Tree] | None = None) -> Bound | tuple[Problem, ...]:
    """Fit a tree to the machine of `reasoner`, or say everything that does not fit.

    others: trees that a `go` node may name, by name. Problems carry the place in the tree's file. Raises nothing.
    """
    return _Binding(tree, reasoner, others or {}).run()


class _Binding:
    def __init__(self, tree: Tree, reasoner: Reasoner, others: Mapping[str, Tree]) -> None:
        self.tree, self.reasoner = tree, reasoner
        self.faces = Faces(reasoner)
        self.problems: list[Problem] = []
        self.fitted: dict[tuple[str, Situation], Fitted] = {}
        self.nodes: dict[str, model.Node] = dict(tree.nodes)
        self.roots = {tree.name: tree.root}
        self.others = others
        self.situations = _situations(reasoner)
        self.stands = dict(model.stands(tree))

    def run(self) -> Bound | tuple[Problem, ...]:
        circuit = self.reasoner.machine.circuit
        top = Position(self.tree.source, 1, 1)
        for role in self.tree.needs:
            if self.faces.tag(role) is None:
                self.problems.append(
                    Problem(top, f"tree {self.tree.name} needs a {role}, which {circuit.name} has not")
                )
        if self.tree.situation not in self.situations:
            near = nearest(self.tree.situation, self.situations)
            what = f"{circuit.name} has no situation {self.tree.situation!r}, in which tree {self.tree.name} begins"
            self.problems.append(Problem(top, what, near))
        if self.problems:
            return in_file_order(self.problems)
        start = self.situations[self.tree.situation]
        self._reach(self.tree.root, start)
        if self.problems:
            return in_file_order(self.problems)
        return Bound(
            self.tree, self.reasoner, self.tree.root, start, MappingProxyType(self.fitted), MappingProxyType(self.roots)
        )

    def _reach(self, root: str, start: NamedSituation) -> None:
        """Fit every node in every situation in which it can be reached."""
        todo = [(root, start)]
        while todo:
            name, at = todo.pop()
            if name == ENGINE or (name, at.situation) in self.fitted:
                continue
            node = self.nodes[name]
            wanted = node.name if isinstance(node, model.Operate) else node.situation
            if wanted in BY_ROLE and wanted not in self.situations and not isinstance(node, model.Confirm):
                plain = tuple(Label(b.label, b.word, b.target, None) for b in node.branches)
                fitted = self.fitted[name, at.situation] = Fitted(node, at, labels=plain, absent=wanted)
                todo.append((fitted.stepped(), at))
                continue
            here = self._situation(node, at)
            if here is None:
                continue
            fitted = self._fit(self._with_fitting_words(name, node, here), here)
            self.fitted[name, at.situation] = fitted
            if fitted.absent:
                todo.append((fitted.stepped(), at))
                continue
            after = at
            if isinstance(node, model.Operate):
                found = self._named(node.name, node)
                if found is None:
                    continue
                after = found
            if isinstance(node, model.Go):
                root_of = self._enter(node)
                if root_of is not None:
                    todo.append((root_of, at))
                continue
            leads = {label.target for label in fitted.labels} | ({node.next} if node.next else set())
            todo += [(target, after) for target in sorted(leads)]

    def _with_fitting_words(self, name: str, node: model.Node, here: NamedSituation) -> model.Node:
        """The node without its own words where it is reached in another situation than they were written for.

        By another tree that goes on here, or on a machine that lacks the situation on the way: words that are made say the
        situation that is on. "As you found it" is not asked while Start is held.
        """
        if not isinstance(node, model.Look | model.Lights | model.Measure | model.Halve) or not node.words:
            return node
        meant = {self.situations[n].situation for n in self.stands.get(name, ()) if n in self.situations}
        return node if here.situation in meant else replace(node, words="")

    def _enter(self, node: model.Go) -> str | None:
        """Id of the root of another tree, whose nodes join ours under its name."""
        if node.key in self.roots:
            return self.roots[node.key]
        other = self.others.get(node.tree)
        if other is None:
            what = f"node {node.id}: there is no tree {node.tree!r}"
            self.problems.append(Problem(node.at, what, nearest(node.tree, (*self.others, self.tree.name))))
            return None
        stands = model.stands(other)
        for name, found in other.nodes.items():
            renamed = _renamed(found, other, node.key)
            if node.devices:
                renamed = shifted_node(renamed, node.devices, self.reasoner.machine.circuit.roles, self.situations)
            self.nodes[f"{node.key}/{name}"] = renamed
            at = frozenset(shifted_situation(s, node.devices, self.situations) for s in stands.get(name, ()))
            self.stands[f"{node.key}/{name}"] = at
        self.roots[node.key] = f"{node.key}/{other.root}"
        return self.roots[node.key]

    def _named(self, name: str, node: model.Node) -> NamedSituation | None:
        situations = self.situations
        if name in situations:
            return situations[name]
        what = f"node {node.id}: {self.reasoner.machine.name} has no situation {name!r}"
        problem = Problem(node.at, what, nearest(name, situations))
        if problem not in self.problems:
            self.problems.append(problem)
        return None

    def _situation(self, node: model.Node, at: NamedSituation) -> NamedSituation | None:
        if not node.situation:
            return at
        if isinstance(node, model.Confirm) and node.situation not in self.situations:
            return at
        return self._named(node.situation, node)

    # -- one node -----------------------------------------------------------------------------------------------------

    def _fit(self, node: model.Node, at: NamedSituation) -> Fitted:
        match node:
            case model.Look() | model.Lights():
                return self._signs(node, at)
            case model.Measure():
                return self._measure(node, at)
            case model.Halve():
                return self._halve(node, at)
            case _:
                labels = tuple(Label(b.label, b.word, b.target, None) for b in node.branches)
                return Fitted(node, at, labels=labels)

    def _wrong(self, node: model.Node, what: str, near: str | None = None, at: Position | None = None) -> None:
        problem = Problem(at or node.at, f"node {node.id}: {what}", near)
        if problem not in self.problems:
            self.problems.append(problem)

    def _signs(self, node: model.Look | model.Lights, at: NamedSituation) -> Fitted:
        want = "look" if isinstance(node, model.Look) else "light"
        names: dict[str, None] = {}
        of_item: dict[str, tuple[str, ...]] = {}
        wanted = [*map(str, node.items), *(b.item for b in node.branches if b.item)]
        for item in dict.fromkeys(wanted):
            of_item[item] = self._named_signs(item, want)
            names |= dict.fromkeys(of_item[item])
        items: tuple[Light | Look, ...] = tuple(Look(n) if want == "look" else Light(n) for n in names)
        if not items:
            labels = tuple(Label(b.label, b.word, b.target, None) for b in node.branches if not b.item)
            return Fitted(node, at, labels=labels, absent=", ".join(map(str, node.items)))
        order = list(names)
        table = self.reasoner.table(at.situation)
        healthy = [
            o for o, owner in zip(table.outcomes, table.owner, strict=True) if owner == table.owner[table.healthy]
        ]
        net = self.reasoner.machine.net
        usual = tuple(frozenset(shows(net.signs[n], o) for o in healthy) for n in order)
        labels_out: list[Label] = []
        for b in node.branches:
            if not b.item:
                labels_out.append(Label(b.label, b.word, b.target, None))
                continue
            about, word = self._one_light(b.item, b.word, of_item[b.item])
            known = {s for n in about for s in net.signs[n].shows.values()}
            told = word in known or word == Word.UNSTEADY.value
            if about and not told and all(self._own_positions(n) for n in about):
                # Positions are this machine's own words; a tree may name one that only others have.
                continue
            if about and not told:
                self._wrong(node, f"{b.item} never shows {word!r}: {', '.join(sorted(known))}", nearest(word, known),
                            b.at)  # fmt: skip
            # What a further device of the role shows on a healthy machine says nothing: the second contactor is out.
            about = tuple(n for k, n in enumerate(about) if k == 0 or word not in usual[order.index(n)])
            labels_out += [
                Label(b.label, word, b.target, order.index(n), shown=frozenset({word}))
                for n in about
                if word in {*net.signs[n].shows.values(), Word.UNSTEADY.value}
            ]
        return Fitted(node, at, items, tuple(labels_out), usual=usual)

    def _named_signs(self, item: str, want: str) -> tuple[str, ...]:
        """Names of the machine's signs that an item of a look or lights node means; empty where it has none."""
        machine = self.reasoner.machine
        signs = machine.net.signs
        if item == "all":
            return tuple(n for n, s in signs.items() if s.kind == want)
        for which in ("input", "output"):
            if item.startswith(f"{which} of "):
                role = item.removeprefix(f"{which} of ")
                found = self.faces.pin(model.WiredPoint("input" if which == "input" else "output", role), Situation())
                if not isinstance(found, Pin):
                    return ()
                name = f"{found.device} {found.pin}"
                return (name,) if name in signs else ()
        which, _, role = item.partition(" of ")
        if which in model.WHICH:
            return tuple(name for tag in self.faces.tags(role) if (name := f"{tag} {which}") in signs)
        out: list[str] = []
        for tag in self.faces.tags(item):
            device = machine.circuit.devices[tag]
            out += [s.name for s in KINDS[device.kind].signs(device) if s.kind == want]
        return tuple(out)

    def _own_positions(self, sign: str) -> bool:
        """Whether what a sign shows is named in the circuit file: a selector."""
        device = self.reasoner.machine.circuit.devices.get(sign)
        return device is not None and device.kind == "selector"

    def _one_light(self, role: str, word: str, signs: tuple[str, ...]) -> tuple[tuple[str, ...], str]:
        """Of ``plc RUN off`` the light ``A1 RUN`` and ``off``; otherwise all of the role's signs and the word itself."""
        tag = self.faces.tag(role)
        for name in signs:
            mark = name.removeprefix(f"{tag} ")
            if mark != name and word.startswith(f"{mark} "):
                return (name,), word.removeprefix(f"{mark} ")
        return signs, word

    # -- readings -----------------------------------------------------------------------------------------------------

    def _meter(
        self, node: model.Measure | model.Halve, probe: Probe, black: Pin | None, at: NamedSituation
    ) -> Meter | Absent | None:
        """The reading that a probe means here; None with a problem."""
        situation = at.situation
        mode = node.mode if isinstance(node, model.Measure) else None
        red: Pin | Absent | Unknown
        if isinstance(probe.red, FacePoint) and not probe.red.side and probe.black is None:
            pair = self.faces.pair(probe.red)
            if not isinstance(pair, tuple):
                return self._missing(node, pair)
            hot, cold = self.faces.sides(pair, situation)
            return Meter(mode or _volts(self.faces.net(hot, situation)), hot, cold)
        red = self.faces.pin(probe.red, situation)
        if not isinstance(red, Pin):
            return self._missing(node, red)
        if probe.black is not None:
            other = self.faces.pin(probe.black, situation)
            if not isinstance(other, Pin):
                return self._missing(node, other)
            black = other
        if mode == "amps":
            return self._clamp(node, red)
        fed = self.faces.feeding(probe.red, red, situation)
        kind = self.faces.net(fed, situation)
        black = black or self.faces.reference(fed, kind, situation)
        if black is None:
            self._wrong(node, f"no source feeds {probe.red} ({red}); say what the black lead is on with 'against'")
            return None
        return Meter(mode or _volts(kind), red, black)

    def _clamp(self, node: model.Measure | model.Halve, red: Pin) -> Meter | None:
        net = self.reasoner.machine.net
        for hop in self.reasoner.machine.circuit.hops:
            for a, b in ((hop.a, hop.b), (hop.b, hop.a)):
                if a == red and b.device != red.device and conductor(net, a, b) is not None:
                    return Meter("amps", a, b)
        self._wrong(node, f"no conductor leaves {red} for the clamp")
        return None

    def _missing(self, node: model.Node, found: Absent | Unknown) -> Absent | None:
        if isinstance(found, Absent):
            return found
        self._wrong(node, found.what, found.near)
        return None

    def _black(self, node: model.Measure | model.Halve, at: NamedSituation) -> Pin | Absent | None:
        if node.against is None:
            return None
        found = self.faces.pin(node.against, at.situation)
        return found if isinstance(found, Pin) else self._missing(node, found)

    def _measure(self, node: model.Measure, at: NamedSituation) -> Fitted:
        black = self._black(node, at)
        plain = tuple(Label(b.label, b.word, b.target, None) for b in node.branches if b.word in (OTHERWISE, CANNOT))
        if isinstance(black, Absent):
            return Fitted(node, at, labels=plain, absent=black.role)
        items: list[Meter] = []
        names: list[str] = []
        for k, probe in enumerate(node.probes):
            # What the first point is held against holds for the trip: the black lead stays parked.
            parked = black or (items[0].black if items and probe.black is None and not _across(probe) else None)
            meter = self._meter(node, probe, parked, at)
            if isinstance(meter, Absent) and k == 0:
                return Fitted(node, at, labels=plain, absent=meter.role)
            if isinstance(meter, Meter):
                items.append(meter)
                names.append(str(probe))
        expects = self._expect(items, at)
        labels: list[Label] = []
        for b in node.branches:
            if b.word in (OTHERWISE, CANNOT):
                labels.append(Label(b.label, b.word, b.target, None))
                continue
            if b.item and b.item not in names:
                continue
            item = names.index(b.item) if b.item else None if b.word == "as expected" else 0
            expect = expects[item or 0] if expects else None
            if expect is None:
                continue
            if expect.floating and b.low is None and b.word != "unsteady":
                self._wrong(node, f"nothing holds {items[item or 0].red} on a healthy machine in this situation, so "
                                  f"{b.label!r} means nothing here", None, b.at)  # fmt: skip
            span = expect.span(b.word) if b.low is None else Span(b.low, b.high if b.high is not None else b.low)
            labels.append(Label(b.label, b.word, b.target, item, span))
        self._coincide(node, labels, expects)
        return Fitted(node, at, tuple(items), tuple(labels), expects)

    def _coincide(self, node: model.Measure, labels: list[Label], expects: tuple[Expect, ...]) -> None:
        for k, one in enumerate(labels):
            for two in labels[k + 1 :]:
                if one.span is None or two.span is None or (one.item or 0) != (two.item or 0):
                    continue
                if all_and_one(one, two):
                    continue
                expect = expects[one.item or 0]
                top = 1.3 * max(expect.scale, abs(expect.value) if np.isfinite(expect.value) else 0.0, 1.0)
                if same(one.span, two.span, top):
                    value = "OL" if np.isinf(expect.value) else f"{abs(expect.value):.0f} {expect.unit}"
                    self._wrong(node, f"{one.words!r} and {two.words!r} are the same reading here ({value})")

    def _expect(self, items: list[Meter], at: NamedSituation) -> tuple[Expect, ...]:
        """What the healthy machine reads; solved for it alone."""
        wiring = self.faces.wiring(at.situation)
        out: dict[int, Expect] = {}
        for mode in dict.fromkeys(m.mode for m in items):
            chosen = [(k, m) for k, m in enumerate(items) if m.mode == mode]
            table = bulk(self.reasoner.machine.net, [wiring.network], mode, [(m.red, m.black) for _, m in chosen])
            for row, (k, _) in enumerate(chosen):
                value = float(table.value[row][0])
                scale = 0.0 if mode not in VOLTS else wiring.scale["dc" if mode == "dc volts" else "ac"]
                if mode == "amps":
                    scale = max((float(v[0]) for v in table.value), default=0.0)
                out[k] = Expect(mode, value, scale, bool(table.floating[row][0]))
        return tuple(out[k] for k in range(len(items)))

    def _halve(self, node: model.Halve, at: NamedSituation) -> Fitted:
        plain = tuple(Label(b.label, b.word, b.target, None) for b in node.branches)
        path = self.faces.path(node.start, node.end, at.situation)
        black = self._black(node, at)
        for found in (path, black):
            if isinstance(found, Absent):
                return Fitted(node, at, labels=plain, absent=found.role)
        if isinstance(path, Unknown):
            self._wrong(node, path.what, path.near)
            return Fitted(node, at, labels=plain)
        assert isinstance(path, tuple)
        fed = self.faces.feeding(node.end, path[-1], at.situation)
        kind = self.faces.net(fed, at.situation)
        parked = black if isinstance(black, Pin) else self.faces.reference(fed, kind, at.situation)
        if parked is None:
            self._wrong(node, f"no source feeds {path[-1]}; say what the black lead is on with 'against'")
            return Fitted(node, at, labels=plain)
        items = [Meter(_volts(kind), pin, parked) for pin in path if pin != parked]
        path = tuple(m.red for m in items)
        expects = self._expect(items, at)
        if any(e.floating for e in expects):
            self._wrong(node, "part of the path is held by nothing on a healthy machine in this situation")
        chances = tuple(self.faces.chance(a, b) for a, b in pairwise((None, *path)))
        return Fitted(node, at, tuple(items), plain, expects, path=path, chances=chances)


def _situations(reasoner: Reasoner) -> Mapping[str, NamedSituation]:
    """What a tree may name: the situations of the circuit file, and those that follow from roles where it names none."""
    return {**by_role(reasoner.machine), **reasoner.machine.circuit.situations}


def all_and_one(one: Label, two: Label) -> bool:
    """Whether one label says of all readings what the other says of one: the first one that fits is taken, they are no rivals."""
    return one.word == two.word and (one.item is None) != (two.item is None)


def _across(probe: Probe) -> bool:
    return isinstance(probe.red, FacePoint) and not probe.red.side


def _volts(kind: Net) -> Mode:
    return "ac volts" if kind == "ac" else "dc volts"


def _renamed(node: model.Node, tree: Tree, key: str) -> model.Node:
    """A node of another tree, its own name and its targets put under the tree's name."""

    def under(name: str) -> str:
        return f"{key}/{name}" if name in tree.nodes else name

    branches = tuple(replace(b, target=under(b.target)) for b in node.branches)
    return replace(
        node, id=under(node.id), next=under(node.next) if node.next else "", branches=branches,
        absent=under(node.absent) if node.absent else "",
    )  # fmt: skip
