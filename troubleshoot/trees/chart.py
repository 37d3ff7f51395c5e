"""A tree bound to one machine as steps on paper: what to do, where, what should be there, what is dangerous, where each answer leads.

On paper nobody computes: nodes whose role is absent are gone, acts stand with the steps that they hold for, points are the
machine's own terminals, and where a step leads to the confirming test it says what it then most likely is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from troubleshoot.circuit.kinds import by_hand
from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.diagnosis.confirm import is_dead
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.evidence.told import QUESTIONS
from troubleshoot.safety.caution import Caution, caution
from troubleshoot.safety.isolation import IsolationStep, isolation
from troubleshoot.solve.meters import RANGES, unit_of
from troubleshoot.trees import model
from troubleshoot.trees.answers import Answers
from troubleshoot.trees.bind import Bound, Fitted, Label
from troubleshoot.trees.model import ALL_RIGHT, CANNOT, ENGINE, FOUND, OTHERWISE
from troubleshoot.trees.prove import ends_of

SAME_VALUE: Final = 0.02
NAMED: Final = 3
"""Likeliest repairs that are named beside an exit to the confirming test."""
LIMIT: Final = "Over "
"""How the fact of a caution begins that says when to stop."""
LIMIT_OF_STEP: Final = "Over the volts that a step says, damage, heat, damp, a doubt: stop and call."
CONFIRM: Final = "C"
NO_MORE: Final = "E"
WARNING: Final = (
    "Computed for this machine from its description. Not a substitute for site rules, local codes, or a licence."
)
HALVING: Final = (
    "HALVE: read the middle point first, then the middle of the half where it stops being right. Found is the wire or contact "
    "between the last point that is right and the first that is not."
)
NOT_ON_PAPER: Final = "No further step on paper: take up the job in the program with all readings, or call."

Key = tuple[str, tuple[object, ...]]


@dataclass(frozen=True, slots=True)
class Exit:
    """One answer and where it leads."""

    label: str
    to: str
    """A step's mark, or words in full where it leads off this chart."""
    names: tuple[str, ...] = ()
    """What it then most likely is, likeliest first."""


@dataclass(frozen=True, slots=True)
class Step:
    """One box."""

    mark: str
    """What other boxes call it: a number, C for the confirming test, E where there is no further step."""
    title: str
    place: str
    """How the machine stands, and where it is done; empty where that does not matter."""
    do: tuple[str, ...]
    """Sentences."""
    rows: tuple[tuple[str, str], ...] = ()
    """What is read or looked at, and what should be there."""
    danger: tuple[str, ...] = ()
    """The caution of a live step, worst first; of a dead one that it is dead."""
    live: bool = False
    exits: tuple[Exit, ...] = ()
    node: str = ""


@dataclass(frozen=True, slots=True)
class Chart:
    """All of it."""

    title: str
    tree: str
    machine: str
    always: tuple[str, ...]
    """What every live step's caution says; what a single one adds stands with it."""
    steps: tuple[Step, ...]
    foot: tuple[str, ...]
    """Version, hashes, date, whose rules come first."""


def chart_of(bound: Bound, *, complaint: str, shows: NamedSituation, version: str, tree_hash: str, date: str) -> Chart:
    """The chart of a bound tree. shows: where the complaint is seen. Pure; raises nothing."""
    return _Charting(bound, complaint, shows).run(version, tree_hash, date)


@dataclass
class _Charting:
    bound: Bound
    complaint: str
    shows: NamedSituation
    order: dict[Key, list[Fitted]] = field(default_factory=dict)
    """Nodes in the order of the boxes, each with all situations in which it can be reached."""
    marks: dict[Key, str] = field(default_factory=dict)
    asked: list[tuple[str, str, str]] = field(default_factory=list)
    """Node, exit and repair of every end at the confirming test, likeliest first."""
    facts: dict[Key, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    limits: dict[Key, tuple[str, str]] = field(default_factory=dict)
    """Of each live step from how many volts on to stop and call, in full and in a few words."""
    ends: set[str] = field(default_factory=set)

    def run(self, version: str, tree_hash: str, date: str) -> Chart:
        bound = self.bound
        self._visit()
        self._cautions()
        self._name()
        steps = [self._step(key, fitted) for key, fitted in self.order.items()]
        if CONFIRM in self.ends:
            steps.append(self._confirm())
        if NO_MORE in self.ends:
            steps.append(Step(NO_MORE, "NOT ON PAPER", "", (NOT_ON_PAPER,)))
        circuit = bound.reasoner.machine.circuit
        foot = (
            WARNING,
            f"tree {bound.tree.name} {tree_hash[:12]} - machine {circuit.name} {bound.reasoner.machine.content[:12]} - "
            f"troubleshoot {version} - {date}",
        )
        return Chart(
            bound.tree.title or bound.tree.name, bound.tree.name, circuit.title or circuit.name,
            (*(full for full, _ in self._common()), *self._limit()), tuple(steps), foot,
        )  # fmt: skip

    # -- the way through ----------------------------------------------------------------------------------------------

    def _resolve(self, name: str, at: NamedSituation) -> tuple[str, NamedSituation] | str:
        """The node that is asked next with the situation it is asked in, or a mark, or words that lead off the chart."""
        while True:
            if name == ENGINE:
                return NO_MORE
            fitted = self.bound.fitted[name, at.situation]
            match fitted.node:
                case _ if fitted.absent:
                    name = fitted.stepped()
                case model.Operate():
                    name, at = fitted.target(OTHERWISE), self.bound.after(fitted, at)
                case model.Confirm():
                    return CONFIRM
                case model.Go(key=key):
                    return f"chart {key}"
                case _:
                    return name, at

    def _exits(self, fitted: Fitted, at: NamedSituation) -> Iterator[tuple[str, tuple[str, NamedSituation] | str]]:
        """Every exit with its words."""
        if isinstance(fitted.node, model.Engine | model.End):
            return
        found: dict[str, tuple[str, NamedSituation] | str] = {}
        for label in fitted.labels:
            if label.word not in (OTHERWISE, CANNOT):
                found.setdefault(self._label(fitted, label), self._resolve(label.target, at))
        if isinstance(fitted.node, model.Halve):
            found.setdefault("found", self._resolve(fitted.target(FOUND), at))
            found.setdefault("all right", self._resolve(fitted.target(ALL_RIGHT), at))
        other = self._resolve(fitted.target(OTHERWISE), at)
        none = self._resolve(fitted.target(CANNOT), at)
        if isinstance(fitted.node, model.Ask):
            none = other
        if not isinstance(fitted.node, model.Halve):
            both = other == none
            found["then" if not found and both else "otherwise" if found else "read"] = other
            if not both:
                found["cannot"] = none
        elif none not in found.values():
            found["cannot"] = none
        yield from found.items()

    def _visit(self) -> None:
        """Depth first, the way on before the ways aside, so that most boxes lead to the one below."""
        first = self._resolve(self.bound.root, self.bound.start)
        if isinstance(first, str):
            self.ends.add(first)
            return
        todo = [first]
        while todo:
            name, at = todo.pop()
            fitted = self.bound.fitted[name, at.situation]
            key = self._key(fitted)
            if fitted in self.order.get(key, ()):
                continue
            self.order.setdefault(key, []).append(fitted)
            self.marks.setdefault(key, str(len(self.marks) + 1))
            ways = [to for _, to in self._exits(fitted, at)]
            self.ends |= {to for to in ways if isinstance(to, str)}
            todo += [to for to in ways if not isinstance(to, str)]

    def _key(self, fitted: Fitted) -> Key:
        return fitted.node.id, fitted.items

    def _mark(self, to: tuple[str, NamedSituation] | str) -> str:
        if isinstance(to, str):
            return to
        name, at = to
        return self.marks[self._key(self.bound.fitted[name, at.situation])]

    # -- what it most likely is ---------------------------------------------------------------------------------------

    def _name(self) -> None:
        if self.complaint not in self.bound.reasoner.machine.circuit.complaints:
            return
        suspects, prior = self.bound.reasoner.machine.suspects, self.bound.reasoner.prior
        total: dict[tuple[str, str, str], float] = {}
        for cell, words in ends_of(self.bound, Answers(self.bound.reasoner), self.complaint, self.shows):
            node, _, said = words[-1].partition(": ") if words else ("", "", "")
            for k in cell:
                name = (node, said.partition(" (it could")[0], suspects[k].group)
                total[name] = total.get(name, 0.0) + float(prior[k])
        self.asked = sorted(total, key=lambda name: -total[name])

    def _names(self, node: str, words: str, tag: str) -> tuple[str, ...]:
        """Likeliest first; before them whatever the answer itself shows, since one label may stand for several devices."""
        names = [group for at, said, group in self.asked if at == node and said == words]
        return tuple(sorted(names, key=lambda group: not tag or tag not in group.split()))[:NAMED]

    # -- boxes --------------------------------------------------------------------------------------------------------

    def _step(self, key: Key, several: Sequence[Fitted]) -> Step:
        fitted, node = several[0], several[0].node
        exits = []
        said = {self._label(fitted, label): label.words for label in fitted.labels}
        shown = {
            self._label(fitted, label): item.name.partition(" ")[0]
            for label in fitted.labels
            if label.item is not None and not isinstance(item := fitted.items[label.item], Meter)
        }
        for words, to in self._exits(fitted, self._before(fitted)):
            raw = said.get(words, CANNOT if words == "cannot" else OTHERWISE)
            names = self._names(node.id, raw, shown.get(words, "")) if to == CONFIRM and words != "found" else ()
            exits.append(Exit(words, self._mark(to), names))
        default = next((e.to for e in exits if e.label == "otherwise"), "")
        exits = [e for e in exits if e.label in ("otherwise", "cannot") or e.to != default or e.names]
        if exits and all(e.to == exits[0].to and not e.names for e in exits):
            exits = [Exit("then", exits[0].to)]
        return Step(
            self.marks[key], self._title(fitted), self._place(fitted, several), self._do(fitted), self._rows(fitted), self._danger(key, fitted),
            self._is_live(fitted), tuple(exits), node.id,
        )  # fmt: skip

    def _before(self, fitted: Fitted) -> NamedSituation:
        """A situation from which this node is reached: its own, or the one that holds around it."""
        return next(
            (
                self._named(at)
                for (name, at), one in self.bound.fitted.items()
                if name == fitted.node.id and one is fitted
            ),
            fitted.situation,
        )

    def _named(self, situation: object) -> NamedSituation:
        for one in self.bound.fitted.values():
            if one.situation.situation == situation:
                return one.situation
        return self.bound.start

    def _title(self, fitted: Fitted) -> str:
        match fitted.node:
            case model.Look():
                return "LOOK"
            case model.Lights():
                return "LIGHTS"
            case model.Measure():
                return "MEASURE"
            case model.Halve():
                return "HALVE"
            case model.Ask():
                return "ASK"
            case model.End():
                return "END"
            case _:
                return "STOP HERE"

    def _place(self, fitted: Fitted, several: Sequence[Fitted]) -> str:
        """How the machine stands, and where it is done."""
        if isinstance(fitted.node, model.Ask | model.Engine | model.End):
            return ""
        circuit = self.bound.reasoner.machine.circuit
        tags = [i.red.device for i in fitted.items if isinstance(i, Meter)]
        places = dict.fromkeys(circuit.places[circuit.devices[tag].place].words for tag in tags)
        stands = list(dict.fromkeys(one.situation.words for one in several))
        return ", at ".join(filter(None, (_capital(" or ".join(stands)), ", ".join(p for p in places if p))))

    def _do(self, fitted: Fitted) -> tuple[str, ...]:
        node = fitted.node
        out: list[str] = []
        if isinstance(node, model.Ask):
            return (QUESTIONS[node.question].words,)
        if isinstance(node, model.Engine | model.End):
            return (node.words, NOT_ON_PAPER) if isinstance(node, model.Engine) else (node.words,)
        if node.words:
            out.append(node.words)
        meters = [i for i in fitted.items if isinstance(i, Meter)]
        if meters:
            out += _leads(meters)
        return tuple(out)

    def _rows(self, fitted: Fitted) -> tuple[tuple[str, str], ...]:
        reasoner = self.bound.reasoner
        out: list[tuple[str, str]] = []
        blacks = {m.black for m in fitted.items if isinstance(m, Meter)}
        for k, item in enumerate(fitted.items):
            if isinstance(item, Meter):
                words = reasoner.expected(item, fitted.situation.situation).words
                point = str(item.red) if len(blacks) == 1 or item.mode == "amps" else f"{item.red} - {item.black}"
                out.append(
                    (point, f"{words} {unit_of(item.mode)}" if words[:1].isdigit() and words[-1].isdigit() else words)
                )
            else:
                usual = " or ".join(sorted(fitted.usual[k])) if fitted.usual else ""
                out.append((item.name, usual))
        if isinstance(fitted.node, model.Halve):
            values = [abs(e.value) for e in fitted.expects]
            return _runs(out, values)
        return tuple(out)

    def _label(self, fitted: Fitted, label: Label) -> str:
        """An exit as it stands on this machine."""
        if isinstance(fitted.node, model.Ask):
            answers = {said.id: said.words for said in QUESTIONS[fitted.node.question].answers}
            return answers.get(label.word, label.words)
        if label.item is None:
            return label.words
        item = fitted.items[label.item]
        if isinstance(item, Meter):
            unit, span = unit_of(item.mode), label.span
            name = f"{item.red} " if len(fitted.items) > 1 else ""
            if span is None:
                return f"{name}{label.word}"
            if math.isinf(span.high):
                return f"{name}{label.word} (over {span.low:.3g} {unit})"
            if span.low <= 0:
                return f"{name}{label.word if not label.word[-1].isdigit() else 'low'} (under {span.high:.2g} {unit})"
            return f"{name}{label.word} ({span.low:.3g}-{span.high:.3g} {unit})"
        return f"{item.name} {label.word}"

    # -- cautions -----------------------------------------------------------------------------------------------------

    def _is_live(self, fitted: Fitted) -> bool:
        meters = any(isinstance(i, Meter) for i in fitted.items)
        return meters and not is_dead(self.bound.reasoner.machine, fitted.situation)

    def _cautions(self) -> None:
        for key, several in self.order.items():
            found = [one for fitted in several if self._is_live(fitted) for one in self._cautions_of(fitted)]
            if not found:
                continue
            worst = max(found, key=lambda c: c.volts)
            facts = dict(zip(worst.facts, worst.brief, strict=True))
            for other in found:  # what can move in another situation, or at another point, in which it is read here
                facts |= {
                    f: b for f, b in zip(other.facts, other.brief, strict=True) if f in other.moves and f not in facts
                }
            self.facts[key] = tuple(
                (full, brief or full) for full, brief in facts.items() if not full.startswith(LIMIT)
            )
            self.limits[key] = next((full, brief) for full, brief in facts.items() if full.startswith(LIMIT))

    def _cautions_of(self, fitted: Fitted) -> Iterator[Caution]:
        """One of a node as it is read: of a halving every point by itself."""
        meters = [i for i in fitted.items if isinstance(i, Meter)]
        at = fitted.situation
        for some in ([m] for m in meters) if isinstance(fitted.node, model.Halve) else (meters,):
            yield caution(self.bound.reasoner, some, at.situation, person="", hands=at.hands)

    def _one_limit(self) -> bool:
        return len(set(self.limits.values())) == 1

    def _limit(self) -> tuple[str, ...]:
        """From how many volts on to stop and call; with each step where they differ, since 24 V here is 400 V there."""
        if self._one_limit():
            return (next(iter(self.limits.values()))[0],)
        return (LIMIT_OF_STEP,) if self.limits else ()

    def _common(self) -> tuple[tuple[str, str], ...]:
        every = list(self.facts.values())
        # The volts at the points stand with every step, whatever they are.
        return tuple(fact for fact in every[0][1:] if all(fact in facts for facts in every[1:])) if every else ()

    def _danger(self, key: Key, fitted: Fitted) -> tuple[str, ...]:
        if key in self.facts:
            common = self._common()
            own = [brief for full, brief in self.facts[key] if (full, brief) not in common]
            own += [] if self._one_limit() else [self.limits[key][1].removesuffix(" or in doubt stop") + ": stop"]
            level = self.facts[key][0][0].partition(":")[0]
            return (f"LIVE. {level}: {'; '.join(own)}." if own else f"LIVE. {level}: as said for every live step.",)
        machine = self.bound.reasoner.machine
        hands = any(by_hand(machine.circuit, i.name) for i in fitted.items if isinstance(i, Light | Look))
        if hands or any(isinstance(i, Meter) for i in fitted.items):
            return (f"DEAD: first all of {CONFIRM}, dead test included.",)
        if (
            isinstance(fitted.node, model.Look | model.Lights)
            and fitted.situation.situation.acts
            and not is_dead(machine, fitted.situation)
        ):
            return ("IT MAY START. Stand clear of the drive.",)
        return ()

    def _confirm(self) -> Step:
        plan = isolation(self.bound.reasoner, ())
        words = [f"{s.words.rstrip('.')}{_probed(s)}" for s in plan.steps]
        live = (f"STILL LIVE then: {', '.join(map(str, plan.stays_live))}.",) if plan.stays_live else ()
        return Step(
            CONFIRM, "CONFIRM", "locked off and dead",
            (
                "Before hands go in, before ohms and before anything is replaced:",
                *(f"{k}. {one}." for k, one in enumerate(words, 1)),
                "Then the part that is named, by ohms, one side lifted: only what reads wrong is replaced.",
                "After it: tools, leads and lifted wires away, prove every stop by itself, then hand back.",
            ),
            danger=live,
        )  # fmt: skip


def _leads(meters: Sequence[Meter]) -> Iterator[str]:
    """How the meter is set and where its black lead is."""
    blacks = {m.black for m in meters}
    if meters[0].mode == "amps":
        yield "Clamp, one wire at a time."
    else:
        on = f"black on {meters[0].black}, red on:" if len(blacks) == 1 else "between:"
        yield f"{RANGES[meters[0].mode].words}, {on}"


def _probed(step: IsolationStep) -> str:
    """The points of a step that is read, as on its card in a job: range, then red probes by the point of the black one."""
    if not step.readings:
        return ""
    blacks: dict[Pin, list[Pin]] = {}
    for meter in step.readings:
        blacks.setdefault(meter.black, []).append(meter.red)
    points = "; ".join(f"{', '.join(map(str, reds))} to {black}" for black, reds in blacks.items())
    live = f", about {abs(step.expects[0]):.0f} V" if step.expects[0] else ""
    return f". {RANGES[step.readings[0].mode].words}: {points}{live}"


def _runs(rows: Sequence[tuple[str, str]], values: Sequence[float]) -> tuple[tuple[str, str], ...]:
    """Points of a path in order, those that should read the same within two in a hundred in one row."""
    out: list[tuple[str, str]] = []
    first = math.nan
    for (point, should), value in zip(rows, values, strict=True):
        if out and (should == out[-1][1] or abs(value - first) <= SAME_VALUE * first):
            out[-1] = (f"{out[-1][0]} > {point}", out[-1][1])
        else:
            out.append((point, should))
            first = value
    return tuple(out)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


__all__ = ["Chart", "Exit", "Step", "chart_of"]
