"""What is copied from a sister is known as copied, and nothing of it as seen or measured."""

from __future__ import annotations

import pytest
from against import ready
from job.nights import circuits

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.describe.copying import copy_of


@pytest.mark.parametrize("name", ["belt-7", *ready.NAMES])
def test_a_copy_passes_the_check_and_is_wired_the_same(name):
    source = circuits()["belt-7"] if name == "belt-7" else ready.machine(name).circuit
    copy = load_circuit(copy_of(source, machine="belt-12", title="Belt 12", known="copied"), "copy")
    assert isinstance(copy, Circuit)
    assert copy.name == "belt-12"
    assert [h.id for h in copy.hops] == [h.id for h in source.hops]
    assert {h.known for h in copy.hops} | {d.known for d in copy.devices.values()} == {"copied"}
    assert copy.program is None or copy.program.known == "copied"


def test_how_often_the_sister_failed_says_nothing_about_the_copy():
    from dataclasses import replace

    source = replace(circuits()["belt-7"], priors={"KM1 coil open": 3.0})
    copy = load_circuit(copy_of(source, machine="belt-12", title="Belt 12", known="copied"), "copy")
    assert isinstance(copy, Circuit)
    assert not copy.priors
