"""Trees broken on purpose: each is caught, as early as it can be, with words that say what is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from trees.played import reasoner
from trees.proofs import prove_text

from troubleshoot.trees import Bound, Tree, bind, load_tree

BROKEN = Path(__file__).parent / "broken"


def text(name: str) -> bytes:
    return (BROKEN / f"{name}.yaml").read_bytes()


def test_a_tree_that_goes_in_circles_does_not_read():
    found = load_tree(text("goes-in-circles"), "t")
    assert isinstance(found, tuple)
    assert [p.what for p in found] == ["a loop: coil -> rung -> coil"]
    assert found[0].at.line == 11


def test_two_names_for_one_reading_do_not_fit_the_machine():
    tree = load_tree(text("two-names-for-one-reading"), "t")
    assert isinstance(tree, Tree)
    found = bind(tree, reasoner("belt-7"))
    assert isinstance(found, tuple)
    assert "node coil: 'as expected' and 'nothing' are the same reading here (0 V)" in str(found[0])


@pytest.mark.parametrize(
    ("name", "unsafe"),
    [
        ("ohms-on-a-live-coil", "node coil: ohms with the power on (start held); isolate first"),
        ("runs-it-again", "node see: wont-stop, and it is run again (running)"),
    ],
)
def test_what_is_asked_too_early_to_be_safe_reads_and_fits_and_is_not_proved(name, unsafe):
    proof = prove_text(text(name), "belt-7")
    assert unsafe in proof.unsafe
    assert not proof.holds


def test_a_tree_that_names_too_early_breaks_its_promises():
    proof = prove_text(text("names-the-contactor"), "belt-7")
    assert not proof.unsafe
    assert not proof.holds
    assert [line.split(",")[-1] for line in proof.broken] == [" promised 90.0%", " promised at most 2.0%"]
    assert any(len(e.groups) > 20 for e in proof.together)


def test_the_same_trees_without_what_is_broken_would_pass():
    """The twin: each check can be passed. The shipped tree of the same complaint is safe on the same machine."""
    shipped = (BROKEN.parents[2] / "trees/wont-start.yaml").read_bytes()
    tree = load_tree(shipped, "t")
    assert isinstance(tree, Tree)
    assert isinstance(bind(tree, reasoner("belt-7")), Bound)
    proof = prove_text(shipped, "belt-7")
    assert proof.holds
    assert proof.named > 0.9
