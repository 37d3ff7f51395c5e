"""What a step says never contradicts the situation in which it is asked."""

from __future__ import annotations

import re

import pytest
from trees.played import ROOT, bound, number, play, reasoner, tree

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.safety.isolation import open_all
from troubleshoot.trees import Bound, Tree, bind, load_tree, model, walk

ASKING = model.Look | model.Lights | model.Measure | model.Halve
NAMES = sorted(path.stem for path in (ROOT / "trees").glob("*.yaml"))


def fits(name: str, machine: str) -> Bound | None:
    """The tree on the machine, where it fits."""
    others = {path.stem: tree(path.stem) for path in (ROOT / "trees").glob("*.yaml")}
    if not set(tree(name).needs) <= set(reasoner(machine).machine.circuit.roles):
        return None
    found = bind(tree(name), reasoner(machine), others)
    return found if isinstance(found, Bound) else None


def contradiction(words: str, at: Situation, disconnects: frozenset[str]) -> str:
    """What these words say that the situation is not; empty where nothing. The phrases are those of our trees."""
    said = words.casefold()
    opened = {a.device for a in at.acts if a.verb == "open"} & disconnects
    switched = bool(at.acts or at.hold)
    last = {a.device: a.verb for a in at.acts}
    held = "press" in last.values() or bool(at.hold)
    found = {
        "as found": re.search(r"as you found|switch nothing|before anything is (switched|touched)", said) and switched,
        "Start held": re.search(r"(have|,) (the )?start\b[^.]* held", said) and not held,
        "at rest": re.search(r"nobody (at the buttons|starts it)|at rest", said) and (
            held and "held in" not in said
        ),
        "disconnect off": re.search(r"disconnect off|locked off|proved dead", said) and not opened,
        "power on": re.search(r"power is back|start held|press start|start it", said) and opened,
    }  # fmt: skip
    return ", ".join(what for what, so in found.items() if so)


@pytest.mark.parametrize("machine", ["belt-7", "hoist"])
def test_no_tree_asks_in_words_that_deny_the_situation_that_is_on(machine):
    wrong, asked = [], 0
    disconnects = frozenset(a.device for a in open_all(reasoner(machine).machine).acts)
    for name in NAMES:
        found = fits(name, machine)
        for fitted in found.fitted.values() if found else ():
            if isinstance(fitted.node, ASKING) and fitted.node.words and not fitted.absent:
                asked += 1
                denied = contradiction(fitted.node.words, fitted.situation.situation, disconnects)
                wrong += [f"{name} {fitted.id}, {fitted.situation.words}: {denied}"] if denied else []
    assert asked > 10
    assert not wrong


def test_the_phrases_are_understood():
    held, off = Situation("rest", (Act("press", "S1"),)), open_all(reasoner("belt-7").machine)
    dead = frozenset(a.device for a in off.acts)
    assert contradiction("Walk round once and look; switch nothing yet.", held, dead) == "as found"
    assert contradiction("Have Start held and read the lights again.", Situation("as-found"), dead) == "Start held"
    assert contradiction("Have Start held and read the lights again.", held, dead) == ""
    assert contradiction("Locked off and proved dead: turn the shaft.", held, dead) == "disconnect off"
    assert contradiction("Power is back, nobody starts it.", off, dead) == "power on"


def test_a_tree_that_goes_on_in_another_says_the_situation_that_is_on():
    """From "it will not hold" to "it does not start": Start is held, so nothing is asked as it was found."""
    at_home = bound("wont-start", "belt-7")
    from_hold = bound("wont-hold", "belt-7")
    held = from_hold.named("start held").situation
    assert at_home.fitted["round", at_home.start.situation].node.words
    for node in ("round", "found"):
        assert from_hold.fitted[f"wont-start/{node}", held].node.words == ""
    played = play("wont-hold", "belt-7", number("belt-7", "KM1 coil open"))
    steps = [step for step in played.asked if step.id in ("wont-start/round", "wont-start/found")]
    assert [step.words for step in steps] == [
        "Look and listen, Start held by a helper.", "Read the lights, Start held by a helper.",
    ]  # fmt: skip


def test_on_a_machine_that_lacks_the_situation_on_the_way_the_words_for_it_are_not_used():
    found = load_tree(b"""
tree: odd
title: Made up
needs: [contactor]
situation: as found
nodes:
  - {id: wait, operate: waiting start held, next: see}
  - id: see
    look: [contactor]
    words: With the first running, have the Start of the second held.
    next: done
  - {id: done, end: Made up.}
""", "odd.yaml")  # fmt: skip
    assert isinstance(found, Tree)
    fitted = bind(found, reasoner("belt-7"))
    assert isinstance(fitted, Bound)
    step = walk(fitted, []).step
    assert step is not None
    assert step.words == "Look and listen, as you found it."


def test_words_of_a_node_belong_to_the_situations_in_which_its_own_tree_reaches_it():
    assert model.stands(tree("wont-start"))["round"] == {"as found"}
    assert model.stands(tree("wont-start"))["see"] == {"start held"}
    assert model.stands(tree("wont-start"))["gap"] == {"isolated"}
