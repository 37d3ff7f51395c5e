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


def _rows_under(page: str, heading: str) -> list[list[str]]:
    """Cells of the first table below a heading, without its head."""
    lines = page.split(f"## {heading}\n", 1)[1].splitlines()
    begin = next(k for k, line in enumerate(lines) if line.startswith("| ---"))
    rows = []
    for line in lines[begin + 1 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows


def test_its_table_of_terminals_has_every_kind_with_the_terminals_that_it_has(page):
    rows = {row[0].strip("`"): row[1:] for row in _rows_under(page, "Terminals")}
    assert set(rows) == set(KINDS)
    for kind, (example, terminals) in rows.items():
        keys = ", ".join(filter(None, (f"kind: {kind}", example.strip("`"))))
        text = (
            f"machine: m\ndevices:\n  G9: {{kind: supply, volts: 400Y/230}}\n  D9: {{{keys}}}\n"
            "wires:\n  - {number: a, run: ['G9:L1', 'G9:N']}\nroles: {}\ncomplaints: {}\n"
        )
        read = load_circuit(text, "page", KINDS)
        assert isinstance(read, Circuit), (kind, *map(str, read))
        assert terminals == " ".join(f"`{pin}`" for pin in KINDS[kind].pins(read.devices["D9"])), kind


def test_its_table_of_roles_has_every_role_with_the_kinds_that_can_play_it(page):
    rows_of = {row[0].strip("`"): row[1:] for row in _rows_under(page, "roles")}
    assert rows_of == {
        role: [rows.ROLES[role], ", ".join(f"`{kind}`" for kind in kinds)] for role, kinds in rows.ROLE_KINDS.items()
    }


def test_every_everyday_name_leads_to_a_kind_and_is_no_kind_itself():
    assert set(rows.COMMON_NAMES.values()) <= set(KINDS)
    assert not set(rows.COMMON_NAMES) & set(KINDS)
    assert all(name == " ".join(name.casefold().replace("-", " ").split()) for name in rows.COMMON_NAMES)
