"""Write docs/hazards/: what one fault or one act can do to people, for every machine that is shipped.

    python tests/measure/hazard_lists.py [MACHINE...]

Run it after anything that changes a list; `tests/safety/test_hazard_pages.py` says when.
"""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from troubleshoot.cli.data import NotShipped, data
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import Machine, describe
from troubleshoot.safety.hazard_list import hazard_list

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "hazards"


def shipped() -> dict[str, Path]:
    """Every circuit file that comes with the program, by the name of its machine."""
    found: dict[str, Path] = {}
    for name in ("machines", "circuits"):
        with contextlib.suppress(NotShipped):
            found |= {path.stem: path for path in sorted(data(name).glob("*.yaml"))}
    return found


def page(path: Path) -> str:
    """The page of one machine."""
    found = describe(path.read_bytes(), path.name)
    assert isinstance(found, Machine), found
    lines = [
        f"# What can hurt at {found.name}",
        "",
        f"{found.circuit.title}. Made by `troubleshoot hazards {found.name}`: found from the circuit, over single faults,",
        "acts and joints that heal. It names the class of remedy that the standards name (clauses from memory) and designs",
        "none; that, and what is acceptable, is for whoever answers for the machine.",
    ]
    sort = ""
    for one in hazard_list(Reasoner(found)):
        if one.sort != sort:
            lines += ["", f"## {one.sort.capitalize()}", "", f"Class of remedy: {one.remedy}.", ""]
            sort = one.sort
        lines.append(f"- {one.words}")
    return "\n".join(lines) + "\n"


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for name, path in shipped().items():
        if not sys.argv[1:] or name in sys.argv[1:]:
            (FOLDER / f"{name}.md").write_text(page(path), encoding="utf-8")


if __name__ == "__main__":
    main()
