"""The page about the circuit file is true."""

from __future__ import annotations

import re

import pytest

from troubleshoot.circuit import rows
from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit


@pytest.fixture(scope="module")
def page(root) -> str:
    return (root / "docs/reference/circuit-file.md").read_text(encoding="utf-8")


def test_its_example_loads_as_it_stands(page):
    (example,) = re.findall(r"```yaml\n(.*?)```", page, re.DOTALL)
    read = load_circuit(example, "page", KINDS)
    assert isinstance(read, Circuit), "\n".join(map(str, read))


def test_it_names_every_key_every_role_and_every_choice(page):
    keys = (
        *rows.TOP,
        *rows.PLACE,
        *rows.DEVICE,
        *rows.WIRE,
        *rows.RUN,
        *rows.PROGRAM,
        *rows.SITUATION,
        *rows.COMPLAINT,
    )
    missing = [
        name for name in (*(r.name for r in keys), *rows.ROLES, *rows.KNOWN, *rows.ORIGINS) if f"`{name}`" not in page
    ]
    assert missing == []


def test_it_says_which_keys_must_be_there(page):
    for row in rows.TOP:
        (line,) = [line for line in page.splitlines() if line.startswith(f"| `{row.name}` |")]
        assert ("| must |" in line) == row.must
