"""No word of this room is a way round an interlock or a safety contact."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from safety.machines import belt, mixer

import troubleshoot.safety
from troubleshoot.safety.hazards import before_power
from troubleshoot.safety.isolation import isolation
from troubleshoot.safety.proof import proof_run

WAY_ROUND = re.compile(r"\b(jumper|bridg\w+|bypass\w*|defeat\w*|overrid\w+|short (it )?out|wedge|by hand push)\b", re.I)


@pytest.mark.parametrize("make", [belt, mixer])
def test_no_step_hazard_or_check_names_a_way_round(make) -> None:  # type: ignore[no-untyped-def]
    reasoner = make()
    run = proof_run(reasoner)
    said = [s.words for s in isolation(reasoner).steps]
    said += [c.words for c in run.checks] + [w for c in run.checks for _, w in c.expects]
    said += [h.words for h in before_power(reasoner, reasoner.prior)]
    assert len(said) > 30
    assert not [words for words in said if WAY_ROUND.search(words)]
    assert all(words.isprintable() for words in said)


def test_no_personal_protective_equipment_is_ever_chosen() -> None:
    # What to wear is the site's assessment (NFPA 70E 130.5): the program must not name a category or a glove class.
    for module in Path(troubleshoot.safety.__file__).parent.glob("*.py"):
        assert not re.search(r"PPE category|cal/cm|class 0+ glove", module.read_text(encoding="utf-8"), re.I)
