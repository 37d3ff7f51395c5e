"""Belief equals exact inference by a general-purpose library on the same network, written out node by node.

The library is pyAgrum (LGPL-3.0 or MIT, https://agrum.gitlab.io): its lazy propagation knows nothing of machines. pgmpy, which
was meant first, needs torch in every release that installs here. pyAgrum by itself is 8 MB and needs numpy only for this:
`pip install --no-deps pyagrum==3.3.1`; what else it asks for is for drawing and learning.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from troubleshoot.circuit.model import Pin
from troubleshoot.cli.machines_on_disk import open_machine
from troubleshoot.diagnosis.candidates import candidates
from troubleshoot.diagnosis.people import HASTY, MISTAKEN, beside_the_point
from troubleshoot.evidence import told
from troubleshoot.evidence.likelihood import (
    BATCH_SPOILED,
    BATCH_SPOILED_LIVE,
    CALM,
    FLICKER_SEEN,
    Predicted,
    broad,
    likelihood,
)
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen, Told
from troubleshoot.job.desk import Desk
from troubleshoot.solve.meters import unit_of

gum = pytest.importorskip("pyagrum", reason="pip install --no-deps pyagrum==3.3.1")


@pytest.fixture(scope="module")
def desk() -> Desk:
    return Desk(open_machine("three-wire"), {})


def observed(desk: Desk, truth: int, seed: int) -> list[Seen]:
    """A complaint, a sheet of lights and looks, and two batches of readings of one fault, one in ten of them wrong."""
    dice = random.Random(seed)
    reasoner, shows = desk.reasoner, desk.shows("wont-start")
    out = [Seen(Told(told.COMPLAINT), "", "wont-start", shows.situation, "operator", event=1)]
    event, again = 1, None
    for named in (desk.at_rest, shows):
        table = reasoner.table(named.situation)
        column = int(np.flatnonzero(table.owner == truth)[0])
        event += 1
        for item in (*desk.lights(), *desk.looks()):
            shown = reasoner.predict(item, named.situation).shown
            assert shown is not None
            said = str(shown[column] if dice.random() > 0.1 else dice.choice(list(shown)))
            source = "asked" if dice.random() < 0.5 else "by-exception"
            out.append(Seen(item, said, said, named.situation, source, event=event))
        meters = dice.sample([c.meter for c in candidates(table).items], 3)
        if again is not None:
            meters[0] = Meter(again.mode, again.red, again.black)  # the same point in another batch
        again = meters[0]
        event += 1
        for meter in meters:
            value = abs(float(reasoner.predict(meter, named.situation).value[column]))
            value = 0.0 if dice.random() < 0.1 or not np.isfinite(value) else value
            number = Interval(value, value, unit_of(meter.mode))
            out.append(Seen(meter, f"{value:.1f}", number, named.situation, batch=event, event=event))
    return out


def by_the_library(desk: Desk, evidence: list[Seen]) -> np.ndarray:
    """Chance of every suspect by exact inference in a Bayesian network with one node for each thing that can be so."""
    reasoner, suspects = desk.reasoner, desk.machine.suspects
    count, outside = len(suspects), len(suspects) - 1
    net = gum.BayesNet("belief")

    def node(name: str, size: int) -> str:
        net.add(gum.RangeVariable(name, name, 0, size - 1))
        return name

    def seen_so(name: str, parents: list[str], chances: np.ndarray) -> None:
        """A node that says whether this was seen; its chance of having been seen, by its parents in order."""
        node(name, 2)
        for parent in parents:
            net.addArc(parent, name)
        scaled = chances / max(
            float(chances.max()), 1e-300
        )  # a density may be above 1; a factor for all changes nothing
        # The library lays its tables out with the first parent last.
        net.cpt(name)[:] = np.ascontiguousarray(np.stack([1 - scaled.T, scaled.T], axis=-1))
        facts[name] = 1

    facts: dict[str, int] = {}
    node("suspect", count)
    net.cpt("suspect").fillWith(list(reasoner.prior / reasoner.prior.sum()))
    node("calm", 2)
    net.cpt("calm").fillWith([1 - CALM, CALM])
    # How it was read throughout: with care, in haste, or with one point taken for the one beside it.
    batches: dict[Pin, set[object]] = {}
    for one in evidence:
        if isinstance(one.what, Meter):
            for pin in (one.what.red, one.what.black):
                batches.setdefault(pin, set()).add(one.batch)
    probed = {one.what.red for one in evidence if isinstance(one.what, Meter)}
    points = [pin for pin, some in batches.items() if pin in probed and len(some) > 1]
    node("person", 2 + len(points))
    net.cpt("person").fillWith([1 - HASTY - MISTAKEN * len(points), HASTY, *(MISTAKEN for _ in points)])
    outcomes: dict[object, str] = {}
    apart: dict[int, list[tuple[Seen, Predicted]]] = {}
    sheets: dict[tuple[object, int], list[Seen]] = {}
    for one in evidence:
        if isinstance(one.what, Told):
            shown = told.NOT_SHOWN + (told.SHOWN - told.NOT_SHOWN) * reasoner.complained("wont-start", one.at)
            shown[reasoner.doors("wont-start")] = told.A_DOOR
            shown[outside] = told.SHOWN
            seen_so("complaint", ["suspect"], shown)
        else:
            sheets.setdefault((one.at, one.event), []).append(one)
    for number, ((at, _), sheet) in enumerate(sheets.items()):
        table = reasoner.table(at)
        unknown = len(table.outcomes)
        if at not in outcomes:
            name = outcomes[at] = node(f"outcome {len(outcomes)}", unknown + 1)
            net.addArc("suspect", name)
            for k in range(count):
                row = np.zeros(unknown + 1)
                if k == outside:
                    row[unknown] = 1.0
                else:
                    row[:unknown][table.owner == k] = table.weight[table.owner == k]
                net.cpt(name)[{"suspect": k}] = list(row / row.sum())
        metered = isinstance(sheet[0].what, Meter)
        how = node(f"how {number}", 2)
        predictions = [reasoner.predict(one.what, at) for one in sheet]
        lives = [
            isinstance(one.understood, Interval) and one.understood.middle >= 0.5 * p.scale > 0
            for one, p in zip(sheet, predictions, strict=True)
        ]
        # What was read at a mistaken point proves no tester either.
        counts = [
            [not metered or way < 2 or points[way - 2] not in (one.what.red, one.what.black) for one in sheet]
            for way in range(2 + len(points))
        ]
        net.addArc("person", how)
        for way, those in enumerate(counts):
            rate = BATCH_SPOILED_LIVE if any(a and b for a, b in zip(lives, those, strict=True)) else BATCH_SPOILED
            net.cpt(how)[{"person": way}] = [1 - rate, rate] if metered else [1 - FLICKER_SEEN, FLICKER_SEEN]
        for k, (one, predicted) in enumerate(zip(sheet, predictions, strict=True)):
            cube = np.zeros((unknown + 1, 2, 2, 2 + len(points)))  # outcome, spoiled or noticed, calm or not, person
            for way, those in enumerate(counts):
                if isinstance(one.what, Light | Look):
                    read = replace(one, source="operator") if way == 1 else one
                    for noticed in (False, True):
                        cube[:unknown, int(noticed), 0, way] = likelihood(read, predicted, noticed)
                    cube[unknown, :, 0, way] = broad(read, predicted, table.healthy)
                    continue
                proved = any(a and b for n, (a, b) in enumerate(zip(lives, those, strict=True)) if n != k)
                read = replace(one, proved=True) if proved and those[k] else one
                cube[..., way] = broad(read, predicted, table.healthy)
                if not those[k]:
                    before = apart.setdefault(way, [])
                    cube[..., way] = np.exp(beside_the_point([*before, (one, predicted)]) - beside_the_point(before))
                    before.append((one, predicted))
                for calm in (False, True) if those[k] else ():
                    cube[:unknown, 0, int(calm), way] = likelihood(read, predicted, None, calm)
            if metered:
                seen_so(f"seen {number} {k}", [outcomes[at], how, "calm", "person"], cube)
            else:
                seen_so(f"seen {number} {k}", [outcomes[at], how, "person"], cube[:, :, 0, :])
    inference = gum.LazyPropagation(net)
    inference.setEvidence(facts)
    inference.makeInference()
    return np.asarray(inference.posterior("suspect").toarray())


@pytest.mark.parametrize("seed", range(3))
def test_belief_is_what_exact_inference_finds(desk: Desk, seed: int) -> None:
    dice = random.Random(f"truth {seed}")
    truth = dice.randrange(len(desk.machine.suspects) - 1)
    evidence = observed(desk, truth, seed)
    assert desk.reasoner.belief(evidence) == pytest.approx(by_the_library(desk, evidence), abs=1e-9)


def test_it_is_the_same_with_other_chances_beforehand(desk: Desk) -> None:
    count = len(desk.machine.suspects)
    alike = Desk(desk.machine, {})
    alike.reasoner = desk.reasoner.with_prior(np.full(count, 1 / count))
    evidence = observed(desk, 7, 11)
    found = alike.reasoner.belief(evidence)
    assert found == pytest.approx(by_the_library(alike, evidence), abs=1e-9)
    assert abs(found - desk.reasoner.belief(evidence)).max() > 1e-6
