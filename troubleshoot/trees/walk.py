"""Where one stands in a tree: walked from the root over what was seen, to the first gap. No place is ever stored.

Leaving a tree is answering something else; coming back, resuming, handing over and undoing are this one function.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Final

import numpy as np

from troubleshoot.circuit.kinds import by_hand
from troubleshoot.circuit.model import Circuit, NamedSituation, Pin
from troubleshoot.diagnosis.reasoner import Reasoner, Repaired
from troubleshoot.diagnosis.step import Step, StepKind, unseen
from troubleshoot.evidence.likelihood import likelihood
from troubleshoot.evidence.seen import Light, Look, Meter, Seen, Told, Word
from troubleshoot.solve.meters import NEEDS_DEAD
from troubleshoot.trees import halving, model
from troubleshoot.trees.ahead import look_ahead
from troubleshoot.trees.bind import Bound, Fitted, Label, all_and_one
from troubleshoot.trees.labels import EDGE, in_span
from troubleshoot.trees.model import ALL_RIGHT, CANNOT, ENGINE, FOUND, NONE_RIGHT, OTHERWISE

READING_S: Final = 20.0
SIGN_S: Final = 3.0
HANDS_S: Final = 30.0
DOOR_S: Final = 30.0
BY_HAND_S: Final = 120.0
"""Seconds of a careful person for a reading, a look, a helper, an enclosure, a gauge with the cover off. Common practice, no published source."""

What = Meter | Light | Look


@dataclass(frozen=True, slots=True)
class Walk:
    """The place in a tree."""

    step: Step | None
    """What to ask next; kinds confirm, engine and end are the last. None never occurs in a bound tree without loops."""
    path: tuple[str, ...]
    """Node ids from the root to the step; nodes stepped over are left out."""
    words: tuple[str, ...]
    """How each node on the way was left: ``coil: nothing``, with a word on readings that lie in two sets."""


def walk(
    bound: Bound,
    evidence: Sequence[Seen],
    *,
    cannot: AbstractSet[Pin | str] = frozenset(),
    epoch: int | None = None,
    repaired: Sequence[Repaired] = (),
    ahead: bool = True,
) -> Walk:
    """Walk a bound tree over the evidence that stands (nothing retracted in it) to the first gap.

    cannot: pins that cannot be reached, lights and looks that cannot be seen, by name or as `unseen` has them. epoch: the one that counts; by
    default the latest in the evidence. repaired: as for `Reasoner.belief`. ahead: whether the step says what each result of
    its readings would mean, which takes longer than all the rest. Raises nothing.
    """
    return _Walker(bound, evidence, cannot, epoch, repaired, look_further=ahead).run()


class _Walker:
    def __init__(
        self,
        bound: Bound,
        evidence: Sequence[Seen],
        cannot: AbstractSet[Pin | str],
        epoch: int | None,
        repaired: Sequence[Repaired],
        *,
        look_further: bool,
    ) -> None:
        self.look_further = look_further
        self.bound, self.evidence, self.cannot, self.repaired = bound, evidence, cannot, repaired
        self.epoch = max((s.epoch for s in evidence), default=0) if epoch is None else epoch
        self.path: list[str] = []
        self.words: list[str] = []

    def run(self) -> Walk:
        name, at = self.bound.root, self.bound.start
        why = ""
        while True:
            if name == ENGINE:
                return self._end(self._last("engine", ENGINE, at, why or "The tree has no further question."))
            fitted = self.bound.fitted[name, at.situation]
            node = fitted.node
            if fitted.absent:
                name = fitted.stepped()
                continue
            if node.id in self.path:
                return self._end(self._last("engine", ENGINE, at, f"The tree comes back to {node.id}."))
            self.path.append(node.id)
            match node:
                case model.Confirm():
                    words = node.words or f"Confirm {model.LEADING} before anything is replaced."
                    return self._end(self._last("confirm", node.id, fitted.situation, words, node.why))
                case model.Engine():
                    return self._end(self._last("engine", node.id, fitted.situation, node.words, node.why))
                case model.End():
                    return self._end(self._last("end", node.id, fitted.situation, node.words, node.why))
                case model.Go():
                    name = self.bound.trees[node.key]
                case model.Operate():
                    at = self.bound.named(node.name)
                    name = fitted.target(OTHERWISE)
                case model.Ask():
                    name = self._told(node, fitted)
                case model.Halve():
                    step, name = self._halve(node, fitted)
                    if step is not None:
                        return self._end(step)
                case model.Look() | model.Lights():
                    step, name = self._signs(node, fitted)
                    if step is not None:
                        return self._end(step)
                case model.Measure():
                    step, name = self._measure(node, fitted)
                    if step is not None:
                        return self._end(step)
            why = self.words[-1] if self.words else ""

    def _end(self, step: Step) -> Walk:
        return Walk(step, tuple(self.path), tuple(self.words))

    def _last(self, kind: StepKind, name: str, at: NamedSituation, words: str, why: str = "") -> Step:
        return Step(kind, name, (), at, words, why, source="tree")

    def _leave(self, fitted: Fitted, said: str) -> None:
        self.words.append(f"{fitted.id}: {said}")

    # -- what was seen ------------------------------------------------------------------------------------------------

    def _found(self, what: What, fitted: Fitted) -> Seen | None:
        """The latest observation of this, here and now."""
        for seen in reversed(self.evidence):
            if seen.epoch == self.epoch and seen.at == fitted.situation.situation and self._same(seen.what, what):
                return seen
        return None

    def _same(self, seen: object, what: What) -> bool:
        if seen == what:
            return True
        if not isinstance(seen, Meter) or not isinstance(what, Meter):
            return False
        volts = ("ac volts", "low-impedance volts")
        alike = seen.mode == what.mode or (seen.mode in volts and what.mode in volts)
        if not alike or what.mode == "amps":
            return False
        if seen.red == what.red and self._joined(seen.black, what.black):
            return True
        # Without a sign the leads may be swapped.
        return what.mode != "dc volts" and seen.black == what.red and self._joined(seen.red, what.black)

    def _joined(self, a: Pin, b: Pin) -> bool:
        """One pin, or two pins of one bar."""
        devices = self.bound.reasoner.machine.circuit.devices
        return a == b or (a.device == b.device and devices[a.device].kind == "bar")

    def _barred(self, what: What, fitted: Fitted) -> bool:
        if fitted.situation.name in self.cannot:
            return True
        if isinstance(what, Meter):
            return what.red in self.cannot or what.black in self.cannot or str(what.red) in self.cannot
        return what.name in self.cannot or unseen(what, fitted.situation) in self.cannot

    def _answers(self, fitted: Fitted) -> tuple[list[Seen | None], list[What]]:
        """What was seen of each item (None: cannot be), and the items still to ask."""
        found: list[Seen | None] = []
        gaps: list[What] = []
        for item in fitted.items:
            seen = self._found(item, fitted)
            if seen is not None and seen.understood is Word.COULDNT:
                seen = None
            elif seen is None and not self._barred(item, fitted):
                gaps.append(item)
            found.append(seen)
        return found, gaps

    # -- nodes --------------------------------------------------------------------------------------------------------

    def _told(self, node: model.Ask, fitted: Fitted) -> str:
        for seen in reversed(self.evidence):
            if isinstance(seen.what, Told) and seen.what.question == node.question and seen.epoch == self.epoch:
                answer = str(seen.understood)
                self._leave(fitted, answer)
                return fitted.target(answer)
        return fitted.target(OTHERWISE)

    def _signs(self, node: model.Look | model.Lights, fitted: Fitted) -> tuple[Step | None, str]:
        found, gaps = self._answers(fitted)
        if gaps:
            verb = "Look and listen" if isinstance(node, model.Look) else "Read the lights"
            words = node.words or f"{verb}, {fitted.situation.words}."
            if node.words and len(gaps) < len(fitted.items):  # its own words may name what was seen
                words = f"{words} What was seen already is left out."
            kind: StepKind = "look" if isinstance(node, model.Look) else "lights"
            return self._ask(kind, fitted, gaps, words, ()), ""
        shown = [None if seen is None else _shown(seen) for seen in found]
        if all(s is None for s in shown):
            self._leave(fitted, CANNOT)
            return None, fitted.target(CANNOT)
        for label in fitted.labels:
            if label.word in (OTHERWISE, CANNOT):
                continue
            if label.item is not None and shown[label.item] in label.shown:
                self._leave(fitted, label.words)
                return None, label.target
            if label.item is None and all(s is None or s in u for s, u in zip(shown, fitted.usual, strict=True)):
                self._leave(fitted, label.words)
                return None, label.target
        self._leave(fitted, OTHERWISE)
        return None, fitted.target(OTHERWISE)

    def _measure(self, node: model.Measure, fitted: Fitted) -> tuple[Step | None, str]:
        found, gaps = self._answers(fitted)
        if gaps:
            trip = self._one_trip([g for g in gaps if isinstance(g, Meter)])
            words = node.words or self._trip_words(trip, fitted)
            return self._ask("measure", fitted, trip, words, self._ahead(trip, fitted, along=False), node.why), ""
        if found[0] is None:
            self._leave(fitted, CANNOT)
            return None, fitted.target(CANNOT)
        taken = [label for label in fitted.labels if self._meets(label, found, fitted)]
        if not taken:
            self._leave(fitted, OTHERWISE)
            return None, fitted.target(OTHERWISE)
        label = taken[0]
        rivals = [
            t for t in taken[1:]
            if t.target != label.target and (t.item or 0) == (label.item or 0) and not all_and_one(label, t)
        ]  # fmt: skip
        if rivals:
            label = max((label, *rivals), key=lambda one: self._mass(one, found, fitted))
            others = " and ".join(repr(t.words) for t in (taken[0], *rivals) if t is not label)
            self._leave(fitted, f"{label.words} (it could also be {others}; this is the likelier)")
        else:
            self._leave(fitted, label.words)
        return None, label.target

    def _meets(self, label: Label, found: Sequence[Seen | None], fitted: Fitted) -> bool:
        if label.word in (OTHERWISE, CANNOT):
            return False
        if label.item is None:
            # With the overlap of neighbouring sets: a reading at the edge is to be weighed, not cut.
            return all(seen is None or _right(seen, fitted, k, EDGE) for k, seen in enumerate(found))
        seen = found[label.item]
        if seen is None:
            return False
        if label.word == "unsteady":
            return seen.understood is Word.UNSTEADY
        return label.span is not None and in_span(seen.understood, label.span, fitted.expects[label.item], label.word)

    def _mass(self, label: Label, found: Sequence[Seen | None], fitted: Fitted) -> float:
        """Chance of the suspects that would really read inside a label's own set, given all else and the reading."""
        k = label.item or 0
        seen, span = found[k], fitted.expects[k].span(label.word, 0.0) or label.span
        assert seen is not None
        if span is None or not isinstance(seen.what, Meter):
            return 0.0
        reasoner = self.bound.reasoner
        others = [s for s in self.evidence if s is not seen]
        predicted = reasoner.predict(seen.what, fitted.situation.situation)
        table = reasoner.table(fitted.situation.situation)
        chance = reasoner.belief(others, self.repaired)[table.owner] * table.weight * likelihood(seen, predicted)
        inside = (np.abs(predicted.value) >= span.low) & (np.abs(predicted.value) < span.high)
        return float(chance[inside].sum())

    def _halve(self, node: model.Halve, fitted: Fitted) -> tuple[Step | None, str]:
        right: dict[int, bool] = {}
        skip: set[int] = set()
        for k, item in enumerate(fitted.items):
            seen = self._found(item, fitted)
            if seen is not None and seen.understood is not Word.COULDNT:
                right[k] = _right(seen, fitted, k)
            elif seen is not None or self._barred(item, fitted):
                skip.add(k)
        length = len(fitted.path)
        stretch = halving.left(length, right)
        if stretch.contradiction:
            self._leave(
                fitted, f"{fitted.path[stretch.good]} reads right beyond {fitted.path[stretch.bad]}, which does not"
            )
            return None, fitted.target(OTHERWISE)
        if stretch.good == length - 1:
            self._leave(fitted, ALL_RIGHT)
            return None, fitted.target(ALL_RIGHT)
        cheap = {k for k, pin in enumerate(fitted.path) if self._place(pin) == self._home(fitted)}
        chosen = halving.points(stretch, length, right, skip, cheap, chances=fitted.chances)
        if chosen:
            trip = self._one_trip([m for k in chosen if isinstance(m := fitted.items[k], Meter)])
            words = node.words or self._trip_words(trip, fitted)
            return self._ask("measure", fitted, trip, words, self._ahead(trip, fitted, along=True), node.why), ""
        if stretch.bad == length:
            # The end cannot be read: nothing is known to be wrong on the path.
            self._leave(fitted, CANNOT)
            return None, fitted.target(CANNOT)
        before = "the source" if stretch.good < 0 else str(fitted.path[stretch.good])
        self._leave(fitted, f"between {before} and {fitted.path[stretch.bad]}")
        first = stretch.good < 0 and any(label.word == NONE_RIGHT for label in fitted.labels)
        return None, fitted.target(NONE_RIGHT if first else FOUND)

    # -- the step -----------------------------------------------------------------------------------------------------

    def _place(self, pin: Pin) -> str:
        return self.bound.reasoner.machine.circuit.devices[pin.device].place

    def _home(self, fitted: Fitted) -> str:
        item = fitted.items[0]
        assert isinstance(item, Meter)
        return self._place(item.black)

    def _one_trip(self, items: Sequence[Meter]) -> tuple[Meter, ...]:
        """The readings that can be taken where the first is, with the meter as it is set for the first."""
        first = items[0]
        return tuple(
            m for m in items if self._place(m.red) == self._place(first.red) and m.mode == first.mode
        )[: halving.MOST]  # fmt: skip

    def _trip_words(self, trip: Sequence[Meter], fitted: Fitted) -> str:
        blacks = list(dict.fromkeys(str(m.black) for m in trip))
        where = fitted.situation.words
        if trip[0].mode == "amps":
            return f"{_capital(where)}: clamp on the wire at {', '.join(str(m.red) for m in trip)}."
        if len(blacks) == 1:
            return f"{_capital(where)}: red on {', '.join(str(m.red) for m in trip)}, black on {blacks[0]}."
        return f"{_capital(where)}: between {', '.join(f'{m.red} and {m.black}' for m in trip)}."

    def _ahead(self, trip: Sequence[Meter], fitted: Fitted, *, along: bool) -> tuple[str, ...]:
        reasoner: Reasoner = self.bound.reasoner
        if trip[0].mode in NEEDS_DEAD or not self.look_further:
            return ()
        belief = reasoner.belief(self.evidence, self.repaired)
        return look_ahead(reasoner, trip, fitted.situation.situation, belief, along=along)

    def _ask(
        self, kind: StepKind, fitted: Fitted, items: Iterable[What], words: str, ahead: tuple[str, ...], why: str = ""
    ) -> Step:
        asked = tuple(items)
        reason = why or fitted.node.why or _decides(fitted)
        return Step(kind, fitted.id, asked, fitted.situation, words, reason, ahead, source="tree",
                    cost=price(self.bound.reasoner.machine.circuit, asked, fitted.situation))  # fmt: skip


def price(circuit: Circuit, items: Sequence[What], at: NamedSituation) -> float:
    """Seconds of a careful person for what is asked in one go."""
    cost = HANDS_S * (at.hands - 1)
    readings = [m for m in items if isinstance(m, Meter)]
    cost += READING_S * len(readings) + sum(
        BY_HAND_S if by_hand(circuit, i.name) else SIGN_S for i in items if not isinstance(i, Meter)
    )
    for place in dict.fromkeys(circuit.devices[m.red.device].place for m in readings):
        cost += circuit.places[place].walk_s + DOOR_S * circuit.places[place].door
    return cost


def _decides(fitted: Fitted) -> str:
    """Why a node is asked that says nothing of it itself: the answers from which the tree goes different ways."""
    ways = [label.words for label in fitted.labels if label.word not in (OTHERWISE, CANNOT)]
    if not ways:
        return "It belongs to the picture before anything is metered; what is wrong there ends the search at once."
    return f"What it shows decides the next test: {'; '.join(ways)}; or none of these."


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _shown(seen: Seen) -> str:
    return seen.understood.value if isinstance(seen.understood, Word) else str(seen.understood)


def _right(seen: Seen, fitted: Fitted, item: int, edge: float = 0.0) -> bool:
    """Whether a reading is as on a healthy machine. edge: how far the set reaches into its neighbours."""
    expect = fitted.expects[item]
    span = expect.span("as expected", edge)
    return span is not None and in_span(seen.understood, span, expect, "as expected")
