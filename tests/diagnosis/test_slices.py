"""Work done ahead goes in slices of one table, and comes to the same."""

from __future__ import annotations

import numpy as np
import pytest
from job import nights

from troubleshoot.diagnosis.reasoner import NotYet, Reasoner
from troubleshoot.trees.bind import bind


def test_in_slices_every_slice_makes_one_table_and_the_tree_is_bound_to_the_same() -> None:
    whole, machine = nights.desk("fan-2"), nights.desk("fan-2").machine
    tree = whole.trees["wont-start"]
    reasoner, made, found = Reasoner(machine), [0], None
    for _ in range(100):
        try:
            with reasoner.one_table():
                found = bind(tree, reasoner, whole.trees)
                break
        except NotYet:
            made.append(len(reasoner._tables))
            assert made[-1] == made[-2] + 1
    assert len(made) > 2
    assert found is not None
    at_once = Reasoner(machine)
    assert repr(bind(tree, at_once, whole.trees)) is not None
    assert reasoner._tables.keys() == at_once._tables.keys()
    for key, table in reasoner._tables.items():
        other = at_once._tables[key]
        assert np.array_equal(table.owner, other.owner)
        assert [o.state for o in table.outcomes] == [o.state for o in other.outcomes]


def test_several_that_are_asked_for_at_once_come_one_a_slice() -> None:
    machine = nights.desk("fan-2").machine
    reasoner = Reasoner(machine)
    situations = [named.situation for named in machine.circuit.situations.values()][:3]
    for k in (1, 2):
        with pytest.raises(NotYet), reasoner.one_table():
            reasoner.prepare(situations)
        assert len(reasoner._tables) == k
    with reasoner.one_table():
        reasoner.prepare(situations)
    assert len(reasoner._tables) == len(set(situations))
