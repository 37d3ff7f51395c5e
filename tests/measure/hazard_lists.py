"""Write docs/hazards/: what one fault or one act can do to people, and what the proof run proves, for every machine shipped.

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
from troubleshoot.safety.proof import ProofCheck, proof_run, undetected

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
    reasoner = Reasoner(found)
    for one in hazard_list(reasoner):
        if one.sort != sort:
            lines += ["", f"## {one.sort.capitalize()}", "", f"Class of remedy: {one.remedy}.", ""]
            sort = one.sort
        lines.append(f"- {one.words}")
    proof = proof_run(reasoner)
    broken = sum(s.broken and bool(s.edits) for s in found.suspects)
    by_eye = len(undetected(reasoner, proof, behaviour_only=True))
    lines += ["", "## The proof run", ""]
    lines += [f"{k}. {check.words}{_readings(check)}" for k, check in enumerate(proof.checks, 1)]
    lines += [
        "",
        f"Of {broken} faults {by_eye} would pass if only what moves were watched; {len(proof.not_proved)} pass the whole run",
        "unseen and are printed at hand-back:",
        "",
        *(f"- {words}" for words in proof.not_proved),
    ]
    return "\n".join(lines) + "\n"


def _readings(check: ProofCheck) -> str:
    meters = [f"{m.red} to {m.black}" for m in check.readings]
    return f" Readings: {', '.join(meters)}." if meters else ""


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for name, path in shipped().items():
        if not sys.argv[1:] or name in sys.argv[1:]:
            (FOLDER / f"{name}.md").write_text(page(path), encoding="utf-8")


if __name__ == "__main__":
    main()
