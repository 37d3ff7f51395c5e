"""A point behind a rectifier hangs on the AC lines through diodes: cautions take the volts of the lines for it."""

from __future__ import annotations

import pytest
from against import hoist9

from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import Machine, describe
from troubleshoot.safety import volts as v

HELD = Situation(acts=(Act("press", "S1"),))


@pytest.mark.parametrize("form", hoist9.FORMS)
def test_a_brake_coil_behind_a_rectifier_counts_as_high_as_the_lines_before_it(form):
    """Closed form: through a conducting diode a DC terminal stands at the line itself, 230 V to earth, whatever its mean."""
    machine = describe(hoist9.TEXT % (form, hoist9.FORMS[form]), "hoist-9.yaml")
    assert isinstance(machine, Machine)
    reasoner = Reasoner(machine)
    table = reasoner.table(HELD)
    healthy = v.columns_of([table.outcomes[table.healthy].network])
    for pin in (Pin("YB1", "1"), Pin("YB1", "2")):
        found = v.between(machine, healthy, [pin], [])
        assert found.ac == pytest.approx(230, rel=0.01)
        assert found.level == "danger"
