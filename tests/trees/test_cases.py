"""The cases under `cases/`: facts of the trade that need no Python to be added to."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from trees.played import bound, number, play, reasoner

from troubleshoot.circuit.model import Pin
from troubleshoot.trees import Bound, Tree, bind, load_tree
from troubleshoot.trees.faces import Absent, Faces, Unknown
from troubleshoot.trees.model import DevicePoint, FacePoint, PinPoint, SourcePoint, WiredPoint

CASES = Path(__file__).parent / "cases"


def cases(name):
    listed = yaml.load((CASES / f"{name}.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    return [pytest.param(case, id=case["it"]) for case in listed]


def _text(nodes, situation):
    top = {"tree": "case", "situation": situation, "nodes": nodes}
    return yaml.safe_dump(top, sort_keys=False)


@pytest.mark.parametrize("case", cases("refused"))
def test_the_loader(case):
    found = load_tree(case["text"], "t.yaml")
    assert isinstance(found, tuple)
    assert [str(p) for p in found] == case["says"]


@pytest.mark.parametrize("case", cases("labels"))
def test_binding(case):
    tree = load_tree(_text(case["nodes"], case["situation"]), "t.yaml")
    assert isinstance(tree, Tree), tree
    found = bind(tree, reasoner(case["machine"]))
    if "says" in case:
        assert isinstance(found, tuple)
        assert [p.what for p in found] == case["says"]
    else:
        assert isinstance(found, Bound)


def _point(text):
    if text == "source":
        return SourcePoint()
    if "." not in text and ":" not in text and " of " not in text:
        return DevicePoint(text)
    if " of " in text and not text.startswith("supply of "):
        which, _, role = text.partition(" of ")
        return WiredPoint(which, role)
    if ":" in text:
        return PinPoint(*text.split(":", 1))
    role, face, *side = text.split(".")
    return FacePoint(role, face, side[0] if side else "")


@pytest.mark.parametrize("case", cases("points"))
def test_a_point(case):
    faces = Faces(reasoner(case["machine"]))
    situation = reasoner(case["machine"]).situation(case["situation"]).situation
    if "path" in case:
        found = faces.path(*map(_point, case["path"]), situation)
        if case["is"] == "absent":
            assert isinstance(found, Absent)
        else:
            assert found == tuple(Pin(*p.split(":", 1)) for p in case["is"])
        return
    found = faces.pin(_point(case["point"]), situation)
    match found:
        case Absent():
            assert case["is"] == "absent"
        case Unknown():
            assert case["is"] == f"{found.what} (nearest: {found.near})"
        case _:
            assert str(found) == case["is"]


@pytest.mark.parametrize("case", cases("ends"))
def test_the_tree(case):
    machine = case["machine"]
    assert bound(case["tree"], machine)
    played = play(case["tree"], machine, number(machine, case["suspect"]))
    assert played.last.step.kind == case["ends"]
    assert played.last.words[-1] == case["by"]
    if "leading" in case:
        belief = reasoner(machine).belief(played.evidence)
        assert reasoner(machine).groups(belief)[0][0] == case["leading"]
