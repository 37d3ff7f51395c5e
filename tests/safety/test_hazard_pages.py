"""The pages of hazards are what the program finds today."""

from __future__ import annotations

import os

import pytest
from measure.hazard_lists import FOLDER, page, shipped

SHIPPED = shipped()
SAMPLE = sorted(SHIPPED) if os.environ.get("TROUBLESHOOT_TESTS") == "all" else ["belt-7"]
"""One machine takes seconds; all of them minutes."""


def test_every_machine_that_is_shipped_has_its_page_and_no_other() -> None:
    assert {path.stem for path in FOLDER.glob("*.md")} - {"README"} == SHIPPED.keys()


@pytest.mark.parametrize("name", SAMPLE)
def test_the_page_is_what_the_circuit_gives_today(name: str) -> None:
    assert (FOLDER / f"{name}.md").read_text(encoding="utf-8") == page(SHIPPED[name]), (
        "run: python tests/measure/hazard_lists.py"
    )
