"""A chart has every step with its caution and its ways out, and no letter outside its frame."""

from __future__ import annotations

import json
import re
from functools import cache
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from against import ready
from trees.played import reasoner, tree
from trees.proofs import LIBRARY, shows

from troubleshoot.diagnosis.confirm import is_dead
from troubleshoot.evidence.seen import Meter
from troubleshoot.safety.caution import caution
from troubleshoot.safety.isolation import isolation
from troubleshoot.solve.meters import RANGES
from troubleshoot.trees import Bound, bind, model
from troubleshoot.trees.chart import CONFIRM, NO_MORE, WARNING, Chart, chart_of
from troubleshoot.trees.layout import LEAST, MARGIN, PAPERS, WIDE, Box, Sheet, laid_out
from troubleshoot.trees.svg import svg

SHORT = [(t, m) for m in ("three-wire", "hoist") for t in LIBRARY if t in reasoner(m).machine.circuit.complaints]
ALL = [(t, m) for m in (*ready.NAMES, "belt-7") for t in LIBRARY if t in reasoner(m).machine.circuit.complaints]
CHARTS = ALL if ready.ALL else SHORT


@cache
def bound(name: str, machine: str) -> Bound:
    found = bind(tree(name), reasoner(machine), {one: tree(one) for one in LIBRARY})
    assert isinstance(found, Bound)
    return found


@cache
def chart(name: str, machine: str) -> Chart:
    return chart_of(
        bound(name, machine), complaint=name, shows=shows(machine, name), version="1.2.3", tree_hash="0123456789abcdef",
        date="2026-11-30",
    )  # fmt: skip


@cache
def sheets(name: str, machine: str, paper: str = "a4") -> tuple[Sheet, ...]:
    return laid_out(chart(name, machine), paper)


def frames(sheet: Sheet) -> list[Box]:
    return [b for b in sheet.boxes if b.look not in ("mark", "to")]


@pytest.mark.parametrize(("name", "machine"), CHARTS)
def test_no_letter_stands_outside_its_frame_and_no_frame_on_another(name, machine):
    for paper in ("a4", "letter"):
        for sheet in sheets(name, machine, paper):
            assert (sheet.width, sheet.height) == PAPERS[paper]
            for one, two in combinations(frames(sheet), 2):
                apart = (
                    one.x + one.w <= two.x or two.x + two.w <= one.x or one.y + one.h <= two.y or two.y + two.h <= one.y
                )
                assert apart, (one, two)
            for frame in frames(sheet):
                assert frame.x >= MARGIN - 0.01
                assert frame.x + frame.w <= sheet.width - MARGIN + 0.01
                assert frame.y + frame.h <= sheet.height - MARGIN
            for text in sheet.texts:
                assert text.size >= LEAST
                around = [f for f in frames(sheet) if f.x <= text.x < f.x + f.w and f.y <= text.y <= f.y + f.h]
                right = around[0].x + around[0].w if around else sheet.width - MARGIN
                assert text.x + text.width <= right + 0.01, text
                if around:
                    assert text.y - 0.8 * text.size >= around[0].y
                    assert text.y + 0.2 * text.size <= around[0].y + around[0].h
            lines = sorted((t.y, t.x, t.x + t.width) for t in sheet.texts)
            for (y, _, end), (y2, begin, _) in pairwise(lines):
                assert y != y2 or begin >= end - 0.01, "two texts on one place"


@pytest.mark.parametrize(("name", "machine"), CHARTS)
def test_every_node_that_can_be_reached_is_a_step_and_every_answer_leads_somewhere(name, machine):
    found = chart(name, machine)
    marks = {s.mark for s in found.steps}
    own = {n for n in tree(name).nodes.values() if not isinstance(n, model.Operate | model.Go | model.Confirm)}
    reached = {f.node.id for f in bound(name, machine).fitted.values() if not f.absent and f.node in own}
    assert {s.node for s in found.steps if s.node} == reached
    for step in found.steps:
        for way in step.exits:
            assert way.to in marks or way.to.removeprefix("chart ") in LIBRARY, (step, way)
        if step.mark not in (CONFIRM, NO_MORE) and step.title not in ("END", "STOP HERE"):
            assert step.exits, step
            assert len({w.to for w in step.exits}) == 1 or any(
                w.label in ("otherwise", "cannot", "all right") for w in step.exits
            ), step
    drawn = {b.step for s in sheets(name, machine) for b in frames(s)}
    assert drawn == marks


@pytest.mark.parametrize(("name", "machine"), CHARTS)
def test_every_live_step_says_all_that_its_caution_says(name, machine):
    """The caution is computed once more here, reading by reading, as a job computes it."""
    found = chart(name, machine)
    by_node = {}
    for fitted in bound(name, machine).fitted.values():
        by_node.setdefault(fitted.node.id, []).append(fitted)
    checked = 0
    for step in found.steps:
        live = [
            f for f in by_node.get(step.node, ())
            if any(isinstance(i, Meter) for i in f.items) and not is_dead(reasoner(machine).machine, f.situation)
        ]  # fmt: skip
        assert bool(live) == step.live, step
        if not live:
            continue
        checked += 1
        fitted = live[0]
        meters = [i for i in fitted.items if isinstance(i, Meter)]
        parts = [[m] for m in meters] if isinstance(fitted.node, model.Halve) else [meters]
        said = " ".join((*found.always, *step.danger))
        for readings in parts:
            computed = caution(
                reasoner(machine), readings, fitted.situation.situation, person="", hands=fitted.situation.hands
            )
            for full, brief in zip(computed.facts, computed.brief, strict=True):
                if full in computed.moves:
                    assert full in said or brief in said, (step.mark, full)
            volts = max(float(v) for v in re.findall(r"(\d+) V", said.split("Over ")[0] + " ".join(step.danger)))
            assert volts >= computed.volts - 1
        assert step.danger[0].startswith("LIVE."), step
    texts = " ".join(t.text for s in sheets(name, machine) for t in s.texts)
    assert checked == 0 or "AT EVERY LIVE STEP" in texts


@pytest.mark.parametrize(("name", "machine"), CHARTS)
def test_no_live_step_is_told_to_stop_at_volts_that_it_expects_itself(name, machine):
    found = chart(name, machine)
    head = " ".join(found.always)
    checked = 0
    for step in (s for s in found.steps if s.live):
        (limit,) = map(
            float, re.findall(r"[Oo]ver (\d+) V", head) or re.findall(r"over (\d+) V", " ".join(step.danger))
        )
        for point, should in step.rows:
            unit = re.search(r" (mV|V)$", should)
            expects = [float(v) for v in re.findall(r"[\d.]+", should)] if unit and unit[1] == "V" else []
            checked += bool(expects)
            assert all(v <= limit for v in expects), (step.mark, point, should, limit)
        for readings in (f for f in bound(name, machine).fitted.values() if f.node.id == step.node and f.expects):
            meters = [i for i in readings.items if isinstance(i, Meter) and i.mode in ("ac volts", "dc volts")]
            expected = [e.value for i, e in zip(readings.items, readings.expects, strict=False) if i in meters]
            assert all(abs(v) <= limit for v in expected), (step.mark, expected, limit)
    volts = any("V" in should for s in found.steps if s.live for _, should in s.rows)
    assert checked or not volts


@pytest.mark.parametrize(("name", "machine"), CHARTS)
def test_each_sheet_says_what_it_is_for_when_it_was_made_and_whose_rules_come_first(name, machine):
    for sheet in sheets(name, machine):
        texts = [t.text for t in sheet.texts]
        assert WARNING in texts
        foot = next(t for t in texts if t.startswith(("tree ", "steps ")) and "2026-11-30" in t)
        assert reasoner(machine).machine.content[:12] in foot
        assert "0123456789ab" in foot
        assert "1.2.3" in foot
        parsed = ElementTree.fromstring(svg(sheet))
        assert len(parsed.findall(".//{http://www.w3.org/2000/svg}text")) == len(sheet.texts)


def test_what_is_read_and_what_it_should_be_are_this_machines_own():
    step = next(s for s in chart("wont-start", "three-wire").steps if s.node == "coil")
    contactor = reasoner("three-wire").machine.role("contactor")
    assert [point for point, _ in step.rows][:2] == [f"{contactor}:A1", f"{contactor}:A2"]
    values = reasoner("three-wire").machine.circuit.situations["start held"]
    for point, should in step.rows:
        assert should == "nothing" or re.fullmatch(r"\d+-\d+ V", should), (point, should, values)


@pytest.mark.parametrize("machine", ["three-wire", "hoist"])
def test_the_dead_test_on_paper_names_every_point_with_its_range(machine):
    plan = isolation(reasoner(machine), ())
    step = next(s for s in chart("wont-start", machine).steps if s.mark == CONFIRM)
    asked = [s for s in plan.steps if s.readings]
    assert any(s.id == "dead" for s in asked)
    for one in asked:
        (said,) = [text for text in step.do if re.match(rf"\d+\. {re.escape(one.words.rstrip('.'))}", text)]
        assert RANGES[one.readings[0].mode].words in said
        for meter in one.readings:
            assert re.search(rf"{re.escape(str(meter.red))}\b[^;]* to {re.escape(str(meter.black))}", said), (
                meter,
                said,
            )
        if one.expects[0]:
            assert f"about {one.expects[0]:.0f} V" in said


def test_what_an_answer_shows_is_named_before_what_else_it_may_be():
    """An answer about one of several stops begins with that stop: its own device, wherever it is among the likeliest."""
    several = [n for n in ready.NAMES if len(reasoner(n).machine.circuit.roles.get("emergency stop", ())) > 1]
    machine = several[0]
    heads = reasoner(machine).machine.circuit.roles["emergency stop"]
    ways = [w for s in chart("wont-start", machine).steps if s.title == "LOOK" for w in s.exits if w.names]
    shown = [
        w for w in ways if w.label.split()[0] in heads and any(w.label.split()[0] in name.split() for name in w.names)
    ]
    assert shown
    assert all(w.label.split()[0] in w.names[0].split() for w in shown)


def test_by_hand_a_brake_is_touched_only_behind_the_isolation():
    steps = {s.node: s for s in chart("brake-drags", "hoist").steps}
    for node in ("gap", "shaft"):
        assert steps[node].danger[0].startswith("DEAD: first all of C"), node
        assert not steps[node].live


def test_a_letter_is_no_wider_than_it_is_reckoned():
    """Against the font itself, as the typesetter that makes the PDF measures it."""
    typst = pytest.importorskip("typst")
    letters = "MWmw0_>%AB:1"
    of = '#context [#metadata(measure(text(font: "DejaVu Sans Mono", size: 100pt, weight: WEIGHT)[#"LETTERS"]).width / 1pt) <wide>]'
    source = "\n".join(of.replace("LETTERS", letters).replace("WEIGHT", w) for w in ('"regular"', '"bold"'))
    found = json.loads(typst.query(source.encode(), "<wide>", field="value", ignore_system_fonts=True))
    assert len(found) == 2
    for wide in found:
        assert wide / len(letters) <= 100 * WIDE
        assert wide / len(letters) > 100 * (WIDE - 0.01)
