"""A tree gone through for the second device of every role, and nodes that some machines lack."""

from __future__ import annotations

from trees.played import reasoner

from troubleshoot.trees import Bound, Tree, bind, load_tree
from troubleshoot.trees.halving import Stretch, points

_TREE = """
tree: wont-start
nodes:
  - {id: rectifier, measure: [supply of brake.input], next: engine, absent: on}
  - {id: on, go: power, devices: second}
"""
_POWER = """
tree: power
nodes:
  - {id: hold, operate: start held, next: leads}
  - id: leads
    measure: [overload.heater 1.out]
    branches: {overload.heater 1.out nothing: lead, otherwise: engine}
  - {id: lead, halve: [overload, 'motor:U1'], next: engine}
"""


def _bound(machine: str) -> Bound:
    tree, power = load_tree(_TREE, "t.yaml"), load_tree(_POWER, "p.yaml")
    assert isinstance(tree, Tree)
    assert isinstance(power, Tree)
    found = bind(tree, reasoner(machine), {"power": power})
    assert isinstance(found, Bound), found
    return found


def test_the_second_devices_are_asked_in_their_own_situation():
    fitted = {name: f for (name, _), f in _bound("two-in-sequence").fitted.items()}
    leads, lead = fitted["power, second/leads"], fitted["power, second/lead"]
    assert [str(m.red) for m in leads.items] == ["FR2:2"]
    assert "press S3" in str(leads.situation.situation)
    assert [str(pin) for pin in lead.path] == ["FR2:2", "X3:1", "M2:U1"]


def test_a_machine_with_one_of_everything_is_asked_as_it_was():
    leads = next(f for (name, _), f in _bound("three-wire").fitted.items() if name == "power, second/leads")
    assert [str(m.red) for m in leads.items] == ["FR1:2"]


def test_a_node_that_a_machine_lacks_leads_where_it_says():
    assert [name for name, _ in _bound("hoist").fitted if name.startswith("power")] == []
    assert any(name.startswith("power") for name, _ in _bound("belt-7").fitted)


def test_a_path_is_parted_by_the_chance_of_what_lies_on_it_and_not_by_its_length():
    """By hand: behind a fuse that is likelier than the twelve wires after it together, not in the middle of the path."""
    alike = points(Stretch(-1, 16), 16, {}, set(), set(), most=2)
    assert alike == (7, 15)
    fuse = (0.01, 0.01, 0.01, 0.6, *(0.03,) * 12)
    assert points(Stretch(-1, 15), 16, {15: False}, set(), set(), most=1, chances=fuse) == (3,)
    assert points(Stretch(-1, 15), 16, {15: False}, set(), set(), most=1) == (7,)


def test_a_tree_says_which_other_devices_there_can_be():
    found = load_tree(_TREE.replace("second", "secnd"), "t.yaml")
    assert not isinstance(found, Tree)
    assert "nearest: second" in str(found[0])
